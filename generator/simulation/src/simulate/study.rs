//! One node under its policy, beside the baselines and what perfect foresight could reach.

use millpond_policy::Policy;

use crate::bound::{Bound, Foresight, clairvoyant};
use crate::halving::halved;
use crate::income::{Income, Segment};
use crate::model::bank::{Bank, Wear};
use crate::model::load::Load;
use crate::node::{Action, Node, Pace, Source};
use crate::rounding;
use crate::simulate::baseline::{ConstantFraction, Costs, FixedInterval, SlotAverages};
use crate::simulate::made::{Made, PLANNED};
use crate::simulate::rule::{Flashed, Planned};
use crate::simulate::run::{self, Outcome, run};
use crate::simulate::timeline::{Blind, Watch};
use crate::simulate::unit::Part;
use crate::thresholds::Thresholds;
use crate::units::*;

/// Name of the pace by the table.
pub const EVEN: &str = Pace::Even.name();

/// How many times a study tells its watch of something finished: the policy, four baselines, the bound.
pub const FINISHED: u32 = 6;

/// A run under the policy, and what to compare it with.
#[derive(Clone, Debug)]
pub struct Study {
    /// The policy under its own pace.
    pub outcome: Outcome,
    /// The plan behind the pace that plans, if there is one.
    pub made: Option<Made>,
    /// The policy under the other pace, by its name.
    pub paces: Vec<(&'static str, Outcome)>,
    /// The baselines by name, in the same world.
    pub baselines: Vec<(&'static str, Outcome)>,
    /// What foresight reaches; `None` where even a node that only sleeps would die.
    pub bound: Option<Bound>,
    /// The same for whoever starts no report below the thresholds of the policy; `None` with it.
    pub bound_at_thresholds: Option<Bound>,
    /// What has to be said of the light, if anything.
    pub note: Option<&'static str>,
    /// Where the storage stands at the start (V).
    pub start: Voltage,
    /// Whether the income is that of the node's own source, which begins at midnight, and not a trace.
    pub is_own_income: bool,
}

/// Halvings of a range of voltages until nothing is left to halve.
const VOLTAGE_HALVINGS: u32 = 60;

/// Of a solar node's own light.
const CLEAR_SKY: &str = "every day of this light has a clear sky. A plan is tuned for weather with dark spells and keeps a reserve for the \
                         worst of them, which may score lower here: compare the paces in the light of a weather file";

impl Study {
    /// Runs the nominal unit of `node` on `income`; `watch` sees the run under the policy, at the pace that the node asks for.
    /// Without a plan that is even spending.
    pub fn of(
        node: &Node,
        thresholds: &Thresholds,
        policy: Policy,
        made: Option<Made>,
        income: &Income,
        course: &run::Course,
        watch: &mut impl Watch,
    ) -> Self {
        let part = Part::nominal(node);
        let even = Flashed::new(policy);
        let planned = made.map(|made| Planned::new(policy, made.plan));
        let mut paces = Vec::new();
        // The watched run comes first: its timeline grows from the start.
        let outcome = match (node.policy.pace, planned) {
            (Pace::Planned, Some(mut planned)) => {
                let outcome = run(&part, income, &mut planned, course, watch);
                watch.finished(PLANNED);
                paces.push((EVEN, run(&part, income, &mut even.clone(), course, &mut Blind)));
                outcome
            }
            (_, planned) => {
                let outcome = run(&part, income, &mut even.clone(), course, watch);
                watch.finished(EVEN);
                if let Some(mut planned) = planned {
                    paces.push((PLANNED, run(&part, income, &mut planned, course, &mut Blind)));
                }
                outcome
            }
        };
        let batch = policy.parts().batch;
        let interval_s = u32::from(rounding::seconds_up(
            node.policy.fastest / f64::from(node.policy.batch),
        ));
        let safe_mv = policy.parts().transmit_mv.max(policy.parts().measure_mv);
        let costs = costs(node, thresholds);
        let fixed = |threshold_mv| {
            run(
                &part,
                income,
                &mut FixedInterval::new(interval_s, batch, threshold_mv),
                course,
                &mut Blind,
            )
        };
        let mut baselines = Vec::new();
        let mut add = |name, outcome| {
            baselines.push((name, outcome));
            watch.finished(name);
        };
        add("fixed interval, hardware cut-off", fixed(0));
        add("fixed interval above the threshold", fixed(safe_mv));
        let mut averages = SlotAverages::new(policy, costs);
        let outcome_of_averages = run(&part, income, &mut averages, course, &mut Blind);
        add("hourly slot averages", outcome_of_averages);
        let horizon_s = node.policy.dark_horizon.get::<second>();
        let mut fraction = ConstantFraction::new(policy, costs, horizon_s);
        add(
            "constant fraction",
            run(&part, income, &mut fraction, course, &mut Blind),
        );
        let to_floor = foresight(node, income, course);
        let at_thresholds = Foresight {
            threshold: kept(node, &part, safe_mv),
            ..to_floor.clone()
        };
        let bound = clairvoyant(&to_floor).ok();
        let bound_at_thresholds = clairvoyant(&at_thresholds).ok();
        watch.finished("perfect foresight");
        let is_own_income = Income::of(&node.harvest.source).as_ref() == Some(income);
        let is_clear = is_own_income && matches!(node.harvest.source, Source::Photovoltaic { .. });
        Self {
            start: course.start,
            is_own_income,
            made,
            note: is_clear.then_some(CLEAR_SKY),
            outcome,
            paces,
            baselines,
            bound,
            bound_at_thresholds,
        }
    }

    /// The name of a pace, for people: a plan that was not tuned says so.
    pub fn title(&self, name: &'static str) -> &'static str {
        match &self.made {
            Some(made) if name == PLANNED => made.title(),
            _ => name,
        }
    }

    /// Mean age at best over mean age reached: 1 is the best possible. `None` without a bound.
    pub fn ratio(&self, outcome: &Outcome) -> Option<f64> {
        self.bound.as_ref().map(|bound| ratio(bound, outcome))
    }

    /// The same against foresight that keeps the thresholds: what the pace alone could gain.
    pub fn ratio_at_thresholds(&self, outcome: &Outcome) -> Option<f64> {
        self.bound_at_thresholds
            .as_ref()
            .map(|bound| ratio(bound, outcome))
    }
}

fn ratio(bound: &Bound, outcome: &Outcome) -> f64 {
    bound.mean_age.get::<second>() / outcome.mean_age_s()
}

/// What the nominal unit `part` has stored above its floor at least when its firmware reads `safe_mv`.
///
/// A reading taken while charging stands above the voltage behind each resistance by the largest current times that at most.
fn kept(node: &Node, part: &Part, safe_mv: u16) -> Energy {
    // A reading rises with the terminal's voltage.
    let overvoltage_v = node.harvest.overvoltage.get::<volt>();
    let is_safe = |inner_v| part.reading_mv(inner_v) >= safe_mv;
    let (low_v, _) = halved(0.0, overvoltage_v, VOLTAGE_HALVINGS, is_safe);
    let lifted = node.harvest.maximum_current * part.bank.largest_resistance();
    let floor = node.supply.regulator.floor();
    let least = (volts(low_v) - lifted).max(floor);
    part.bank.stored_at_rest(least) - part.bank.stored_at_rest(floor)
}

/// What the planning baselines know of the node: the same figures as its firmware.
fn costs(node: &Node, thresholds: &Thresholds) -> Costs {
    let report = thresholds.report_energy(node.policy.batch);
    let sleep = crate::policy::sleep_power(thresholds);
    Costs {
        report_uj: report.get::<joule>() * 1e6,
        sleep_uw: sleep.get::<watt>() * 1e6,
        fastest_s: node.policy.fastest.get::<second>(),
        slowest_s: node.policy.slowest.get::<second>(),
        look_s: u32::from(rounding::seconds_up(node.policy.fastest)),
    }
}

/// What foresight may count on: everything at its best for the nominal unit, so that the bound holds.
pub fn foresight(node: &Node, income: &Income, course: &run::Course) -> Foresight {
    let bank = Bank::of_node(node, Wear::NONE);
    let floor = node.supply.regulator.floor();
    let full = node.harvest.overvoltage;
    let stored = |at: Voltage| bank.stored_at_rest(at);
    let nothing = fraction(0.0);
    let regulator = &node.supply.regulator;
    // Constant power costs the same at any voltage, constant current the least at the lowest.
    let asleep = Load::node_asleep(node, node.sleep_current, seconds(1.0), nothing).drain;
    let load = |action: &Action| Load::of(regulator, &action.first_try(), node.radio.as_ref(), nothing);
    let (transmit, measure) = (load(&node.transmit), load(&node.measure));
    let batch = f64::from(node.policy.batch);
    let sleep = asleep.power_at(floor) + floor * (bank.leakage * floor);
    // An action's current is the whole node's: the sleep that it takes the place of is not paid beside it.
    let actions = transmit.energy_at(floor) + measure.energy_at(floor) * batch;
    let busy = transmit.duration + measure.duration * batch;
    let saved = asleep.power_at(floor) * busy;
    Foresight {
        duration: course.duration,
        income: segments(income, course.duration)
            .map(|segment| {
                (
                    seconds(segment.until_s),
                    node.harvest.at_storage(segment.power, full),
                )
            })
            .collect(),
        capacity: stored(full) - stored(floor),
        stored_start: (stored(course.start) - stored(floor)).max(joules(0.0)),
        threshold: joules(0.0),
        sleep,
        report: (actions - saved).max(actions * 0.01),
        fastest: node.policy.fastest,
        slowest: node.policy.slowest,
    }
}

/// The income up to `duration`, the last segment cut there.
fn segments(income: &Income, duration: Time) -> impl Iterator<Item = Segment> {
    let end_s = duration.get::<second>();
    let mut is_over = false;
    income.segments().map_while(move |segment| {
        let was_over = is_over;
        is_over = segment.until_s >= end_s;
        (!was_over).then_some(Segment {
            until_s: segment.until_s.min(end_s),
            ..segment
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node;

    /// Rounding of a few products, relative.
    const ROUNDING: f64 = 1e-12;

    /// Where the capacitance rises, the bound has the whole of what lies between floor and full, by hand: 0.6 F at 0 V, 1 F at
    /// 5.5 V, from 2.3 V to 5.3 V.
    #[test]
    fn foresight_has_all_that_a_rising_capacitance_holds() {
        let mut node = node::example("crack-gauge");
        node.storage[0].capacitance_slope = farads_per_volt(0.4 / 5.5);
        let floor_v: f64 = node.supply.regulator.floor().get::<volt>();
        let full_v: f64 = 5.3;
        let source = crate::node::Source::Constant { power: watts(1e-3) };
        let income = Income::of(&source).expect("a constant");
        let course = crate::simulate::course(&node, 1.0);
        let given = foresight(&node, &income, &course).capacity.get::<joule>();
        let stored_j = |v: f64| 0.3 * v * v + 0.4 / 5.5 / 3.0 * v.powi(3);
        let want_j = stored_j(full_v) - stored_j(floor_v);
        assert!((given - want_j).abs() < ROUNDING * want_j, "{given} {want_j}");
    }
}
