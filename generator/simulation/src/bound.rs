//! The clairvoyant bound: how young the newest report could be kept by one who knew all income in advance.
//!
//! From the income over a stretch of time, a storage, and the least costs of sleeping and reporting, to a mean age of the
//! newest report below which no schedule gets, however it is found (docs/model.md, equations 21 to 24). Source of the
//! optimum: K. Tutuncuoglu, A. Yener, "Optimum transmission policies for battery limited energy harvesting nodes"; the
//! rest is own work and proved here.
//!
//! **Age.** Reports at t1 < t2 < … < tn, with gaps g from time 0 to the first, between neighbours, and from the last to
//! the end T. Age is 0 at time 0. Its mean over time is Σ g²/2 / T = ∫ dt/(2·r(t)) / T, with the rate r = 1/g in each gap.
//!
//! **A bound for every schedule.** Let D(t) be what the reports of a real schedule have taken from storage until t, and F(t)
//! = cost·∫ r the same spread evenly over the gap that ends with the report. A report with its samples is paid inside
//! its gap, so both are between cost·(i − 1) and cost·i in gap i, and |F − D| ≤ cost. D respects the storage: until t it
//! takes at most what was stored and came in, between s and t at most what a full storage and the income between hold.
//! F then respects a storage that starts with one report more and holds two reports more. In that storage the best
//! r(t) is sought over all functions of time, so the result is at most the schedule's. Inner gaps are at least `fastest`,
//! so r ≤ 1/`fastest`. The first and the last gap may be shorter; with the rate held at 1/`fastest` there, F falls back by
//! the same part of a report for good, its distance from D still spans two reports, and a gap g costs
//! g·`fastest`/2 and not g²/2: at most `fastest`²/8 too much, taken off once for each end.
//!
//! **The best rate.** What no schedule can keep is taken off the income first (`bound::spill`). What is left can all be
//! spent, and cumulative spending then has to stay in a corridor one storage high. Of all paths in it the tightest
//! string (`bound::taut_string`) has the least ∫ φ(r) for every convex φ at once: for the age; for excess over 1/`fastest`, so that it
//! keeps the limit since some path does; for the longest gap. Spending what others waste cannot raise the age.
//!
//! **With a threshold.** Let no report start (its own phase, or a sample that it waits for) while storage holds less than T above
//! the floor. What is under way may go below T, and so may sleep. In the gap of report i there is then a moment at which D is at
//! least cost·(i − 1) and storage holds T: until then D and waste W took at most what was stored and came in, less T. From there
//! to the same moment of the next gap F is at most cost·(i + 1), two reports more, and W grows only while storage is full,
//! when it holds T as well. So at any time t
//!
//! ```text
//! F(t) + W(t) ≤ stored − T + 2·cost + the most that had come in, less sleep, at any time up to t
//! ```
//!
//! and in the storage of F, with its one report more at the start, T − cost stays, but for what sleep took since that most: a floor
//! that sinks with sleep in the dark and stands where it stood once that has come in again. A first report needs no
//! more of F than `cost`: who starts with less than T − cost is given that much. What F holds is then never below
//! that floor nor below 0, and all else is as above.
//!
//! A node that is off for a time, and pays nothing for sleep then, is outside the bound: only schedules that keep the
//! node alive are.

mod spill;
mod survival;
mod taut_string;
#[cfg(test)]
mod tests;
mod threshold;

use std::fmt;

use crate::units::*;

/// What is known in advance, all of it at its best: the bound holds for every part and every policy that is not better.
#[derive(Clone, Debug, PartialEq)]
pub struct Foresight {
    /// How long is looked at; above 0.
    pub duration: Time,
    /// Ends, rising, and the power into storage until then, after the converter at its best efficiency and current
    /// limit; at least 0. After the last end nothing comes in; what lies beyond `duration` does not count.
    pub income: Vec<(Time, Power)>,
    /// From the floor to the overvoltage in the best part; at least 0.
    pub capacity: Energy,
    /// Above the floor at time 0; what exceeds `capacity` is lost.
    pub stored_start: Energy,
    /// What storage holds above the floor when a report starts; 0 to `capacity`, and 0 for reports at any voltage.
    pub threshold: Energy,
    /// Least loss of the sleeping node; at least 0.
    pub sleep: Power,
    /// Least cost of one report with its samples; above 0.
    pub report: Energy,
    /// Least time between two reports; at least 0.
    pub fastest: Time,
    /// Longest time between two reports that the node aims at. An aim and no limit, since storage may not allow it: the
    /// bound does not depend on it, and [`Bound::longest_silence`] may exceed it.
    pub slowest: Time,
}

/// What nobody can do better.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// Least mean over time of the age of the newest report, with the age 0 at time 0.
    pub mean_age: Time,
    /// Upper bound on the number of reports. Another schedule than that of the least age may come close to it.
    pub reports: f64,
    /// No schedule has a longest gap, ends included, below this (for a `duration` of at least 2·`fastest`).
    pub longest_silence: Time,
    /// Ends, rising to `duration`, and the best reports per second until then, for pictures.
    pub rate: Vec<(Time, f64)>,
}

/// The storage runs empty although the node only sleeps: there is nothing to bound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunsEmpty {
    /// When it is empty.
    pub at: Time,
}

impl fmt::Display for RunsEmpty {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let at_s = self.at.get::<second>();
        write!(
            f,
            "the storage is empty after {at_s} s although the node only sleeps"
        )
    }
}

impl std::error::Error for RunsEmpty {}

/// A time with a constant gain of the storage while the node sleeps.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stretch {
    length_s: f64,
    net_w: f64,
}

/// The bound on what can be reached with this foresight. Linear in the number of income steps.
///
/// # Errors
/// [`RunsEmpty`] when not even a node that only sleeps lives to the end.
///
/// ```
/// use millpond_simulation::bound::{Foresight, clairvoyant};
/// use millpond_numbers::units::*;
/// let steady = Foresight {
///     duration: seconds(1e6),
///     income: vec![(seconds(1e6), watts(150e-6))],
///     capacity: joules(10.0),
///     stored_start: joules(0.0),
///     threshold: joules(0.0),
///     sleep: watts(50e-6),
///     report: joules(0.04),
///     fastest: seconds(60.0),
///     slowest: seconds(3600.0),
/// };
/// // 100 µW for reports of 40 mJ: one in 400 s, a mean age of 200 s. One report in 2,500 is the price of a true bound.
/// let bound = clairvoyant(&steady).expect("more comes in than sleep takes");
/// assert!((bound.mean_age.get::<second>() - 200.0).abs() < 0.1);
/// assert!((bound.reports - 2500.0).abs() < 1e-6);
/// ```
pub fn clairvoyant(foresight: &Foresight) -> Result<Bound, RunsEmpty> {
    let duration_s = foresight.duration.get::<second>();
    let fastest_s = foresight.fastest.get::<second>();
    let report_j = foresight.report.get::<joule>();
    let capacity_j = foresight.capacity.get::<joule>();
    let start_j = foresight.stored_start.get::<joule>().min(capacity_j);
    let stretches = asleep(foresight);
    if let Some(at_s) = survival::empty_at_s(&stretches, capacity_j, start_j) {
        return Err(RunsEmpty { at: seconds(at_s) });
    }

    // One report more at the start and two more of room: see the module's proof.
    let wide_j = capacity_j + 2.0 * report_j;
    let kept_j = foresight.threshold.get::<joule>().min(capacity_j) - report_j;
    let wide_start_j = start_j.max(kept_j) + report_j;
    let parts = threshold::floors(&stretches, kept_j);
    let spending = spill::unavoidable(&parts, wide_j, wide_start_j, report_j / fastest_s);
    let knots = taut_string::tightest(&spending.gates, spending.total_j);

    // At 1/T throughout the one report more pays for all, so the best path is nowhere slower.
    let highest_hz = 1.0 / fastest_s;
    let lowest_hz = (1.0 / duration_s).min(highest_hz);
    let mut aged_s2 = 0.0;
    let mut silence_s: f64 = 0.0;
    let mut rate = Vec::with_capacity(knots.len());
    let mut last = taut_string::Point::default();
    for knot in knots {
        let length_s = knot.time_s - last.time_s;
        let rate_hz = ((knot.energy_j - last.energy_j) / length_s / report_j).clamp(lowest_hz, highest_hz);
        aged_s2 += length_s / (2.0 * rate_hz);
        silence_s = silence_s.max(1.0 / rate_hz);
        rate.push((seconds(knot.time_s), rate_hz));
        last = knot;
    }
    let ends_s2 = fastest_s * fastest_s / 4.0;
    let available_j = start_j
        + stretches
            .iter()
            .map(|stretch| stretch.length_s * stretch.net_w)
            .sum::<f64>();
    Ok(Bound {
        mean_age: seconds((aged_s2 - ends_s2).max(0.0) / duration_s),
        reports: (spending.total_j / report_j + 1.0).min(available_j / report_j),
        longest_silence: seconds(silence_s),
        rate,
    })
}

/// The income less sleep, from time 0 to the end.
fn asleep(foresight: &Foresight) -> Vec<Stretch> {
    let duration_s = foresight.duration.get::<second>();
    let sleep_w = foresight.sleep.get::<watt>();
    let dark = (foresight.duration, watts(0.0));
    let mut start_s = 0.0;
    let mut stretches = Vec::with_capacity(foresight.income.len() + 1);
    for (end, power) in foresight.income.iter().chain([&dark]) {
        let length_s = end.get::<second>().min(duration_s) - start_s;
        if length_s > 0.0 {
            let net_w = power.get::<watt>() - sleep_w;
            stretches.push(Stretch { length_s, net_w });
            start_s += length_s;
        }
    }
    stretches
}
