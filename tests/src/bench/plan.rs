//! What is done with a unit on the bench, and what its parts are.

use std::collections::HashMap;
use std::sync::{LazyLock, Mutex, PoisonError};

use millpond::fit::Described;
use millpond::log_plan::LogPlan;
use millpond::node::{Node, Source};
use millpond::units::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use super::Fault;
use crate::random_node::random_node;

/// Bits of the converter on the bench.
const BITS: u32 = 10;
/// A report with its samples steps the reading by so many counts, at least.
const LEAST_STEP_COUNTS: f64 = 2.0;
/// A night has so many reports, at least and at most.
const REPORTS: (f64, f64) = (12.0, 120.0);
/// A night's sleep takes this part of what the store has above the threshold; its reports take as much.
const NIGHT_PART: f64 = 0.35;
/// A night lets the reading fall by so many counts by sleep, at least.
const LEAST_FALL_COUNTS: f64 = 20.0;
/// Deviations between a limit and a fault that is missed in 5 of 100 where the limit is passed by chance in 5 of 100: twice 1.645.
const TOLD_APART: f64 = 3.29;
/// A sleeping current that is told from leakage from this factor on only is not told apart.
const MOST_SLEEP: f64 = 10.0;
/// Rows of a log.
const ROWS: f64 = 6000.0;
/// Reports in a stretch that is for the sleeping current.
pub(super) const FEW_REPORTS: f64 = 8.0;
/// A log of more rows takes too long to make (own choice).
const MOST_ROWS: f64 = 60_000.0;
/// Nights of a log.
pub(super) const NIGHTS: u32 = 4;

/// Factors on what is described.
#[derive(Clone, Copy, Debug)]
pub(super) struct Factors {
    pub(super) capacitance: f64,
    pub(super) resistance: f64,
    pub(super) sleep: f64,
    pub(super) leakage: f64,
    pub(super) measure: f64,
    pub(super) transmit: f64,
    pub(super) scale: f64,
}

/// A unit and a schedule for it.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub(super) node: Node,
    pub(super) described: Described,
    pub(super) fault: Option<Fault>,
    pub(super) factors: Factors,
    /// Volts of offset of the reading.
    pub(super) offset_v: f64,
    pub(super) noise_v: f64,
    /// The voltage from which nights start, and the least at which a report is sent.
    pub(super) top_v: f64,
    pub(super) low_v: f64,
    pub(super) night_s: f64,
    pub(super) day_s: f64,
    /// Offered to the converter by day, on average (W).
    pub(super) light_w: f64,
    /// Time between two reports.
    pub(super) period_s: f64,
    pub(super) row_s: f64,
    pub(super) has_events: bool,
    pub(super) random: Pcg64,
    /// In place of nights and days: so long at the fastest pace, then so long nearly asleep, both in the dark (s).
    pub(super) advised: Option<(f64, f64)>,
}

/// The random node of `seed` as it stands on the bench.
fn bench_node(seed: u64) -> Node {
    let mut node = random_node(seed);
    node.sense.bits = BITS;
    node.harvest.source = Source::Trace;
    node
}

/// What the node of `seed` says of itself, worked out once: every fault asks for it, and its threshold takes longer than its log.
fn described(seed: u64, node: &Node) -> Described {
    static DESCRIBED: LazyLock<Mutex<HashMap<u64, Described>>> = LazyLock::new(Mutex::default);
    let known = || DESCRIBED.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(described) = known().get(&seed) {
        return described.clone();
    }
    // Unlocked: others need not wait.
    let described = Described::of(node);
    known().insert(seed, described.clone());
    described
}

impl Plan {
    /// The plan of `seed`, if its node has one.
    pub(super) fn of(seed: u64, fault: Option<Fault>) -> Option<Self> {
        let node = bench_node(seed);
        let mut random = Pcg64::seed_from_u64(seed ^ 0x5eed);
        let described = described(seed, &node);
        let overvoltage_v = described.overvoltage_v;
        // Room for the lift of the charging current, and for readings that are off.
        let top_v = overvoltage_v * 0.985 - described.maximum_a * described.resistance_ohm * 3.0;
        let low_v = described.transmit_decide_v;
        let room_v = top_v - low_v;
        // Samples that are taken between reports have to be logged.
        let has_events = node.policy.batch > 1 || random.random_ratio(1, 2);
        let factors = Self::factors(&mut random, &described, fault, has_events);
        let step_v = described.report_step_v(top_v) * factors.transmit.max(1.0) / factors.capacitance;
        let seen_v = described.report_step_v(top_v);
        let reports = (NIGHT_PART * room_v / step_v).floor().min(REPORTS.1);
        let rate_v_per_s =
            described.sleep_rate_v_per_s(described.working_v) * factors.sleep.max(1.0) / factors.capacitance;
        let mut fall_v = NIGHT_PART * room_v;
        let is_pace = fault == Some(Fault::ClockDrift) || (fault.is_none() && random.random_ratio(1, 4));
        if room_v <= 0.0 || reports < REPORTS.0 || seen_v < LEAST_STEP_COUNTS * described.count_v {
            return None;
        }
        // Where leakage hides even a large current `log-plan` has no log for it, and asks for an ammeter.
        if fault == Some(Fault::SleepCurrentHigh) && factors.sleep > MOST_SLEEP {
            return None;
        }
        // What a report costs shows where its own step does.
        let report_v =
            described.transmit.energy_j / described.working_v / described.capacitance_f(described.working_v);
        if fault == Some(Fault::ActionCostsMore) && report_v < LEAST_STEP_COUNTS * described.count_v {
            return None;
        }
        if fault == Some(Fault::LeakageSettling) {
            fall_v /= 3.0;
        }
        let mut night_s = fall_v / rate_v_per_s;
        let mut period_s = (night_s / reports).max(described.fastest_s * 1.3);
        if is_pace {
            period_s = described.fastest_s;
            night_s = period_s * reports;
            if rate_v_per_s * night_s > fall_v || reports < 30.0 {
                return None;
            }
        } else if fall_v < LEAST_FALL_COUNTS * described.count_v || night_s < 3600.0 {
            return None;
        }
        let busy_s =
            described.transmit.duration_s + f64::from(described.batch) * described.measure.duration_s;
        if busy_s > 0.2 * period_s {
            return None;
        }
        let day_s = night_s * random.random_range(0.3..0.8);
        let spent_j =
            described.capacitance_f(top_v) * factors.capacitance * 3.5 * NIGHT_PART * room_v * top_v;
        let light_w = spent_j / day_s / node.harvest.converter_efficiency.get::<ratio>();
        // Light that the converter cannot take is none that the balance could show.
        let most_w = node.harvest.maximum_current.get::<ampere>() * low_v * 0.7;
        let most_w = most_w / node.harvest.converter_efficiency.get::<ratio>();
        // A weak converter takes a longer day.
        let day_s = day_s * (light_w / most_w).max(1.0);
        let light_w = light_w.min(most_w);
        if day_s > 3.0 * night_s {
            return None;
        }
        let whole_s = f64::from(NIGHTS) * (night_s + day_s);
        Some(Self {
            offset_v: if fault == Some(Fault::ReadingOffset) {
                0.3
            } else {
                0.0
            },
            noise_v: described.count_v * random.random_range(0.3..1.2),
            has_events,
            row_s: if fault == Some(Fault::LeakageSettling) {
                1.5 * night_s
            } else {
                whole_s
            } / ROWS,
            node,
            described,
            fault,
            factors,
            top_v,
            low_v,
            night_s,
            day_s,
            light_w,
            period_s,
            random,
            advised: None,
        })
    }

    /// The healthy unit of `seed` with the log that `log-plan` asks for, for capacitance and sleeping current; `None` where it asks for
    /// none, or where storage does not last.
    pub(super) fn advised(seed: u64, within: f64) -> Option<Self> {
        let plan = Self::of(seed, None)?;
        let described = &plan.described;
        let steps = LogPlan::of(&plan.node, within).steps;
        let step = |name: &str| steps.iter().find(|step| step.parameter == name);
        let capacitance = step("capacitance_f")?;
        let report_s = capacitance
            .duration_s?
            .max(step("transmit_energy_j")?.duration_s?);
        let sleep_s = step("sleep_current_a")?.duration_s?;
        let fall_v = described.sleep_rate_v_per_s(described.working_v) * (report_s + sleep_s)
            + described.report_step_v(plan.low_v) * (report_s / described.fastest_s + FEW_REPORTS);
        let busy_s =
            described.transmit.duration_s + f64::from(described.batch) * described.measure.duration_s;
        let is_possible = fall_v < plan.factors.capacitance * (plan.top_v - plan.low_v)
            && busy_s < 0.2 * described.fastest_s
            && (report_s + sleep_s) / capacitance.interval_s < MOST_ROWS;
        is_possible.then(|| Self {
            period_s: described.fastest_s,
            row_s: capacitance.interval_s,
            has_events: true,
            advised: Some((report_s, sleep_s)),
            ..plan.clone()
        })
    }

    /// The least factor on the sleeping current that can be told from leakage, at least 4.
    ///
    /// The data sheet's leakage is a limit; a cell has 0.6 ± 0.35 of it, here 0.2 at least, and at one voltage its current looks like sleep.
    /// A finding at 1.5 times the margin with one-sided 95 %, missed in 5 of 100, takes 2·1.645 deviations, 3.3·0.35 = 1.15 of
    /// the leakage, and 0.6 − 0.2 of it for the cell that leaks least.
    fn raised_sleep(described: &Described) -> f64 {
        let leakage = described.leakage_a_at(described.working_v) / described.sleep_a(described.working_v);
        let limit = 1.5 * (1.0 + described.load_margin);
        (limit + (TOLD_APART * 0.35 + 0.4) * leakage).max(4.0)
    }

    /// The least factor on a report's energy that can be told from other causes, at least 2.
    ///
    /// Steps that grow are a small capacitor as well. No capacitor inside its tolerances explains them from 1.1·most/least on. And what
    /// says that the capacitor is not small is the sleeping current, known as well as the report's: the logarithm of their quotient has
    /// √2 of a load's deviation, of which 2·1.645 stand between a finding at 1.1 times the margin and one that is missed in 5
    /// of 100. Without events only the step of a report with its samples shows, and it is that which has to grow.
    fn raised_report(described: &Described, has_events: bool) -> f64 {
        let limit = 1.1 * (1.0 + described.load_margin);
        let loads = limit * (TOLD_APART * 2f64.sqrt() * described.load_deviation).exp();
        let capacitors = 1.1 * described.most_capacitance / described.end_of_life;
        let whole = loads.max(capacitors).max(2.0);
        let share = if has_events {
            1.0
        } else {
            let samples_j = f64::from(described.batch) * described.measure.energy_j;
            described.transmit.energy_j / (described.transmit.energy_j + samples_j)
        };
        1.0 + (whole - 1.0) / share
    }

    fn factors(random: &mut Pcg64, described: &Described, fault: Option<Fault>, has_events: bool) -> Factors {
        let mut normal = {
            // The sum of twelve even numbers less six: normal enough to three deviations.
            let mut own = Pcg64::seed_from_u64(random.random());
            move || (0..12).map(|_| own.random_range(0.0..1.0)).sum::<f64>() - 6.0
        };
        let mut load = |raised: f64| raised * (described.load_deviation * normal()).exp();
        let sleep = if fault == Some(Fault::SleepCurrentHigh) {
            Self::raised_sleep(described)
        } else {
            1.0
        };
        let transmit = if fault == Some(Fault::ActionCostsMore) {
            Self::raised_report(described, has_events)
        } else {
            1.0
        };
        let (low, high) = (described.end_of_life.ln(), described.most_capacitance.ln());
        let capacitance = if fault == Some(Fault::CapacitanceLow) {
            0.6 * described.end_of_life
        } else {
            random.random_range(low..high).exp()
        };
        let scale = 1.0 + described.sense_deviation * 3f64.sqrt() * random.random_range(-1.0..1.0);
        Factors {
            capacitance,
            resistance: random.random_range(1.0..2.0),
            sleep: load(sleep),
            leakage: random.random_range(0.2..1.0),
            measure: load(1.0),
            transmit: load(transmit),
            scale: if fault == Some(Fault::ReadingScaled) {
                1.15 * scale
            } else {
                scale
            },
        }
    }
}
