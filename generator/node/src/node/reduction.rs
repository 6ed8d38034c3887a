//! From the rows of a measured current profile to phases: row by row, neighbours of equal current as one.
//!
//! A profile of more than [`MOST_PHASES`] rows has neighbours put together, always the two for which that adds the least charge,
//! and the higher of their currents then holds for both. More current at every moment never leaves more voltage at any later
//! one (docs/model.md, "Closed forms"), so that what is put together errs on the safe side. Duration is kept.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::{Extent, Phase};
use crate::units::*;

/// Most stretches that a profile is brought down to.
pub(super) const MOST_PHASES: usize = 8192;

/// One row: from when on which current flows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row {
    pub(super) time_s: f64,
    pub(super) current_a: f64,
}

/// A stretch of neighbouring rows, with the highest of their currents.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    start_s: f64,
    end_s: f64,
    current_a: f64,
}

impl Stretch {
    /// Both stretches as one.
    fn joined(self, next: Stretch) -> Stretch {
        Stretch {
            start_s: self.start_s,
            end_s: next.end_s,
            current_a: self.current_a.max(next.current_a),
        }
    }

    fn charge_c(self) -> f64 {
        self.current_a * (self.end_s - self.start_s)
    }
}

/// Merges neighbouring rows until no more than [`MOST_PHASES`] are left.
pub(super) fn reduced(rows: &[Row]) -> Vec<Phase> {
    let mut stretches: Vec<Stretch> = rows
        .windows(2)
        .map(|pair| Stretch {
            start_s: pair[0].time_s,
            end_s: pair[1].time_s,
            current_a: pair[0].current_a,
        })
        .collect();
    let count = stretches.len();
    // `next[i]` is the stretch after `i`, `previous[i]` the one before; a merged one points at itself.
    let mut next: Vec<usize> = (1..=count).collect();
    let mut previous: Vec<usize> = (0..count).map(|at| at.wrapping_sub(1)).collect();
    let mut version = vec![0u32; count];
    let cost = |a: Stretch, b: Stretch| {
        let added = a.joined(b).charge_c() - a.charge_c() - b.charge_c();
        // Not negative, so that its bits sort as it does.
        if a.current_a == b.current_a {
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
    let current = amperes(stretch.current_a);
    Phase {
        name: format!("profile {number}"),
        current,
        peak_current: current,
        extent: Extent::Fixed(seconds(stretch.end_s - stretch.start_s)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Sums of some hundred rounded terms.
    const ROUNDING: f64 = 1e-12;
    /// Times of rows are sums of some ten thousand steps, and a step is a difference of two.
    const SUMMED: f64 = 1e-6;

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

    /// Up to the limit every row stands as it was measured, pulses of 0.1 ms among gaps of a second too.
    #[test]
    fn rows_are_kept_as_they_were_measured() {
        let steps: Vec<(f64, f64)> = (0..5000)
            .map(|row| {
                if row % 2 == 0 {
                    (1e-4, 44e-3)
                } else {
                    (1.0, 1e-6 * f64::from(row))
                }
            })
            .collect();
        let rows = rising(&steps);
        let phases = reduced(&rows);
        assert_eq!(phases.len(), rows.len() - 1);
        for (phase, pair) in phases.iter().zip(rows.windows(2)) {
            assert_eq!(phase.current, amperes(pair[0].current_a));
            assert_relative_eq!(
                duration(phase).get::<second>(),
                pair[1].time_s - pair[0].time_s,
                max_relative = ROUNDING
            );
        }
    }

    /// By hand: of three times the limit, a pulse of 44 mA among ripple of up to 6 uA around 1 mA. Put together, the ripple's highest
    /// current holds: at most 6 uA in 1 mA more charge, and the pulse keeps its own stretch.
    #[test]
    fn what_is_put_together_costs_no_more_than_the_ripple() {
        let mut steps: Vec<(f64, f64)> = (0..3 * MOST_PHASES)
            .map(|row| (1e-5, 1e-3 + 1e-6 * (row % 7) as f64))
            .collect();
        steps[400].1 = 44e-3;
        let phases = reduced(&rising(&steps));
        assert_eq!(phases.len(), MOST_PHASES);
        let high: Vec<_> = phases
            .iter()
            .filter(|phase| phase.current > amperes(0.04))
            .collect();
        assert_eq!(high.len(), 1);
        assert_relative_eq!(duration(high[0]).get::<second>(), 1e-5, max_relative = SUMMED);
        let flowed: f64 = steps[..steps.len() - 1]
            .iter()
            .map(|(step_s, current_a)| step_s * current_a)
            .sum();
        assert!(
            charge_c(&phases) <= flowed * 1.006,
            "{} {flowed}",
            charge_c(&phases)
        );
    }

    fn rising(steps: &[(f64, f64)]) -> Vec<Row> {
        let mut time_s = 0.0;
        let row = |(step_s, current_a): &(f64, f64)| {
            let row = Row {
                time_s,
                current_a: *current_a,
            };
            time_s += step_s;
            row
        };
        steps.iter().map(row).collect()
    }

    proptest! {
        /// At every moment the phases draw what the rows do, or more; and they last as long.
        #[test]
        fn no_moment_draws_less(steps in prop::collection::vec((1e-6f64..1.0, 0.0f64..0.1), 2..400), copies in 1..60usize) {
            let rows = rising(&steps.iter().copied().cycle().take(steps.len() * copies).collect::<Vec<_>>());
            let phases = reduced(&rows);
            prop_assert!(phases.len() <= MOST_PHASES);
            let (mut row, mut until_s) = (0, rows[0].time_s);
            for phase in &phases {
                until_s += duration(phase).get::<second>();
                while row + 1 < rows.len() && rows[row + 1].time_s <= until_s * (1.0 + ROUNDING) {
                    prop_assert!(phase.current >= amperes(rows[row].current_a));
                    row += 1;
                }
            }
            prop_assert_eq!(row, rows.len() - 1);
        }
    }
}
