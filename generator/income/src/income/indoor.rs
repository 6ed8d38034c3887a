//! What a solar cell indoors offers under a weekly schedule of light.
//!
//! ```text
//! power = area · power density(illuminance)
//! ```
//!
//! The power density is linear between the points of the node's table. Below the first point and above the last it is
//! in proportion to the illuminance, as the photocurrent is: a table of one point is a proportion throughout. The
//! voltage of a cell rises slowly with its light, so that above the last point this errs to the low side, until the
//! cell's series resistance shows, beyond indoor light.

use super::Segment;
use crate::units::*;

const DAY_S: f64 = 86_400.0;
/// Monday is the first.
const DAYS_IN_WEEK: u32 = 7;

/// Power of a cell of `area` in the given light; `table` in rising order of illuminance, at least one point.
pub fn cell_power(illuminance: Illuminance, area: Area, table: &[(Illuminance, PowerDensity)]) -> Power {
    area * power_density(illuminance, table)
}

fn power_density(illuminance: Illuminance, table: &[(Illuminance, PowerDensity)]) -> PowerDensity {
    let above = table.partition_point(|(light, _)| *light <= illuminance);
    let in_proportion = |(light, density): (Illuminance, PowerDensity)| {
        // A point in the dark has no proportion; what it offers does not depend on the light.
        if light > luxes(0.0) {
            density * (illuminance / light)
        } else {
            density
        }
    };
    match (
        above.checked_sub(1).and_then(|below| table.get(below)),
        table.get(above),
    ) {
        (Some(&(light, density)), Some(&(next_light, next_density))) => {
            let part: Ratio = (illuminance - light) / (next_light - light);
            density + (next_density - density) * part
        }
        (Some(&end), None) | (None, Some(&end)) => in_proportion(end),
        (None, None) => watts_per_square_meter(0.0),
    }
}

/// One week from Monday 00:00 local time.
///
/// An entry of `schedule` holds from its time of day to the next; the last one runs over midnight to the first. A closed
/// day is dark from midnight to midnight.
pub(super) fn week(
    area: Area,
    table: &[(Illuminance, PowerDensity)],
    schedule: &[(Time, Illuminance)],
    closed_days: &[u32],
) -> Vec<Segment> {
    let lit = |illuminance| cell_power(illuminance, area, table);
    let overnight = schedule
        .last()
        .map_or(luxes(0.0), |(_, illuminance)| *illuminance);
    let mut segments = Vec::new();
    for day in 0..DAYS_IN_WEEK {
        let midnight_s = f64::from(day) * DAY_S;
        let mut power = watts(0.0);
        if !closed_days.contains(&day) {
            power = lit(overnight);
            for (from, illuminance) in schedule {
                let from_s = from.get::<second>();
                // Nothing stands before midnight.
                if from_s > 0.0 {
                    segments.push(Segment {
                        until_s: midnight_s + from_s,
                        power,
                    });
                }
                power = lit(*illuminance);
            }
        }
        segments.push(Segment {
            until_s: midnight_s + DAY_S,
            power,
        });
    }
    segments
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::income::Income;
    use crate::node::{Node, Source};
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Rounding of a week of sums, beside a joule.
    const WEEK: f64 = 1e-9;

    /// Some rounded products.
    const ROUNDING: f64 = 1e-12;

    fn table(points: &[(f64, f64)]) -> Vec<(Illuminance, PowerDensity)> {
        points
            .iter()
            .map(|(light, density)| (luxes(*light), watts_per_square_meter(*density)))
            .collect()
    }

    fn at(points: &[(f64, f64)], light: f64) -> f64 {
        power_density(luxes(light), &table(points)).value
    }

    #[test]
    fn density_is_linear_between_points_and_in_proportion_beyond() {
        let points = [(200.0, 0.06), (1000.0, 0.34)];
        assert_eq!(at(&points, 0.0), 0.0);
        assert_relative_eq!(at(&points, 100.0), 0.03, max_relative = ROUNDING);
        assert_eq!(at(&points, 200.0), 0.06);
        assert_relative_eq!(at(&points, 600.0), 0.20, max_relative = ROUNDING);
        assert_relative_eq!(at(&points, 1000.0), 0.34, max_relative = ROUNDING);
        assert_relative_eq!(at(&points, 2000.0), 0.68, max_relative = ROUNDING);
        assert_relative_eq!(at(&[(200.0, 0.06)], 500.0), 0.15, max_relative = ROUNDING);
        assert_eq!(at(&[(0.0, 0.01)], 500.0), 0.01);
    }

    /// NumPy 2.4, `numpy.interp([250, 333, 990], [0, 200, 400, 1000], [0, 0.06, 0.125, 0.34])`, the usual reading of such
    /// tables.
    #[test]
    fn a_general_library_interpolates_the_same() {
        let points = [(200.0, 0.06), (400.0, 0.125), (1000.0, 0.34)];
        for (light, density) in [
            (250.0, 0.07625),
            (333.0, 0.103_225),
            (990.0, 0.336_416_666_666_666_7),
        ] {
            assert_relative_eq!(at(&points, light), density, max_relative = ROUNDING);
        }
    }

    #[test]
    fn the_display_case_week_by_hand() {
        let node = Node::read(millpond_templates::nodes::DISPLAY_CASE).expect("a sound example");
        let income = Income::of(&node.harvest.source).expect("a lamp");
        let hour = |day: f64, hour: f64| (day * 24.0 + hour) * 3600.0;
        // 8 cm² at 180 lx: 6 µW/cm² · 180/200 = 5.4 µW/cm², 43.2 µW; at 20 lx a ninth of it.
        let (bright_w, dim_w) = (43.2e-6, 4.8e-6);
        let mut expected = vec![(hour(1.0, 9.5), 0.0)];
        for day in [1.0, 2.0, 3.0, 4.0, 5.0, 6.0] {
            let next_morning = if day == 6.0 {
                hour(8.0, 9.5)
            } else {
                hour(day + 1.0, 9.5)
            };
            expected.extend([
                (hour(day, 17.5), bright_w),
                (hour(day, 20.0), dim_w),
                (next_morning, 0.0),
            ]);
        }
        for (segment, (until_s, power_w)) in income.segments().zip(&expected) {
            assert_eq!(segment.until_s, *until_s);
            assert_relative_eq!(segment.power.get::<watt>(), *power_w, max_relative = ROUNDING);
        }
    }

    #[test]
    fn the_last_entry_runs_over_midnight_but_not_into_a_closed_day() {
        let schedule = [
            (seconds(6.0 * 3600.0), luxes(500.0)),
            (seconds(18.0 * 3600.0), luxes(100.0)),
        ];
        let segments = week(square_meters(1.0), &table(&[(100.0, 1.0)]), &schedule, &[1]);
        let monday: Vec<_> = segments
            .iter()
            .take(4)
            .map(|s| (s.until_s / 3600.0, s.power.get::<watt>()))
            .collect();
        assert_eq!(monday, [(6.0, 1.0), (18.0, 5.0), (24.0, 1.0), (48.0, 0.0)]);
        assert_eq!(
            segments[4].power,
            watts(1.0),
            "Wednesday before six has what Tuesday evening would have had"
        );
    }

    proptest! {
        #[test]
        fn more_light_is_never_less_power(
            rises in prop::collection::vec((1.0f64..500.0, 0.0f64..0.2), 1..6), low in 0.0f64..3000.0, lift in 0.0f64..3000.0,
        ) {
            let points: Vec<(f64, f64)> = rises.iter().scan((0.0, 0.0), |at, rise| {
                *at = (at.0 + rise.0, at.1 + rise.1);
                Some(*at)
            }).collect();
            prop_assert!(at(&points, low + lift) >= at(&points, low) * (1.0 - ROUNDING));
            for (light, density) in &points {
                prop_assert!((at(&points, *light) - density).abs() <= ROUNDING);
            }
        }

        #[test]
        fn a_week_holds_the_sum_of_its_days(
            times in prop::collection::btree_set(0u32..1440, 1..8), lights in prop::collection::vec(0.0f64..900.0, 8),
            closed in prop::collection::btree_set(0u32..7, 0..7),
        ) {
            let schedule: Vec<_> = times.iter().zip(&lights).map(|(minute, light)| {
                (seconds(f64::from(minute * 60)), luxes(*light))
            }).collect();
            let source = Source::Indoor {
                area: square_meters(1.0),
                power_density: table(&[(100.0, 1.0)]),
                schedule: schedule.clone(),
                closed_days: closed.iter().copied().collect(),
            };
            let mut start_s = 0.0;
            let mut energy_j = 0.0;
            let week_s = 7.0 * DAY_S;
            for segment in Income::of(&source).expect("a lamp").segments() {
                prop_assert!(segment.until_s > start_s);
                energy_j += segment.power.get::<watt>() * (segment.until_s.min(week_s) - start_s);
                start_s = segment.until_s;
                if start_s >= week_s {
                    break;
                }
            }
            // Each entry lasts to the next one, the last to the first of the next day: together one day.
            let day_j: f64 = (0..schedule.len()).map(|k| {
                let from_s = schedule[k].0.get::<second>();
                let to_s = if k + 1 < schedule.len() { schedule[k + 1].0.get::<second>() } else { DAY_S + schedule[0].0.get::<second>() };
                (to_s - from_s) * schedule[k].1.get::<lux>() / 100.0
            }).sum();
            let open = 7 - closed.len();
            prop_assert!((energy_j - day_j * open as f64).abs() <= WEEK * day_j.max(1.0));
        }
    }
}
