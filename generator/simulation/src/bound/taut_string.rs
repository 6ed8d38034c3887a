//! The tightest string from the origin through a row of gates: the path whose slopes vary least.
//!
//! A funnel opens from the last fixed knot: above the string through the upper ends that bend it up, below it
//! the one through the lower ends that bend it down. Each gate narrows it. Where the two cross, the bend that was met
//! becomes a knot. Every end enters and leaves once, so the time is linear in the number of gates.

use std::collections::VecDeque;

/// Cumulative spending at a time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Point {
    pub(super) time_s: f64,
    pub(super) energy_j: f64,
}

/// What cumulative spending may be at a time. Between two gates the limits are straight.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gate {
    pub(super) time_s: f64,
    pub(super) low_j: f64,
    pub(super) high_j: f64,
}

/// The knots of the string after the origin. It ends in the last gate at `end_j`; times of gates rise from above 0.
pub(super) fn tightest(gates: &[Gate], end_j: f64) -> Vec<Point> {
    let mut knots = Vec::new();
    let Some((last, inner)) = gates.split_last() else {
        return knots;
    };
    let last = Gate {
        low_j: end_j,
        high_j: end_j,
        ..*last
    };
    let mut origin = Point::default();
    let (mut above, mut below) = (Side::new(1.0), Side::new(-1.0));
    for gate in inner.iter().chain([&last]) {
        let high = Point {
            time_s: gate.time_s,
            energy_j: gate.high_j,
        };
        let low = Point {
            time_s: gate.time_s,
            energy_j: gate.low_j,
        };
        above.narrow(high, &mut origin, &mut below, &mut knots);
        below.narrow(low, &mut origin, &mut above, &mut knots);
    }
    // Both sides end in the same point and have nothing between.
    knots.extend(above.bends);
    knots
}

/// One side of the funnel: the bends from its origin to the newest gate.
struct Side {
    bends: VecDeque<Point>,
    /// 1 above, −1 below: the slopes of bends, times this, rise.
    sign: f64,
}

impl Side {
    fn new(sign: f64) -> Self {
        Self {
            bends: VecDeque::new(),
            sign,
        }
    }

    /// Pulls this side through `point`; moves the origin along the other side where they cross.
    fn narrow(&mut self, point: Point, origin: &mut Point, other: &mut Self, knots: &mut Vec<Point>) {
        while let Some(&last) = self.bends.back() {
            let before = match self.bends.len() {
                1 => *origin,
                count => self.bends[count - 2],
            };
            if self.sign * slope_w(before, last) < self.sign * slope_w(last, point) {
                break;
            }
            self.bends.pop_back();
        }
        if self.bends.is_empty() {
            while let Some(&bend) = other.bends.front() {
                if self.sign * slope_w(*origin, point) >= self.sign * slope_w(*origin, bend) {
                    break;
                }
                knots.push(bend);
                *origin = bend;
                other.bends.pop_front();
            }
        }
        self.bends.push_back(point);
    }
}

fn slope_w(from: Point, to: Point) -> f64 {
    (to.energy_j - from.energy_j) / (to.time_s - from.time_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Energies and slopes of a few hundred, each known to 1e-13 of itself.
    const ROUNDING: f64 = 1e-9;

    proptest! {
        /// The condition that only the optimum fulfils: inside the corridor, bent up only at an upper end, down only at a
        /// lower one.
        #[test]
        fn the_string_bends_only_where_it_is_held(
            rows in prop::collection::vec((0.1..10.0f64, -3.0..5.0f64, 0.1..20.0f64), 1..60),
            end in 0.0..1.0f64,
        ) {
            let (mut time_s, mut middle_j) = (0.0, 0.0);
            let gates: Vec<Gate> = rows.iter().map(|&(length_s, slope_w, height_j)| {
                time_s += length_s;
                middle_j += slope_w * length_s;
                Gate { time_s, low_j: middle_j - height_j / 2.0, high_j: middle_j + height_j / 2.0 }
            }).collect();
            let last = gates[gates.len() - 1];
            let end_j = last.low_j + end * (last.high_j - last.low_j);
            let knots = tightest(&gates, end_j);
            prop_assert_eq!(knots.last(), Some(&Point { time_s: last.time_s, energy_j: end_j }));
            let mut from = Point::default();
            let mut gate = gates.iter().peekable();
            for (index, &knot) in knots.iter().enumerate() {
                prop_assert!(knot.time_s > from.time_s);
                let slope = slope_w(from, knot);
                let mut here = None;
                while let Some(inside) = gate.next_if(|gate| gate.time_s <= knot.time_s) {
                    let energy_j = from.energy_j + slope * (inside.time_s - from.time_s);
                    prop_assert!(energy_j >= inside.low_j - ROUNDING && energy_j <= inside.high_j + ROUNDING);
                    here = Some(inside);
                }
                if let Some(&next) = knots.get(index + 1) {
                    let here = here.expect("a knot is in a gate");
                    prop_assert_eq!(here.time_s, knot.time_s);
                    let held_j = if slope_w(knot, next) > slope { here.high_j } else { here.low_j };
                    prop_assert_eq!(knot.energy_j, held_j);
                }
                from = knot;
            }
        }
    }
}
