//! What to log, how often and how long, for each parameter to be known within a part of itself.
//!
//! From a node to a plan, by the errors of equation 37 under white noise of a reading: a step that comes n times with m readings
//! on each side is known to σ·√(2/(m·n)); a slope over a time T with a reading every τ to σ·√12/(T·√(T/τ)). What the description
//! knows bounds what a log can know: the capacitance is no better known than the action that fixes it.

use crate::fit::Described;
use crate::node::Node;

/// A plan asks for no finer interval than this (s).
const LEAST_INTERVAL_S: f64 = 0.1;
/// Rows between two reports, at least: a level before and one after.
const ROWS_IN_A_PERIOD: f64 = 12.0;
/// Noise of a reading beside its rounding, in counts (common practice, no source).
const NOISE_COUNTS: f64 = 0.5;
/// The fit finds the dark by windows, so many to a log.
const WINDOWS: f64 = 24.0;
/// And each of them has to show its fall to this part: below, noise is not told from light.
const WINDOW_ERROR: f64 = 1.0 / 3.0;
/// Such a log knows the leakage to 30 % of its usual 0.6 of the limit, in place of 0.35 of the limit: 0.3·0.6/1.96/0.35.
const SEPARATED: f64 = 0.26;
/// What leakage leaves open may widen a figure by so much before a longer log is advised.
const MOST_LEAKING: f64 = 1.3;
/// A figure that would be known no better than this part of itself is none: the fit gives it no value.
const OPEN: f64 = 0.7;
/// A plan longer than this is none (s).
const LONGEST_S: f64 = 60.0 * 86_400.0;
/// Leakage shows by the change of the fall between full and nearly empty: it takes so many times the time of the fall itself.
const LEAKAGE_TIMES: f64 = 8.0;

/// What has to be logged for one parameter.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// The parameter's name in the fit.
    pub parameter: &'static str,
    /// Columns of the log.
    pub columns: &'static str,
    /// Time between rows (s).
    pub interval_s: f64,
    /// How long (s); `None` where no log of this node gives the parameter.
    pub duration_s: Option<f64>,
    /// What the parameter will be known to, as a part of it.
    pub reached: f64,
    /// What has to be so meanwhile.
    pub condition: String,
}

/// The plan of a node.
#[derive(Clone, Debug, PartialEq)]
pub struct LogPlan {
    /// What was asked for: each parameter within this part of itself, in 95 of 100 logs.
    pub within: f64,
    /// One for each parameter.
    pub steps: Vec<Step>,
}

impl LogPlan {
    /// The plan for `node`, each parameter to be known `within` this part of itself, above 0.
    ///
    /// ```no_run
    /// # fn show(node: &millpond_node::node::Node) {
    /// use millpond_fit::log_plan::LogPlan;
    /// for step in LogPlan::of(node, 0.1).steps {
    ///     println!("{}: {} every {} s", step.parameter, step.columns, step.interval_s);
    /// }
    /// # }
    /// ```
    pub fn of(node: &Node, within: f64) -> Self {
        let described = Described::of(node);
        let wanted = within / 1.96;
        let v = described.working_v;
        let noise_v = described.count_v * (1.0 / 12.0 + NOISE_COUNTS * NOISE_COUNTS).sqrt();
        let known = described.load_deviation.hypot(2.0 * described.sense_deviation);
        // What is left for the log's own error beside what the description leaves open; it cannot be less than a third.
        let own = (wanted * wanted - known * known)
            .max(wanted * wanted / 9.0)
            .sqrt();
        let reached = 1.96 * own.hypot(known);
        let interval_s = (described.fastest_s / ROWS_IN_A_PERIOD).max(LEAST_INTERVAL_S);
        let columns = if described.batch > 1 {
            "time_s, storage_mv, count, event"
        } else {
            "time_s, storage_mv, count"
        };
        let times = |step_v: f64| {
            let count = 2.0 * (noise_v / (own * step_v)).powi(2) / (ROWS_IN_A_PERIOD / 2.0);
            Some((count.ceil().max(8.0) * described.fastest_s).max(3600.0))
                .filter(|duration_s| *duration_s < LONGEST_S)
        };
        let report = times(described.report_step_v(v));
        let [own_report, sample] = [&described.transmit, &described.measure]
            .map(|work| times(work.energy_j / v / described.capacitance_f(v)));
        let rate = described.sleep_rate_v_per_s(v);
        let room_v = described.overvoltage_v - described.floor_v;
        let slope_to = |error_v_per_s: f64| (12.0 * (noise_v / error_v_per_s).powi(2) * interval_s).cbrt();
        let slope_s = slope_to(own * described.sleep_a(v) / described.capacitance_f(v))
            .max(WINDOWS * slope_to(WINDOW_ERROR * rate))
            .max(3600.0);
        let slope = Some(slope_s).filter(|duration_s| *duration_s < LONGEST_S && rate * duration_s < room_v);
        let leakage = Some(slope_s * LEAKAGE_TIMES)
            .filter(|duration_s| *duration_s < LONGEST_S && rate * duration_s < room_v);
        // At one voltage leakage looks like sleep: what the cell may have of it is not known of the sleeping current, unless the log is
        // long enough for the leakage itself.
        let leaking = described.leakage_deviation_a(v) / described.sleep_a(v);
        let asleep = |duration_s: Option<f64>, leaking: f64| {
            Some((duration_s?, reached.hypot(1.96 * leaking))).filter(|(_, reached)| *reached < OPEN)
        };
        let short = asleep(slope, leaking);
        let long = asleep(leakage, leaking * SEPARATED);
        let (asleep_s, reached_asleep) = short
            .filter(|(_, part)| *part < MOST_LEAKING * reached)
            .or(long)
            .or(short)
            .unzip();
        let step = |parameter, columns, interval_s, duration_s, reached, condition: &str| Step {
            parameter,
            columns,
            interval_s,
            duration_s,
            reached,
            condition: condition.to_owned(),
        };
        let shortest_s = described.transmit.duration_s / 4.0;
        Self {
            within,
            steps: vec![
                step(
                    "capacitance_f",
                    columns,
                    interval_s,
                    report,
                    reached,
                    "reporting at the fastest pace, light or dark",
                ),
                step(
                    "resistance_ohm",
                    "time_s, storage_mv, event",
                    shortest_s.max(1e-3),
                    Some(600.0_f64.max(20.0 * described.fastest_s)),
                    reached.max(0.3),
                    "readings inside a report, with its start in `event`",
                ),
                step(
                    "sleep_current_a",
                    columns,
                    interval_s,
                    asleep_s,
                    reached_asleep.unwrap_or(1.0),
                    if asleep_s.is_some() && asleep_s == leakage {
                        "in the dark, a few reports for the capacitance, from full to nearly empty for the leakage"
                    } else if asleep_s.is_some() {
                        "in the dark, a few reports for the capacitance"
                    } else {
                        "leakage may be as large: measure the sleeping current once, and state it with --sleep-current"
                    },
                ),
                step(
                    "leakage_a",
                    "time_s, storage_mv",
                    interval_s,
                    leakage,
                    0.3,
                    "in the dark, from full to nearly empty",
                ),
                step(
                    "measure_energy_j",
                    "time_s, storage_mv, count, event",
                    interval_s / f64::from(described.batch),
                    sample,
                    reached,
                    "each sample in `event`",
                ),
                step(
                    "transmit_energy_j",
                    "time_s, storage_mv, count, event",
                    interval_s,
                    own_report,
                    reached,
                    "reporting at the fastest pace, each sample in `event`",
                ),
                step(
                    "income_w",
                    columns,
                    described.fastest_s,
                    slope.map(|duration_s| duration_s.max(86_400.0)),
                    reached,
                    "whole days, with a dark night among them",
                ),
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node;

    /// The estimate by hand leaves out what a plan knows of the rest.
    const NEAR: f64 = 0.15;

    const EXAMPLES: [&str; 3] = ["crack-gauge", "display-case", "pump-bearing"];

    /// Twice the accuracy asks for four times the steps, and for 4^(1/3) times the slope, as long as nothing else bounds them.
    #[test]
    fn more_accuracy_never_takes_less() {
        for name in EXAMPLES {
            let node = node::example(name);
            let (coarse, fine) = (LogPlan::of(&node, 0.4), LogPlan::of(&node, 0.1));
            for (coarse, fine) in coarse.steps.iter().zip(&fine.steps) {
                assert!(
                    fine.duration_s
                        .is_none_or(|fine_s| coarse.duration_s.is_some_and(|coarse_s| fine_s >= coarse_s)),
                    "{name} {}",
                    fine.parameter
                );
            }
        }
    }

    /// The crack gauge falls by 5.8 µV/s asleep, leakage included; a count is 6.1 mV and σ = 6.1 mV·√(1/12 + 1/4) = 3.5 mV. By hand, a
    /// window that shows the fall to a third takes (12·(3.5 mV/1.9 µV/s)²·5 s)^(1/3) = 580 s, 24 of them 3.9 h. Leakage of up to 5 µA
    /// hides a sleep of 3.2 µA: eight times as long tells them apart, 31 h.
    #[test]
    fn the_crack_gauge_takes_a_day_and_some_for_its_sleep() {
        let plan = LogPlan::of(&node::example("crack-gauge"), 0.15);
        let sleep = plan
            .steps
            .iter()
            .find(|step| step.parameter == "sleep_current_a")
            .expect("a step");
        let hours = sleep.duration_s.expect("a log can give it") / 3600.0;
        assert!((hours / 31.0 - 1.0).abs() < NEAR, "{hours}");
    }
}
