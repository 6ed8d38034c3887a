//! One unit of a node: where its parts stand inside their tolerances.

use rand::RngExt;
use rand_pcg::Pcg64;

use crate::model::bank::{Bank, Branch, Wear};
use crate::model::discharge::Stretch;
use crate::model::divider_current;
use crate::model::load::Load;
use crate::model::reading::{Converter, Scale};
use crate::node::{Action, Harvest, Node, Sense};
use crate::rounding::CountScale;
use crate::thresholds::Thresholds;
use crate::units::*;

/// Share of the random units whose every part stands at one end of its tolerance or the other: that is where a threshold would
/// fail first.
const CORNER_SHARE: f64 = 0.25;

/// A series resistance of which the node file states no lowest goes down to this part of that of a new part: as low as can be.
const LEAST_RESISTANCE: f64 = 1e-6;

/// One unit.
#[derive(Clone, Debug)]
pub struct Part {
    /// Its storage.
    pub bank: Bank,
    /// The converter, as the node file has it.
    pub harvest: Harvest,
    /// What it draws asleep.
    pub asleep: Stretch,
    /// What it draws from power-up to the first decision.
    pub boot: Vec<Stretch>,
    /// What one sample draws.
    pub measure: Vec<Stretch>,
    /// What one report draws.
    pub transmit: Vec<Stretch>,
    /// Terminal voltage at which it is connected.
    pub connect_v: f64,
    /// Terminal voltage below which it loses its supply.
    pub cut_v: f64,
    /// The firmware's converter.
    pub converter: Converter,
    /// How its firmware turns counts into millivolts.
    pub counts: CountScale,
}

/// Deviations of one unit: 0 is as the node file says, 1 the worst that the node file allows, −1 the best.
#[derive(Clone, Debug, Default)]
struct Deviation {
    /// Of each branch; none: all as the node file says.
    branches: Vec<BranchDeviation>,
    load: f64,
    leakage: f64,
    gate: f64,
    reference: f64,
    top: f64,
    bottom: f64,
    /// 1: the converter's input gives out its largest current, −1: it draws it.
    input: f64,
}

/// One branch of one unit.
#[derive(Clone, Copy, Debug)]
struct BranchDeviation {
    /// As the others.
    capacitance: f64,
    /// 0 is the lowest series resistance of a new part, 1 the highest at the end of life in the cold; over the logarithm.
    resistance: f64,
}

impl Part {
    /// The unit whose every part is as the node file says, and whose every report gets through at the first try.
    pub fn nominal(node: &Node) -> Self {
        Self::deviating(node, &Deviation::default(), &node.transmit.first_try())
    }

    /// The unit that everything at once is worst for, as the thresholds have it: the worst bank, loads at their highest, the gate at
    /// the end that is worse for each of its voltages, every attempt needed. Its readings are as nominal.
    pub fn worst(node: &Node, thresholds: &Thresholds) -> Self {
        let heavy = Deviation {
            load: 1.0,
            ..Deviation::default()
        };
        let connect = match &node.supply.gate {
            Some(gate) => gate.connect_above * (fraction(1.0) - gate.tolerance),
            None => node.supply.connects_at(),
        };
        Self {
            bank: thresholds.corner.clone(),
            connect_v: connect.get::<volt>(),
            cut_v: thresholds.floor.get::<volt>(),
            ..Self::deviating(node, &heavy, &node.transmit)
        }
    }

    /// A unit drawn from inside the tolerances, anywhere between new and the end of life, warm and cold, each branch of its bank
    /// by itself; every report needs all its attempts.
    pub fn random(node: &Node, random: &mut Pcg64) -> Self {
        let is_corner = random.random_bool(CORNER_SHARE);
        let mut signed = || {
            let anywhere: f64 = random.random_range(-1.0..=1.0);
            if is_corner { anywhere.signum() } else { anywhere }
        };
        let deviation = Deviation {
            branches: node
                .storage
                .iter()
                .map(|_| BranchDeviation {
                    capacitance: signed(),
                    resistance: (signed() + 1.0) / 2.0,
                })
                .collect(),
            load: signed().abs(),
            leakage: signed(),
            gate: signed(),
            reference: signed(),
            top: signed(),
            bottom: signed(),
            // Where nothing leaks, nothing is drawn for it: the units of such a node stay what they are.
            input: if node.sense.input_leakage > amperes(0.0) {
                signed()
            } else {
                0.0
            },
        };
        Self::deviating(node, &deviation, &node.transmit)
    }

    fn deviating(node: &Node, deviation: &Deviation, transmit: &Action) -> Self {
        let excess = node.margins.load * deviation.load;
        let load =
            |action: &Action| Load::of(&node.supply.regulator, action, node.radio.as_ref(), excess).stretches;
        let one = fraction(1.0);
        let floor = node.supply.regulator.floor();
        let (connect, cut) = match &node.supply.gate {
            Some(gate) => {
                let off = one + gate.tolerance * deviation.gate;
                (gate.connect_above * off, floor.max(gate.disconnect_below * off))
            }
            None => (node.supply.connects_at(), floor),
        };
        let mut sense = node.sense.clone();
        sense.divider_top = sense.divider_top * (one + sense.divider_tolerance * deviation.top);
        sense.divider_bottom = sense.divider_bottom * (one + sense.divider_tolerance * deviation.bottom);
        sense.reference = sense.reference * (one + sense.reference_tolerance * deviation.reference);
        // What leaks into the input is, as the capacitors' leakage, at most what is stated.
        sense.input_leakage *= 1.0 + deviation.leakage.min(0.0);
        let mut asleep = Load::asleep(&node.supply.regulator, node.sleep_current, seconds(1.0), excess);
        asleep.drain.current += divider_current::input_draw(&sense);
        asleep.peak = asleep.drain;
        Self {
            bank: bank(node, &sense, deviation),
            harvest: node.harvest.clone(),
            asleep,
            boot: load(&node.boot),
            measure: load(&node.measure),
            transmit: load(transmit),
            connect_v: connect.get::<volt>(),
            cut_v: cut.get::<volt>(),
            converter: Converter::of(&sense, node.sense.input_leakage * deviation.input),
            counts: CountScale::of(&Scale::of(&node.sense)),
        }
    }

    /// What the firmware reads while the terminal stands at `terminal_v`, in millivolts: whole counts, then its own conversion.
    pub fn reading_mv(&self, terminal_v: f64) -> u16 {
        let count = self.converter.count(terminal_v);
        u16::try_from(self.counts.millivolts(count)).unwrap_or(u16::MAX)
    }
}

/// The bank between its nominal and its worst or best: factors in proportion to the deviation, on a logarithmic scale; leakage from
/// none to the most that is stated. A unit that leaks more than at room temperature is not cold at the same time.
/// The divider of `sense`, this unit's own, conducts beside it.
fn bank(node: &Node, sense: &Sense, deviation: &Deviation) -> Bank {
    let nominal = Bank::of(&node.storage, Wear::NONE);
    let ends = Wear::at_ends(node);
    let is_hot = deviation.leakage > 0.0;
    let end = if is_hot { ends.last() } else { ends.first() };
    let worst = Bank::of(&node.storage, *end.unwrap_or(&Wear::WORST));
    let branches = nominal
        .branches
        .iter()
        .zip(&worst.branches)
        .zip(&node.storage)
        .enumerate()
        .map(|(place, ((new, old), part))| {
            let Some(deviation) = deviation.branches.get(place) else {
                return *new;
            };
            let lost = old.capacitance / new.capacitance;
            let factor = if deviation.capacitance >= 0.0 {
                fraction(libm::pow(lost.get::<ratio>(), deviation.capacitance))
            } else {
                fraction(1.0) - part.tolerance_high * deviation.capacitance
            };
            let lowest = new.resistance * (part.esr_minimum / part.esr).max(fraction(LEAST_RESISTANCE));
            let gained = libm::pow((old.resistance / lowest).get::<ratio>(), deviation.resistance);
            Branch {
                capacitance: new.capacitance * factor,
                slope: new.slope * factor,
                resistance: lowest * gained,
            }
        });
    let leakage = if is_hot {
        nominal.leakage + (worst.leakage - nominal.leakage) * deviation.leakage
    } else {
        nominal.leakage * (1.0 + deviation.leakage)
    };
    Bank {
        branches: branches.collect(),
        leakage: leakage + divider_current::conductance(sense, false),
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;

    use super::*;
    use crate::node;

    const EXAMPLES: [&str; 3] = ["crack-gauge", "display-case", "pump-bearing"];
    const UNITS: u64 = 500;
    /// Rounding of products of a few factors, as a part of them.
    const ROUNDING: f64 = 1e-12;

    fn units(node: &Node) -> impl Iterator<Item = Part> {
        (0..UNITS).map(|seed| Part::random(node, &mut Pcg64::seed_from_u64(seed)))
    }

    /// 10 bits, 1.1 V, 4.7 MΩ over 1 MΩ: 6.27 V are 1024 counts, 4 V are 653 of them, and count 653 is at least 3.998 V.
    #[test]
    fn the_nominal_reading_is_as_by_hand() {
        let part = Part::nominal(&node::example("crack-gauge"));
        assert_eq!(
            (
                part.converter.count(6.27 * 652.9 / 1024.0),
                part.converter.count(6.27 * 653.1 / 1024.0)
            ),
            (652, 653)
        );
        assert!((3997..=3999).contains(&part.reading_mv(4.0)));
        assert_eq!(part.reading_mv(-1.0), part.reading_mv(0.0));
        assert_eq!(part.reading_mv(7.0), part.reading_mv(70.0));
    }

    #[test]
    fn the_nominal_unit_is_as_the_node_file_says() {
        let part = Part::nominal(&node::example("crack-gauge"));
        assert_eq!(part.bank.branches[0].capacitance, farads(1.0));
        assert_eq!(part.bank.branches[0].resistance, ohms(2.2));
        assert_eq!((part.connect_v, part.cut_v), (4.0, 2.3));
        let pump = node::example("pump-bearing");
        assert_eq!(pump.transmit.attempts, 3);
        assert_eq!(Part::nominal(&pump).transmit.len(), pump.transmit.phases.len());
        let worst = Part::random(&pump, &mut Pcg64::seed_from_u64(0));
        assert_eq!(worst.transmit.len(), 3 * pump.transmit.phases.len());
    }

    /// Input currents of units of either sign are read, and without any every unit is what it was.
    #[test]
    fn units_differ_in_what_their_input_gives_out() {
        let mut node = node::example("crack-gauge");
        let plain: Vec<Part> = units(&node).collect();
        node.sense.input_leakage = amperes(50e-9);
        // 50 nA on 4.7 Mohm are 235 mV.
        let moved_mv = units(&node).zip(&plain).map(|(own, plain)| {
            assert_eq!(own.bank, plain.bank);
            i32::from(own.reading_mv(4.0)) - i32::from(plain.reading_mv(4.0))
        });
        let moved_mv: Vec<i32> = moved_mv.collect();
        let (lowest, highest) = (
            moved_mv.iter().min().expect("units"),
            moved_mv.iter().max().expect("units"),
        );
        assert!(
            (-270..-200).contains(lowest) && (200..270).contains(highest),
            "{lowest} {highest}"
        );
    }

    /// No unit is worse than the corner that the thresholds are made for, and some are close to it.
    #[test]
    fn units_stay_inside_the_tolerances_and_reach_the_corner() {
        for name in EXAMPLES {
            let node = node::example(name);
            let best = Bank::of_node(&node, Wear::NONE);
            let worst = Bank::of_node(&node, Wear::WORST);
            let highest = fraction(1.0) + node.storage[0].tolerance_high;
            let (mut at_corner, mut mixed) = (0, 0);
            for part in units(&node) {
                for ((own, new), old) in part.bank.branches.iter().zip(&best.branches).zip(&worst.branches) {
                    assert!(own.capacitance >= old.capacitance * (1.0 - ROUNDING));
                    assert!(own.resistance <= old.resistance * (1.0 + ROUNDING));
                    assert!(own.resistance >= new.resistance * (LEAST_RESISTANCE * (1.0 - ROUNDING)));
                }
                let first = &part.bank.branches[0];
                assert!(first.capacitance <= best.branches[0].capacitance * highest * (1.0 + ROUNDING));
                let hottest = Wear::at_ends(&node)
                    .iter()
                    .map(|end| Bank::of_node(&node, *end).leakage);
                let most_leakage = hottest.fold(siemenses(0.0), Conductance::max);
                assert!(part.bank.leakage <= most_leakage * (1.0 + ROUNDING));
                assert!(part.bank.leakage >= siemenses(0.0));
                // A unit is at one end or the other, and reaches the corner of its own.
                let is_at = |corner: &Bank| {
                    first.capacitance <= corner.branches[0].capacitance * (1.0 + ROUNDING)
                        && first.resistance >= corner.branches[0].resistance * (1.0 - ROUNDING)
                };
                let hot = Bank::of_node(&node, Wear::HOT);
                let is_hot = node.states_heat() && part.bank.leakage > worst.leakage;
                assert!(!is_hot || first.capacitance >= hot.branches[0].capacitance * (1.0 - ROUNDING));
                let limit = fraction(1.0) + node.margins.load;
                let nominal = Part::nominal(&node).asleep.drain;
                assert!(part.asleep.drain.power <= nominal.power * limit * (1.0 + ROUNDING));
                assert!(part.asleep.drain.current <= nominal.current * limit * (1.0 + ROUNDING));
                let is_at_corner = is_at(if is_hot { &hot } else { &worst });
                at_corner += u64::from(is_at_corner);
                let is_high = |place: usize| {
                    let worst = worst.branches.get(place).map(|branch| branch.resistance);
                    let own = part.bank.branches.get(place).map(|branch| branch.resistance);
                    own.zip(worst).is_some_and(|(own, worst)| own > worst * 1e-3)
                };
                mixed += u64::from(is_high(0) != is_high(1));
            }
            // A quarter stands at the ends, half of those at the low end of the capacitance, half of these at the high one of the
            // resistance: 31 of 500, give or take twice the root of that.
            assert!(
                (UNITS / 25..UNITS / 11).contains(&at_corner),
                "{name}: {at_corner}"
            );
            // Where there are two, one is often high where the other is low.
            assert!(node.storage.len() < 2 || mixed > UNITS / 4, "{name}: {mixed}");
        }
    }
}
