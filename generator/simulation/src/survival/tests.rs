use super::*;
use crate::income::Income;
use crate::model::discharge::{Stretch, discharge};
use crate::model::redistribution;
use crate::node::{self, Capacitor, Extent};
use crate::simulate::plant::{End, Plant};
use crate::simulate::rule::Flashed;
use crate::simulate::run::{self, run};
use crate::simulate::timeline::Blind;
use crate::simulate::unit::Part;

/// The search for the halving current ends closer than this.
const HALVED: f64 = 1e-6;
/// One middle voltage stands for all: some per cent.
const ONE_VOLTAGE: f64 = 0.05;

/// What the closed forms may differ from the simulation by: the promise of docs/validation.md.
const AGREED: f64 = 0.005;
/// Of the time to the first report: firmware reads whole counts and asks again only after `fastest`.
const ASKED_AGAIN: f64 = 0.01;

/// Longer than any of the examples lives in the dark.
const FOREVER_S: f64 = 1e9;

const EXAMPLES: [&str; 3] = ["crack-gauge", "display-case", "pump-bearing"];

fn survival(node: &Node, corner: Corner) -> (Thresholds, Survival) {
    let thresholds = Thresholds::of(node);
    let survival = Survival::of(node, &thresholds, corner);
    (thresholds, survival)
}

/// The ceramic beside the pump's cells is back with them in a tenth of a millisecond (s).
const SETTLES_S: f64 = 10e-3;

/// Time (s) of a plant from `from` until the terminal falls to `to_v`, with `loads` once in each period.
fn simulated_s(plant: &mut Plant, loads: &[&Load], period_s: f64, asleep: &Drain, to_v: f64) -> f64 {
    let (below, above) = (f64::NEG_INFINITY, f64::INFINITY);
    let busy_s: f64 = loads.iter().map(|load| load.duration.get::<second>()).sum();
    let mut now_s = 0.0;
    loop {
        for stretch in loads.iter().flat_map(|load| &load.stretches) {
            let (end, _) = plant.advance(&stretch.drain, stretch.duration.get::<second>(), below, above);
            assert_eq!(end, End::Time);
        }
        // The limit counts asleep and at rest: just after an action a small branch still stands below the others.
        let (end, settled_s) = plant.advance(asleep, SETTLES_S.min(period_s - busy_s), below, above);
        assert_eq!(end, End::Time);
        now_s += busy_s + settled_s;
        let (end, slept_s) = plant.advance(asleep, period_s - busy_s - settled_s, to_v, above);
        now_s += slept_s;
        if end == End::Below {
            return now_s;
        }
    }
}

/// The dark hours of each example, asleep and at both paces, in both corners, equal those of the simulated storage, pulse by pulse.
#[test]
fn dark_hours_equal_the_simulated_ones() {
    for name in EXAMPLES {
        let node = node::example(name);
        let thresholds = Thresholds::of(&node);
        let corners = [Corner::Typical, Corner::Worst];
        let units = corners.map(|corner| (corner, Unit::at_ends(&node, &thresholds, corner)));
        for (corner, unit) in units
            .iter()
            .flat_map(|(corner, units)| units.iter().map(move |unit| (*corner, unit)))
        {
            let survival = unit.survives(&thresholds, corner);
            let asleep = unit.asleep(node.sleep_current);
            let start = || Plant::new(&unit.bank, &node.harvest, thresholds.overvoltage);
            let measure = unit.load(&node.measure);
            let transmit = unit.load(&unit.transmit);
            let floor_v = unit.floor.get::<volt>();
            let slept_s = simulated_s(&mut start(), &[], FOREVER_S, &asleep, floor_v);
            let said_s = survival.rows[0]
                .from_full
                .alive
                .expect("it draws")
                .get::<second>();
            assert!(
                (said_s / slept_s - 1.0).abs() < AGREED,
                "{name} {corner:?} asleep: {said_s} {slept_s}"
            );
            for (doing, period) in [
                (Doing::Reporting(At::Slowest), node.policy.slowest),
                (Doing::Reporting(At::Fastest), node.policy.fastest),
            ] {
                let samples = (0..node.policy.batch).map(|_| &measure);
                let loads: Vec<&Load> = samples.chain([&transmit]).collect();
                let decide_v = f64::from(thresholds.transmit.decide_mv) / 1e3;
                let mut plant = start();
                let acted_s = simulated_s(&mut plant, &loads, period.get::<second>(), &asleep, decide_v);
                let alive_s = acted_s + simulated_s(&mut plant, &[], FOREVER_S, &asleep, floor_v);
                let dark = survival.row(doing).expect("a row").from_full;
                // The last action may have begun just above the threshold: half a period is the mean of that.
                let tolerance_s = AGREED * acted_s + period.get::<second>();
                let said_s = dark.acting.get::<second>();
                assert!(
                    (said_s - acted_s).abs() < tolerance_s,
                    "{name} {corner:?} {doing:?}: {said_s} {acted_s}"
                );
                let said_s = dark.alive.expect("it draws").get::<second>();
                // Its last action leaves the storage anywhere up to one action's charge below the threshold: sleep for so long.
                let at = volts(decide_v);
                let charge: Charge = loads.iter().map(|load| load.charge_at(at)).sum();
                let slept = charge / (asleep.at(at) + unit.bank.leakage * at);
                let tolerance_s = AGREED * alive_s + period.get::<second>() + slept.get::<second>();
                assert!(
                    (said_s - alive_s).abs() < tolerance_s,
                    "{name} {corner:?} {doing:?}: {said_s} {alive_s}"
                );
            }
        }
    }
}

/// The pump's node with cells of much resistance, two kinds of like size, and a small capacitor that carries a pulse of 90 mA.
fn several() -> Node {
    let mut node = node::example("pump-bearing");
    node.storage[0].leakage = amperes(1e-6);
    node.storage[0].balance_resistor = None;
    let cell = node.storage[0].clone();
    node.storage[0].capacitance = farads(0.8);
    node.storage[0].esr = ohms(60.0);
    node.storage.insert(
        1,
        Capacitor {
            capacitance: farads(0.6),
            esr: ohms(90.0),
            ..cell
        },
    );
    node.storage[2].capacitance = farads(10e-3);
    node.transmit.attempts = 1;
    let send = &mut node.transmit.phases[1];
    (send.current, send.peak_current) = (amperes(90e-3), amperes(90e-3));
    node.measure.phases[0].extent = Extent::Fixed(seconds(50e-3));
    node.policy.slowest = seconds(600.0);
    node.policy.batch = 1;
    node
}

/// A unit whose one branch could not carry its report lives as long as its bank does branch by branch, period by period, in both
/// corners: to half a percent and a period.
#[test]
fn a_pulse_that_one_branch_carries_counts_branch_by_branch() {
    let node = several();
    for corner in [Corner::Typical, Corner::Worst] {
        let (thresholds, survival) = survival(&node, corner);
        let unit = Unit::of(&node, &thresholds, corner);
        let period_s = node.policy.slowest.get::<second>();
        let (measure, transmit) = (unit.load(&node.measure), unit.load(&unit.transmit));
        let between = Load::node_asleep(
            &node,
            node.sleep_current,
            node.policy.slowest - measure.duration - transmit.duration,
            unit.excess,
        );
        let actions = measure.stretches.iter().chain(&transmit.stretches);
        let stretches: Vec<Stretch> = actions.copied().chain([between]).collect();
        let decide =
            rounding::from_millivolts(thresholds.transmit.decide_mv.max(thresholds.measure.decide_mv));
        let rest_v = |at: Voltage| vec![at.get::<volt>(); unit.bank.branches.len()];
        let (mut inner_v, mut acted_s) = (rest_v(thresholds.overvoltage), 0.0);
        while redistribution::shared(&unit.bank, &inner_v) > decide {
            inner_v = discharge(&unit.bank, &inner_v, &stretches)
                .expect("carried")
                .inner_v;
            acted_s += period_s;
        }
        let dark = survival
            .row(Doing::Reporting(At::Slowest))
            .expect("a row")
            .from_full;
        let said_s = dark.acting.get::<second>();
        assert!(
            (said_s - acted_s).abs() < AGREED * acted_s + period_s,
            "{corner:?}: {said_s} {acted_s}"
        );
        assert!(
            acted_s > 50.0 * period_s,
            "{corner:?}: too short to tell, {acted_s}"
        );
        assert!(dark.alive > Some(dark.acting));
        // As one branch the same bank does not act at all.
        let lumped = Bank {
            branches: vec![unit.bank.as_one(thresholds.overvoltage)],
            leakage: unit.bank.leakage,
        };
        let (cycle, _) = unit.cycle(Doing::Reporting(At::Slowest));
        let passage =
            Storage::dark(&lumped, thresholds.overvoltage).passage(&cycle, thresholds.overvoltage, decide);
        assert_eq!(passage, None, "{corner:?}");
    }
}

/// The light that is said to hold the storage holds it: a thousandth more lets it rise from the threshold, a thousandth less fall.
#[test]
fn the_light_that_keeps_it_going_is_the_least() {
    for name in EXAMPLES {
        let node = node::example(name);
        let (thresholds, survival) = survival(&node, Corner::Typical);
        let unit = Unit::of(&node, &thresholds, Corner::Typical);
        let light = survival.rows[0].light.expect("sleep is kept going");
        let power = light.power(&node.harvest.source).expect("its own light");
        for (part, rises) in [(1.001, true), (0.999, false)] {
            let mut plant = Plant::new(&unit.bank, &node.harvest, unit.threshold);
            plant.offer(power.get::<watt>() * part);
            let asleep = unit.asleep(node.sleep_current);
            plant.advance(&asleep, 86_400.0, f64::NEG_INFINITY, f64::INFINITY);
            assert_eq!(
                plant.inner_v() > unit.threshold.get::<volt>(),
                rises,
                "{name} {part}"
            );
        }
    }
}

/// Each answer on the worst unit is that of the end where it is worse: asleep, where leakage rules, the hot one; reporting as often as
/// allowed, where capacitance does, the cold one.
#[test]
fn the_worse_end_answers() {
    let mut node = node::example("crack-gauge");
    node.storage[0].hot_leakage = Some(fraction(6.0));
    let (thresholds, worst) = survival(&node, Corner::Worst);
    let ends = Unit::at_ends(&node, &thresholds, Corner::Worst);
    let [cold, hot] = [0, 1].map(|end| ends[end].survives(&thresholds, Corner::Worst));
    let asleep = |survival: &Survival| survival.row(Doing::Sleeping).expect("a row").from_full.alive;
    assert!(asleep(&hot) < asleep(&cold));
    assert_eq!((asleep(&worst), worst.halving), (asleep(&hot), hot.halving));
    let fastest = Doing::Reporting(At::Fastest);
    let acting = |survival: &Survival| survival.row(fastest).expect("a row").from_full.acting;
    assert!(acting(&cold) < acting(&hot));
    assert_eq!(acting(&worst), acting(&cold));
    let reporting = Doing::Reporting(At::Slowest);
    let said = worst.row(reporting).expect("a row").from_full;
    assert_eq!(Dark::reporting(&node, &thresholds), said);
}

/// A start-up that the storage does not carry is what is in the way, and not the light; dim light is, where it is.
#[test]
fn what_is_in_the_way_of_a_first_report_is_named() {
    let mut node = node::example("display-case");
    let light = Light::Illuminance(luxes(180.0));
    let obstacle = |node: &Node, light| {
        let recharge = Recharge::of(node, &Thresholds::of(node), light).expect("its light");
        assert_eq!(recharge.obstacle.is_none(), recharge.first_report.is_some());
        recharge.obstacle
    };
    assert_eq!(obstacle(&node, light), None);
    let at = volts(1.8) + volts(0.1);
    assert_eq!(
        obstacle(&node, Light::Illuminance(luxes(0.0))),
        Some(Obstacle::NeverConnects { at })
    );
    // By hand: 44 mC from 0.22 F are 0.2 V, and reset is released 0.1 V above the floor.
    node.boot.phases[0].current = amperes(44e-3);
    node.boot.phases[0].peak_current = amperes(44e-3);
    node.boot.phases[0].extent = crate::node::Extent::Fixed(seconds(1.0));
    assert_eq!(obstacle(&node, light), Some(Obstacle::LosesItsStart { at }));
    node.supply.starts_at = Some(volts(2.1));
    assert_eq!(obstacle(&node, light), None);
}

/// By hand: a node whose sleep, supply and bank draw nothing sleeps for ever.
#[test]
fn what_draws_nothing_lasts_for_ever() {
    let mut node = node::example("display-case");
    node.sleep_current = amperes(0.0);
    node.sense.divider_switched = true;
    for part in &mut node.storage {
        part.leakage = amperes(0.0);
        part.balance_resistor = None;
    }
    let budget = millpond_sizing::budget::Budget::of(&node);
    assert_eq!(budget.store.asleep, None);
    let (_, worst) = survival(&node, Corner::Worst);
    assert_eq!(worst.rows[0].from_full.alive, None);
    // What it does costs the same as before, and then it sleeps.
    let reporting = worst.row(Doing::Reporting(At::Slowest)).expect("a row").from_full;
    assert!(reporting.acting > seconds(0.0) && reporting.alive.is_none());
}

/// With the sleeping current that is said to halve the time, the time is half.
#[test]
fn the_halving_current_halves() {
    let asleep = |survival: &Survival| survival.rows[0].from_full.alive.expect("it draws");
    for name in EXAMPLES {
        let mut node = node::example(name);
        let (_, before) = survival(&node, Corner::Worst);
        node.sleep_current = before.halving.expect("some current does");
        let (_, after) = survival(&node, Corner::Worst);
        let part = asleep(&after) / asleep(&before);
        assert!((part.get::<ratio>() - 0.5).abs() < HALVED, "{name} {part:?}");
    }
}

/// By hand: no light but the whole of the current doubles the drain: the crack gauge draws 2.4 uA · 3 V / 72 % = 10 uW asleep,
/// 0.6 uA of its own and 0.909 uA/V of leakage, so what halves the time is near 2·(10 uW/3.8 V + 0.6 + 3.5 uA) less what is not sleep.
#[test]
fn the_halving_current_is_near_the_estimate_by_hand() {
    let mut node = node::example("crack-gauge");
    node.sense.divider_switched = true;
    let (_, survival) = survival(&node, Corner::Typical);
    let (v, total_ua) = (3.8, 10.0 / 3.8 + 0.6 + 0.909 * 3.8);
    // Twice the whole current, less what stays, back at the rail.
    let sleep_ua = (2.0 * total_ua - 0.6 - 0.909 * 3.8) * v * 0.72 / 3.0;
    let found_ua = survival.halving.expect("some current does").get::<ampere>() * 1e6;
    // The efficiency rises a little with the current.
    assert!(
        (found_ua / sleep_ua - 1.0).abs() < ONE_VOLTAGE,
        "{found_ua} {sleep_ua}"
    );
}

/// From empty to the first report and from the floor to full, as in the simulation of the whole node in steady light.
#[test]
fn recharging_equals_the_simulated() {
    for name in EXAMPLES {
        let mut node = node::example(name);
        // The first report at once: samples wait for none.
        node.policy.batch = 1;
        let thresholds = Thresholds::of(&node);
        let light = Light::typical(&node.harvest.source).expect("a source");
        let recharge = Recharge::of(&node, &thresholds, light).expect("its own light");
        let part = Part::nominal(&node);
        let mut plant = Plant::new(&part.bank, &node.harvest, volts(part.cut_v));
        plant.offer(recharge.offered.get::<watt>());
        let (end, filled_s) = plant.advance(
            &part.asleep.drain,
            1e9,
            f64::NEG_INFINITY,
            node.harvest.overvoltage.get::<volt>() - 1e-7,
        );
        assert_eq!(end, End::Above, "{name}");
        let said_s = recharge.full.expect("it fills").get::<second>();
        assert!(
            (said_s / filled_s - 1.0).abs() < AGREED,
            "{name} full: {said_s} {filled_s}"
        );

        let policy = crate::policy::policy(&node, &thresholds).expect("no rule is broken");
        let said_s = recharge.first_report.expect("it starts").get::<second>();
        let income = Income::of_steps(seconds(1e9), [recharge.offered]);
        let course = run::Course {
            duration: seconds(said_s * 1.1),
            start: volts(0.0),
            batch: 1,
            backlog: node.policy.backlog,
        };
        let outcome = run(&part, &income, &mut Flashed::new(policy), &course, &mut Blind);
        assert!(
            outcome.reports > 0 && outcome.brownouts == 0,
            "{name} {outcome:?}"
        );
        let tolerance_s = ASKED_AGAIN * said_s + node.policy.fastest.get::<second>();
        let seen_s = outcome.longest_silence_s;
        assert!(
            (said_s - seen_s).abs() < tolerance_s,
            "{name} first report: {said_s} {seen_s}"
        );
    }
}

/// More light is never slower, and no light at all leads nowhere.
#[test]
fn more_light_is_sooner() {
    let node = node::example("display-case");
    let thresholds = Thresholds::of(&node);
    let first = |lx: f64| {
        Recharge::of(&node, &thresholds, Light::Illuminance(luxes(lx)))
            .expect("a cell indoors")
            .first_report
    };
    assert_eq!(first(0.0), None);
    let times: Vec<_> = [50.0, 100.0, 200.0, 400.0, 800.0]
        .into_iter()
        .map(first)
        .collect();
    assert!(times.iter().all(Option::is_some), "{times:?}");
    assert!(times.windows(2).all(|pair| pair[0] > pair[1]), "{times:?}");
    assert_eq!(
        Recharge::of(&node, &thresholds, Light::Irradiance(watts_per_square_meter(1.0))),
        None
    );
}
