use super::drill::{Drilled, Flow, Spender, drill};
use super::practice::Year;
use super::settings::{ALL, Name, Settings};
use super::*;
use crate::bound::Bound;
use crate::node::example;
use crate::policy::policy;
use crate::progress::Unseen;
use crate::simulate::study::foresight;
use approx::assert_relative_eq;
use proptest::prelude::*;

/// Rounding of a ratio of two ages.
const ROUNDING: f64 = 1e-12;
/// Rounding of the sum of a dark week, some joules.
const DARK_J: f64 = 1e-6;
/// Rounding of the sum of a year.
const YEAR: f64 = 1e-9;

/// A drill has the costs of a linear supply at the middle of the usable voltages; this node's storage stands at 5.1 V, 13 % above.
const DRILL_PART: f64 = 0.15;
/// Whole seconds of an interval, rounded up, and the wait that ends with a slot.
const INTERVAL_PART: f64 = 0.02;

fn pump_bearing() -> (Node, Thresholds, Policy, Typical) {
    let node = example("pump-bearing");
    let thresholds = Thresholds::of(&node);
    let policy = policy(&node, &thresholds).expect("the examples have policies");
    let typical = Typical::of(&node, &thresholds).expect("the examples are small");
    (node, thresholds, policy, typical)
}

/// By hand: near 122/128, and far 64/128, a fall by 238/256 in each slot: 64 + 58·0.9297 = 117.9, and after 48 slots 65.75.
#[test]
fn caution_falls_from_near_to_far() {
    let caution = Settings::usual().caution();
    assert_eq!((caution[0], caution[47]), (118, 66));
    assert!(caution.windows(2).all(|pair| pair[0] >= pair[1]));
}

#[test]
fn the_usual_settings_are_inside_their_ranges() {
    for setting in ALL {
        assert!(
            (setting.least..=setting.most).contains(&setting.usual),
            "{setting:?}"
        );
        assert!(setting.step > 0);
    }
}

/// By hand: what foresight reaches is worth 1, twice its age a half. A silence is free up to twice foresight's, e times that costs 0.02;
/// each loss of supply costs 0.5.
#[test]
fn worth_is_as_by_hand() {
    let bound = Bound {
        mean_age: seconds(300.0),
        reports: 100.0,
        longest_silence: seconds(1000.0),
        rate: Vec::new(),
    };
    let worth = |mean_age_s, longest_silence_s, brownouts| {
        let drilled = Drilled {
            mean_age_s,
            longest_silence_s,
            brownouts,
        };
        tuning::worth(&drilled, &bound)
    };
    assert_relative_eq!(worth(300.0, 1000.0, 0), 1.0, epsilon = ROUNDING);
    assert_relative_eq!(worth(600.0, 2000.0, 0), 0.5, epsilon = ROUNDING);
    assert_relative_eq!(
        worth(300.0, 2000.0 * std::f64::consts::E, 0),
        0.98,
        epsilon = ROUNDING
    );
    assert_relative_eq!(worth(300.0, 1000.0, 3), -0.5, epsilon = ROUNDING);
}

/// Constant income P above sleep: after some days storage neither rises nor falls, so reports cost P each second, and the mean
/// age is half a report's cost through P.
#[test]
fn steady_income_is_spent_as_it_comes() {
    let (_, _, policy, typical) = pump_bearing();
    let plan = typical.plan(&Settings::usual()).expect("a plan");
    let store = *typical.store();
    let net_w = store.report_j / 400.0;
    let flow = Flow {
        power_w: vec![store.sleep_w + net_w; 60 * 144],
        start_j: (store.full_j + store.decide_j) / 2.0,
    };
    let long = drill(&typical, &policy, &plan, &flow);
    let short = drill(
        &typical,
        &policy,
        &plan,
        &Flow {
            power_w: flow.power_w[..30 * 144].to_vec(),
            start_j: flow.start_j,
        },
    );
    // Of the last thirty days alone: the first learn. Leakage is between that of the empty and that of the full storage.
    let settled_s = 2.0 * long.mean_age_s - short.mean_age_s;
    let age_s = |stored_j: f64| 200.0 * net_w / (net_w + store.sleep_w - store.asleep_w(stored_j));
    let (least_s, most_s) = (age_s(store.decide_j), age_s(store.full_j));
    assert!(
        (least_s * (1.0 - INTERVAL_PART)..most_s * (1.0 + INTERVAL_PART)).contains(&settled_s),
        "{settled_s} s, not in {least_s}..{most_s} s"
    );
    assert_eq!(long.brownouts, 0);
}

/// The drill stands for the full simulation.
#[test]
fn a_drill_agrees_with_the_full_simulation() {
    let (node, _, policy, typical) = pump_bearing();
    let plan = typical.plan(&Settings::usual()).expect("a plan");
    let income = Income::of(&node.harvest.source).expect("a constant source");
    let year = Year::of(&node, "steady", income, 60.0).expect("it lives");
    let drilled = drill(&typical, &policy, &plan, &year.flow);
    let mut rule = rule::Planned::new(policy, plan);
    let full = run(
        &Part::nominal(&node),
        &year.income,
        &mut rule,
        &year.course,
        &mut Blind,
    );
    assert!(
        (drilled.mean_age_s / full.mean_age_s() - 1.0).abs() < DRILL_PART,
        "{} s, {} s",
        drilled.mean_age_s,
        full.mean_age_s()
    );
    assert!(full.mean_age_s() >= year.bound.mean_age.get::<second>());
}

/// Samples every so often, but never in some slots.
struct Steady {
    sample_s: f64,
    silent: std::ops::Range<usize>,
    slot: usize,
}

impl Spender for Steady {
    fn power_up(&mut self) {}

    fn slot(&mut self, slot: usize, _stored_j: f64, _spent_j: f64) {
        self.slot = slot;
    }

    fn sample_s(&self, _stored_j: f64) -> f64 {
        if self.silent.contains(&self.slot) {
            f64::INFINITY
        } else {
            self.sample_s
        }
    }
}

/// By hand, always full: reports every g seconds for two hours, none for three. The age is g/2 on average while reports come, and grows to
/// three hours, 1.5 h on average, while none do: (2·g/2 + 3·1.5 h)/5.
#[test]
fn the_age_in_a_drill_is_as_by_hand() {
    let (_, _, _, typical) = pump_bearing();
    let mut store = *typical.store();
    store.batch = 2.0;
    let flow = Flow {
        power_w: vec![1.0; 5 * 6],
        start_j: store.full_j,
    };
    let mut spender = Steady {
        sample_s: 300.0,
        silent: 1..4,
        slot: 0,
    };
    let drilled = drill::drill_of(&store, &flow, &mut spender);
    assert_relative_eq!(
        drilled.mean_age_s,
        (2.0 * 300.0 + 3.0 * 5400.0) / 5.0,
        max_relative = ROUNDING
    );
    assert_relative_eq!(drilled.longest_silence_s, 3.0 * 3600.0, max_relative = ROUNDING);
    assert_eq!(drilled.brownouts, 0);
}

/// By hand: empty, it loses its supply in the first step. A step brings 2/21 of what connects, and half of that below a quarter: 6 steps to
/// 6/21 and 8 to 22/21. The threshold, at half of what connects, does not count.
#[test]
fn a_lost_supply_is_back_when_it_connects() {
    let (_, _, _, typical) = pump_bearing();
    let mut store = *typical.store();
    (store.connect_j, store.decide_j) = (store.full_j / 2.0, store.full_j / 4.0);
    (store.cold_j, store.cold_part, store.batch) = (store.connect_j / 4.0, 0.5, 1.0);
    let power_w = store.connect_j * 2.0 / 21.0 / drill::STEP_S;
    let flow = Flow {
        power_w: [vec![0.0], vec![power_w; 20]].concat(),
        start_j: 0.0,
    };
    let mut spender = Steady {
        sample_s: drill::STEP_S,
        silent: 0..0,
        slot: 0,
    };
    let drilled = drill::drill_of(&store, &flow, &mut spender);
    assert_eq!(drilled.brownouts, 1);
    assert_relative_eq!(
        drilled.longest_silence_s,
        15.0 * drill::STEP_S,
        max_relative = ROUNDING
    );
}

/// A node without income dies in the drill, at the time that its charge allows.
#[test]
fn a_drill_in_the_dark_ends() {
    let (_, _, policy, typical) = pump_bearing();
    let plan = typical.plan(&Settings::usual()).expect("a plan");
    let store = *typical.store();
    // Leakage at the floor is the least.
    let days = (store.full_j / store.asleep_w(0.0) / 86_400.0).ceil() as usize + 1;
    let flow = Flow {
        power_w: vec![0.0; days * 144],
        start_j: store.full_j,
    };
    let drilled = drill(&typical, &policy, &plan, &flow);
    assert_eq!(drilled.brownouts, 1);
    assert!(drilled.longest_silence_s > 0.0);
}

/// One peak, anywhere: the search ends within its finest step of it, a quarter of the first, in each setting.
#[test]
fn a_search_ends_at_a_peak() {
    let least = Settings::least();
    let peak = Settings(ALL.map(|setting| setting.usual + setting.step + setting.step / 2));
    let (found, _) = tuning::climb(Settings::usual(), &least, |settings| {
        let off = settings.0.iter().zip(peak.0).zip(ALL);
        -off.map(|((value, peak), setting)| (f64::from(value - peak) / f64::from(setting.step)).powi(2))
            .sum::<f64>()
    });
    for ((value, peak), setting) in found.0.iter().zip(peak.0).zip(ALL) {
        let inside = peak.clamp(setting.least, setting.most);
        assert!(
            (value - inside).abs() <= setting.step / 4,
            "{} ends at {value}, not {peak}",
            setting.name
        );
    }
}

#[test]
fn the_same_node_gives_the_same_plan() {
    let (node, thresholds, policy, _) = pump_bearing();
    let income = Income::of(&node.harvest.source).expect("a constant source");
    let years = || practice::years(&node, &income).into_iter().take(2).collect();
    let tuned = || tuned_on(&node, &thresholds, &policy, years(), &Unseen).expect("it can be tuned");
    let (one, other) = (tuned(), tuned());
    assert_eq!((one.plan, one.settings), (other.plan, other.settings));
    assert_eq!(
        one.made_from(&node.harvest.source),
        other.made_from(&node.harvest.source)
    );
    // A search ends above where it began: at the usual settings, with the reserve that comes first.
    let typical = Typical::of(&node, &thresholds).expect("small");
    let all: Vec<Year> = years();
    let lost = practice::worst_dark(&node, typical.sleep(), &all);
    let start = Settings::usual().at_least(&typical.least_settings(lost));
    let worth = |settings: &Settings| -> f64 {
        let plan = typical.plan(settings).expect("a plan");
        all.iter()
            .map(|year| tuning::worth(&drill(&typical, &policy, &plan, &year.flow), &year.bound))
            .sum()
    };
    assert!(worth(&one.settings) > worth(&start));
}

/// By hand: dark days between bright ones cost so many days of sleep, of which the room below the threshold pays its part first.
#[test]
fn the_reserve_lasts_through_the_worst_dark() {
    let (node, _, _, typical) = pump_bearing();
    let day = seconds(86_400.0);
    let store = typical.store();
    let sleep = watts(store.sleep_w);
    let room_j = store.full_j - store.decide_j;
    // As long as a fifth of the room lasts beyond what lies below the threshold, and as long as half of the latter lasts.
    for (wanted_j, has_reserve) in [
        (store.decide_j + 0.2 * room_j, true),
        (0.5 * store.decide_j, false),
    ] {
        let step = seconds(1800.0);
        let dark = (wanted_j / store.sleep_w / 1800.0).ceil() as usize;
        let bright = vec![watts(5e-3); 48];
        let powers = [bright.clone(), vec![watts(0.0); dark], bright].concat();
        let days = (step * powers.len() as f64 / day).get::<ratio>();
        let year = Year::of(&node, "dark days", Income::of_steps(step, powers), days).expect("it lives");
        let lost = year.worst_dark(&node, sleep);
        assert!(
            (lost - sleep * step * dark as f64).abs() < joules(DARK_J),
            "{} J",
            lost.get::<joule>()
        );
        let share = ((lost.get::<joule>() - store.decide_j) / room_j * 256.0).ceil() as i32;
        assert_eq!(typical.least_settings(lost)[Name::Reserve], share.max(0));
        assert_eq!(share > 0, has_reserve, "{share}");
    }
}

/// Every unit inside its tolerances reads its full storage as full: otherwise it would never look for more income.
#[test]
fn every_unit_sees_that_it_is_full() {
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        let node = example(name);
        let thresholds = Thresholds::of(&node);
        let typical = Typical::of(&node, &thresholds).expect("small");
        let plan = typical.plan(&Settings::usual()).expect("a plan");
        let full_v = node.harvest.overvoltage.get::<volt>();
        for number in 0..200 {
            let part = Part::random(&node, &mut rand_pcg::Pcg64::new(7, number));
            let reading_mv = part.reading_mv(full_v);
            assert!(
                reading_mv >= plan.parts().full_reading_mv,
                "{name} {number}: {reading_mv} mV"
            );
        }
    }
}

#[test]
fn no_made_year_beats_its_bound_or_kills_foresight() {
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        let node = example(name);
        let income = Income::of(&node.harvest.source).expect("the examples have sources");
        let years = practice::years(&node, &income);
        assert!(!years.is_empty(), "{name}");
        for year in years {
            let again = crate::bound::clairvoyant(&foresight(&node, &year.income, &year.course));
            assert_eq!(
                again.expect("it lives").mean_age,
                year.bound.mean_age,
                "{name} {}",
                year.name
            );
        }
    }
}

proptest! {
    /// Whatever the settings, the constants are a plan.
    #[test]
    fn every_settings_are_a_plan(shares in prop::array::uniform9(0.0..=1.0f64)) {
        let (_, _, _, typical) = pump_bearing();
        let mut settings = Settings::usual();
        for ((value, setting), share) in settings.0.iter_mut().zip(ALL).zip(shares) {
            *value = setting.least + (share * f64::from(setting.most - setting.least)) as i32;
        }
        prop_assert!(typical.plan(&settings).is_ok());
    }

    /// Means over steps keep the energy.
    #[test]
    fn means_keep_the_energy(powers in prop::collection::vec(0.0..1e-2f64, 1..40), step_s in 1.0..5000.0f64, count in 1usize..50) {
        let income = Income::of_steps(seconds(step_s), powers.iter().map(|power_w| watts(*power_w)));
        let all: f64 = income.means(seconds(step_s), count * powers.len()).iter().sum();
        let want = count as f64 * powers.iter().sum::<f64>();
        prop_assert!((all - want).abs() <= YEAR * want.max(ROUNDING), "{all} {want}");
    }
}
