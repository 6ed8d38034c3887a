use super::*;
use crate::income::Income;
use crate::node;
use crate::progress::Unseen;

const CATALOGUE: &str = "\
name,capacitance,esr,rated_voltage,leakage,series,price,height,footprint,balance_resistor
tiny,1 mF,100 ohm,5.5 V,0.1 uA,,0.20,3 mm,30 mm2,
low,10 F,50 mohm,2.7 V,10 uA,1,1.50,20 mm,80 mm2,
stack,10 F,50 mohm,2.7 V,10 uA,2,1.50,20 mm,80 mm2,
good,1 F,1 ohm,5.5 V,3 uA,,2.50,10 mm,100 mm2,
large,4.7 F,300 mohm,5.5 V,12 uA,,2.00,20 mm,150 mm2,
";

fn sweep(node: &Node, text: &str, days: f64) -> Sweep {
    let own = &node.storage[node.largest_kind()];
    Sweep {
        parts: catalogue::from_csv("parts.csv", text, own).expect("a sound catalogue"),
        sources: vec![SizedSource::of(&node.harvest.source, Extent::Times(1.0)).expect("a source")],
        light: Light::typical(&node.harvest.source).expect("a source"),
        days,
    }
}

fn sized(node: &Node, sweep: &Sweep) -> Sized {
    Sized::of(node, sweep, &Unseen)
}

/// By hand, for the crack gauge at 5.3 V: 1 mF behind 360 ohm old and cold cannot send; 2.7 V is below 5.3 V, two in series above;
/// 1 F, 4.7 F and the stack of 5 F serve. Of these the single cell of 1 F has 1 cm3, 4.7 F has 3, the stack of two 3.2; the
/// cheapest is 4.7 F at 2.00, since the stack is twice 1.50.
#[test]
fn a_small_catalogue_is_sized_as_by_hand() {
    let node = node::example("crack-gauge");
    let sweep = sweep(&node, CATALOGUE, 30.0);
    let sized = sized(&node, &sweep);
    let limits: Vec<_> = sized
        .candidates
        .iter()
        .map(|candidate| &candidate.limit)
        .collect();
    assert!(matches!(limits[0], Some(Limit::Action { .. })), "{limits:?}");
    assert!(matches!(limits[1], Some(Limit::Rating { .. })), "{limits:?}");
    assert!(limits[2..].iter().all(|limit| limit.is_none()), "{limits:?}");
    assert_eq!(sized.smallest, Some(3));
    assert_eq!(sized.cheapest, Some(4));
    assert_eq!(sized.closest, None);
    // Cells in series with nothing across them are cautioned of, others not.
    let is_cautioned = |candidate: &Candidate| {
        candidate
            .cautions
            .iter()
            .any(|caution| caution.code == "series-without-balancing")
    };
    assert!(is_cautioned(&sized.candidates[2]) && !is_cautioned(&sized.candidates[3]));
}

/// The part that is the node's own gives what the node's own simulation gives.
#[test]
fn the_own_part_gives_the_own_figures() {
    let node = node::example("crack-gauge");
    let mut sweep = sweep(&node, CATALOGUE, 10.0);
    sweep.parts = vec![like(&node.storage[0], node.storage[0].capacitance)];
    assert_eq!(sweep.parts[0].capacitor, node.storage[0]);
    let thresholds = Thresholds::of(&node);
    let policy = policy::policy(&node, &thresholds).expect("no rule is broken");
    let own = run(
        &Unit::nominal(&node),
        &sweep.sources[0].income,
        &mut Flashed::new(policy),
        &simulate::course(&node, 10.0),
        &mut Blind,
    );
    let sized = sized(&node, &sweep);
    assert_eq!(sized.candidates[0].outcome, Some(own));
    assert_eq!(sized.candidates[0].transmit, volts(3.116));
}

/// Of parts that are all too small, the largest misses by the least, and says how much.
#[test]
fn where_nothing_serves_the_closest_is_named() {
    let node = node::example("crack-gauge");
    let mut sweep = sweep(&node, CATALOGUE, 10.0);
    sweep.parts = [0.022, 0.047, 0.1]
        .map(|capacitance_f| like(&node.storage[0], farads(capacitance_f)))
        .to_vec();
    let sized = sized(&node, &sweep);
    assert_eq!((sized.smallest, sized.closest), (None, Some(2)));
    let limit = sized.candidates[2].limit.as_ref().expect("it fails");
    assert!(limit.missing().contains('%'), "{}", limit.missing());
    assert!(
        sized
            .candidates
            .iter()
            .all(|candidate| candidate.outcome.is_none()),
        "not simulated for nothing"
    );
}

/// More of the same capacitor lowers the threshold and lengthens the dark; more source never delays the first report.
#[test]
fn more_is_never_worse() {
    let node = node::example("display-case");
    let mut sweep = sweep(&node, CATALOGUE, 1.0);
    sweep.parts = [0.15, 0.22, 0.47, 1.0]
        .map(|capacitance_f| like(&node.storage[0], farads(capacitance_f)))
        .to_vec();
    sweep.sources = SizedSource::between(&node.harvest.source, Extent::Times(0.5), Extent::Times(2.0));
    let sized = sized(&node, &sweep);
    let at = |part: usize, source: usize| &sized.candidates[part * sweep.sources.len() + source];
    let dark = |candidate: &Candidate| candidate.dark.expect("every action fits").acting;
    for part in 1..sweep.parts.len() {
        assert!(at(part, 0).transmit <= at(part - 1, 0).transmit);
        assert!(dark(at(part, 0)) > dark(at(part - 1, 0)));
    }
    assert!(sweep.sources.len() > 1);
}

/// Whatever the number of cores, the candidates come in the same order with the same figures.
#[test]
fn the_order_is_that_of_the_sweep() {
    let node = node::example("crack-gauge");
    let sweep = sweep(&node, CATALOGUE, 5.0);
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("a pool");
        pool.install(|| sized(&node, &sweep))
    };
    let (one, four) = (with(1), with(4));
    assert_eq!(format!("{one:?}"), format!("{four:?}"));
}

/// 680 mF with twenty dark hours at the start, a steady 5 mW after them, and so many dark hours from the sixth day on.
fn with_dark(hours: usize) -> (Node, Candidate) {
    let node = node::example("crack-gauge");
    let mut sweep = sweep(&node, CATALOGUE, 12.0);
    sweep.parts = vec![like(&node.storage[0], farads(0.68))];
    let powers = (0..12 * 24).map(|hour| {
        let is_dark = hour < 20 || (5 * 24..5 * 24 + hours).contains(&hour);
        watts(if is_dark { 0.0 } else { 5e-3 })
    });
    sweep.sources[0].income = Income::of_steps(seconds(3600.0), powers);
    let mut candidates = sized(&node, &sweep).candidates;
    (node, candidates.remove(0))
}

/// By hand: from 4 V, where the gate connects, to 3.412 V, where this part may send, it has 0.34 F · (4² − 3.412²) V² = 1.48 J.
/// Asleep it takes 20 µW to 30 µW, some 0.09 J an hour, and each report 0.03 J to 0.04 J: reports end eleven to fourteen hours into a
/// dark stretch of twenty.
#[test]
fn a_first_night_from_where_the_gate_connects_is_no_fault_of_the_parts() {
    let (node, candidate) = with_dark(0);
    let outcome = candidate.outcome.expect("it is simulated");
    assert!(outcome.longest_silence_s > 5.0 * 3600.0, "{outcome:?}");
    assert!(outcome.settled_silence_s <= node.policy.slowest.get::<second>() * 1.01);
    assert_eq!(candidate.limit, None);
}

/// By hand: full at 5.3 V it has 0.34 F · (5.3² − 3.412²) V² = 5.6 J, less than two days of the same; of sixty dark hours twelve at
/// least are silent.
#[test]
fn a_later_night_that_is_too_long_is_refused() {
    let (_, candidate) = with_dark(60);
    let Some(Limit::Silent { longest, .. }) = candidate.limit else {
        panic!("{:?}", candidate.limit);
    };
    assert!(longest > seconds(12.0 * 3600.0), "{} s", longest.get::<second>());
}
