//! From the rows of a measured current profile to phases: at most [`MOST_PHASES`] stretches of time.
//!
//! Neighbouring stretches are merged, always the two whose merging adds least to the charge by which the peak of
//! a stretch, held throughout, would exceed its mean. Charge and duration are kept.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::{Extent, Phase};
use crate::units::*;

/// Most stretches that a profile is brought down to.
pub(super) const MOST_PHASES: usize = 64;

/// One row: from when on which current flows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row {
    pub(super) time_s: f64,
    pub(super) current_a: f64,
}

/// A stretch of neighbouring rows.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    start_s: f64,
    end_s: f64,
    charge_c: f64,
    peak_a: f64,
}

impl Stretch {
    /// Both stretches as one.
    fn joined(self, next: Stretch) -> Stretch {
        Stretch {
            start_s: self.start_s,
            end_s: next.end_s,
            charge_c: self.charge_c + next.charge_c,
            peak_a: self.peak_a.max(next.peak_a),
        }
    }

    /// Charge by which the peak, held throughout, would exceed what flowed.
    fn excess_c(self) -> f64 {
        (self.peak_a * (self.end_s - self.start_s) - self.charge_c).max(0.0)
    }
}

/// Merges neighbouring rows until no more than [`MOST_PHASES`] are left.
pub(super) fn reduced(rows: &[Row]) -> Vec<Phase> {
    let mut stretches: Vec<Stretch> = rows
        .windows(2)
        .map(|pair| Stretch {
            start_s: pair[0].time_s,
            end_s: pair[1].time_s,
            charge_c: pair[0].current_a * (pair[1].time_s - pair[0].time_s),
            peak_a: pair[0].current_a,
        })
        .collect();
    let count = stretches.len();
    // `next[i]` is the stretch after `i`, `previous[i]` the one before; a merged one points at itself.
    let mut next: Vec<usize> = (1..=count).collect();
    let mut previous: Vec<usize> = (0..count).map(|at| at.wrapping_sub(1)).collect();
    let mut version = vec![0u32; count];
    let cost = |a: Stretch, b: Stretch| {
        let added = a.joined(b).excess_c() - a.excess_c() - b.excess_c();
        // Not negative, so that its bits sort as it does.
        if a.peak_a == b.peak_a {
            0
        } else {
            added.max(f64::MIN_POSITIVE).to_bits()
        }
    };
    let mut queue: BinaryHeap<Reverse<(u64, usize, u32, u32)>> = stretches
        .windows(2)
        .enumerate()
        .map(|(at, pair)| Reverse((cost(pair[0], pair[1]), at, 0, 0)))
        .collect();
    let mut left = count;
    while let Some(Reverse((price, at, own, other))) = queue.pop() {
        if left <= MOST_PHASES && price > 0 {
            break;
        }
        let neighbour = next[at];
        if neighbour >= count || version[at] != own || version[neighbour] != other {
            continue;
        }
        stretches[at] = stretches[at].joined(stretches[neighbour]);
        version[at] += 1;
        version[neighbour] = u32::MAX;
        next[at] = next[neighbour];
        left -= 1;
        if next[at] < count {
            previous[next[at]] = at;
            let after = next[at];
            queue.push(Reverse((
                cost(stretches[at], stretches[after]),
                at,
                version[at],
                version[after],
            )));
        }
        let before = previous[at];
        if before < count {
            queue.push(Reverse((
                cost(stretches[before], stretches[at]),
                before,
                version[before],
                version[at],
            )));
        }
    }
    let kept = stretches
        .iter()
        .zip(&version)
        .filter(|(_, version)| **version != u32::MAX);
    kept.enumerate()
        .map(|(number, (stretch, _))| phase(number + 1, *stretch))
        .collect()
}

fn phase(number: usize, stretch: Stretch) -> Phase {
    let duration = seconds(stretch.end_s - stretch.start_s);
    let peak_current = amperes(stretch.peak_a);
    let mean = coulombs(stretch.charge_c) / duration;
    Phase {
        name: format!("profile {number}"),
        // The quotient may come out above the peak by a unit in the last place.
        current: if mean > peak_current { peak_current } else { mean },
        peak_current,
        extent: Extent::Fixed(duration),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Sums of some hundred rounded terms.
    const ROUNDING: f64 = 1e-12;

    fn charge_c(phases: &[Phase]) -> f64 {
        phases
            .iter()
            .map(|phase| (phase.current * duration(phase)).get::<coulomb>())
            .sum()
    }

    fn duration(phase: &Phase) -> Time {
        match phase.extent {
            Extent::Fixed(time) => time,
            Extent::Airtime => panic!("a profile has no airtime"),
        }
    }

    fn rows(pairs: &[(f64, f64)]) -> Vec<Row> {
        pairs
            .iter()
            .map(|(time_s, current_a)| Row {
                time_s: *time_s,
                current_a: *current_a,
            })
            .collect()
    }

    #[test]
    fn equal_neighbours_become_one() {
        let phases = reduced(&rows(&[
            (0.0, 1.0),
            (1.0, 1.0),
            (2.0, 1.0),
            (3.0, 2.0),
            (4.0, 0.0),
        ]));
        assert_eq!(phases.len(), 2);
        assert_eq!(duration(&phases[0]), seconds(3.0));
    }

    /// A step that stands out must keep its own stretch, however much ripple surrounds it.
    #[test]
    fn a_peak_is_not_smeared() {
        let mut rows: Vec<Row> = (0..1000)
            .map(|at| Row {
                time_s: f64::from(at) * 1e-3,
                current_a: 1e-3 + 1e-6 * f64::from(at % 7),
            })
            .collect();
        for row in &mut rows[400..420] {
            row.current_a = 44e-3;
        }
        let phases = reduced(&rows);
        let high: Vec<_> = phases
            .iter()
            .filter(|phase| phase.peak_current > amperes(0.04))
            .collect();
        assert_eq!(high.len(), 1);
        assert_relative_eq!(duration(high[0]).get::<second>(), 0.020, max_relative = ROUNDING);
    }

    proptest! {
        #[test]
        fn charge_and_duration_are_kept(steps in prop::collection::vec((1e-6f64..1.0, 0.0f64..0.1), 2..400)) {
            let mut time_s = 0.0;
            let rows: Vec<Row> = steps.iter().map(|(step, current_a)| {
                time_s += step;
                Row { time_s, current_a: *current_a }
            }).collect();
            let flowed: f64 = rows.windows(2).map(|pair| pair[0].current_a * (pair[1].time_s - pair[0].time_s)).sum();
            let phases = reduced(&rows);
            prop_assert!(phases.len() <= MOST_PHASES);
            prop_assert!((charge_c(&phases) - flowed).abs() <= ROUNDING * flowed);
            let lasted: f64 = phases.iter().map(|phase| duration(phase).get::<second>()).sum();
            prop_assert!((lasted - (rows[rows.len() - 1].time_s - rows[0].time_s)).abs() <= ROUNDING * lasted);
            for phase in &phases {
                prop_assert!(phase.current <= phase.peak_current);
            }
            let highest = rows[..rows.len() - 1].iter().map(|row| row.current_a).fold(0.0, f64::max);
            let peak = phases.iter().map(|phase| phase.peak_current.get::<ampere>()).fold(0.0, f64::max);
            prop_assert_eq!(highest, peak);
        }
    }
}
