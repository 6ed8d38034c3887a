//! A node's outlook over temperature and over its life, and which constants move when it is sized for a part of that life.
//!
//! The node file says what is left of each capacitor at the cold end and at the end of life. In between, this module draws lines:
//! declared rules, not measurements (docs/model.md, equations 48 to 50).

use std::path::Path;

use toml::{Table, Value};

use crate::comparison::{Comparison, compare};
use crate::generated::Refusal;
use crate::node::{Node, NodeFile};
use crate::outlook::Outlook;
use crate::thresholds::floor;
use crate::units::*;

/// Temperature at which the figures of a data sheet hold (degC; node file, `esr`).
const ROOM_DEGC: f64 = 20.0;
/// Ages shown, as parts of the life.
const AGES: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
/// Temperature step that halves a life (K; common practice).
const HALVING_K: f64 = 10.0;

/// The outlook at one age and temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Condition {
    /// Age as a part of the life, 0 to 1.
    pub age: Ratio,
    /// Temperature; `None` where the node file has no cold end: its factors for the cold hold throughout.
    pub temperature: Option<Temperature>,
    /// What the node comes to.
    pub outlook: Outlook,
}

/// A node over its life.
#[derive(Clone, Debug, PartialEq)]
pub struct Lifetime {
    /// Temperatures, rising; one entry of `None` where the node file has no cold end below 20 degC.
    pub temperatures: Vec<Option<Temperature>>,
    /// Age by age, and within it temperature by temperature.
    pub conditions: Vec<Condition>,
    /// Terminal voltage that no action may go below.
    pub floor: Voltage,
    /// Terminal voltage at which charging stops.
    pub overvoltage: Voltage,
}

impl Lifetime {
    /// The outlook of `node` at five ages and up to four temperatures.
    pub fn of(node: &Node) -> Self {
        let temperatures = temperatures(node);
        let conditions = AGES.iter().flat_map(|age| {
            let outlook = |temperature: &Option<Temperature>| Condition {
                age: fraction(*age),
                temperature: *temperature,
                outlook: Outlook::of(&at(node, fraction(*age), *temperature)),
            };
            temperatures.iter().map(outlook).collect::<Vec<_>>()
        });
        Self {
            conditions: conditions.collect(),
            floor: floor(node),
            overvoltage: node.harvest.overvoltage,
            temperatures,
        }
    }
}

/// The cold end, half way to room temperature, room temperature, and the hot end.
fn temperatures(node: &Node) -> Vec<Option<Temperature>> {
    let room = degrees_celsius(ROOM_DEGC);
    let hot = node.margins.temperature_max.filter(|hot| *hot > room);
    let cold = node.margins.temperature_min.filter(|cold| *cold < room);
    // Without a cold end its factors hold throughout; only what is hot then differs.
    if cold.is_none() && !(hot.is_some() && node.states_heat()) {
        return vec![None];
    }
    let half = cold.map(|cold| degrees_celsius((cold.get::<degree_celsius>() + ROOM_DEGC) / 2.0));
    [cold, half, Some(room), hot]
        .into_iter()
        .flatten()
        .map(Some)
        .collect()
}

/// The node as its capacitors are at the part `age` of their life and at `temperature`: what the file has for the end of life and the cold end
/// is what they have come to.
///
/// ```text
/// age             1 + (f − 1)·age                             capacitance and resistance
/// temperature     1 + (f − 1)·c       capacitance             c = (20 degC − T)/(20 degC − cold end), 0 to 1
///                 f^c                 resistance
///                 f^h                 leakage                 h = (T − 20 degC)/(hot end − 20 degC), 0 to 1
/// ```
///
/// Without a temperature the factors of both ends stay, and the worse end counts.
///
/// Source: own rule, from end to end; docs/model.md, equations 48 and 49.
pub fn at(node: &Node, age: Ratio, temperature: Option<Temperature>) -> Node {
    let cold = match (temperature, node.margins.temperature_min) {
        (Some(here), Some(end)) => {
            let below = |temperature: Temperature| ROOM_DEGC - temperature.get::<degree_celsius>();
            (below(here) / below(end)).clamp(0.0, 1.0)
        }
        _ => 1.0,
    };
    let hot = match (temperature, node.margins.temperature_max) {
        (Some(here), Some(end)) => {
            let above = |temperature: Temperature| temperature.get::<degree_celsius>() - ROOM_DEGC;
            // A hot end that is none has no way to it.
            Some(if above(end) > 0.0 {
                (above(here) / above(end)).clamp(0.0, 1.0)
            } else {
                1.0
            })
        }
        _ => None,
    };
    let mut node = node.clone();
    for part in &mut node.storage {
        part.end_of_life_capacitance = aged(part.end_of_life_capacitance, age);
        part.end_of_life_esr = aged(part.end_of_life_esr, age);
        part.cold_capacitance = aged(part.cold_capacitance, fraction(cold));
        part.cold_esr = fraction(libm::pow(part.cold_esr.get::<ratio>(), cold));
        if let (Some(hot), Some(factor)) = (hot, part.hot_leakage.take_if(|_| hot.is_some())) {
            part.leakage *= libm::pow(factor.get::<ratio>(), hot);
        }
    }
    node
}

/// A factor at a part of the way from 1 to `end`.
fn aged(end: Ratio, part: Ratio) -> Ratio {
    fraction(1.0) + (end - fraction(1.0)) * part
}

/// How long a capacitor lives at `mean`, given that it lives for `endurance` at `rated`.
///
/// ```text
/// life = endurance·2^((rated − mean)/10 K)
/// ```
///
/// Source: the ten-degree rule, common practice for electrolytes after Arrhenius; docs/model.md, equation 50.
///
/// ```
/// use millpond::{lifetime::life, units::*};
/// // An encyclopaedia's example: 5000 h at 65 degC are 20000 h at 45 degC.
/// let lives = life(seconds(5e3 * 3600.0), degrees_celsius(65.0), degrees_celsius(45.0));
/// assert!((lives - seconds(20e3 * 3600.0)).abs() < seconds(1e-3));
/// ```
pub fn life(endurance: Time, rated: Temperature, mean: Temperature) -> Time {
    let above = rated.get::<degree_celsius>() - mean.get::<degree_celsius>();
    endurance * libm::exp2(above / HALVING_K)
}

/// Which constants move between a node sized for the part `until` of its life and one sized for all of it.
///
/// # Errors
///
/// If the node is refused.
pub fn regenerated(file: &NodeFile, until: Ratio) -> Result<Comparison, Refusal> {
    let aged_node = at(&file.node, until, None);
    let Ok(mut table) = file.text.parse::<Table>() else {
        return compare(file, file);
    };
    let parts = table
        .get_mut("storage")
        .and_then(|storage| storage.get_mut("capacitor"))
        .and_then(Value::as_array_mut);
    for (part, aged) in parts.into_iter().flatten().zip(&aged_node.storage) {
        let factors = [
            ("end_of_life_capacitance", aged.end_of_life_capacitance),
            ("end_of_life_esr", aged.end_of_life_esr),
        ];
        for (key, factor) in factors {
            if let Some(written) = part.get_mut(key) {
                *written = Value::String(format!("{:.4} %", factor.get::<ratio>() * 100.0));
            }
        }
    }
    let folder = Path::new(&file.path).parent().unwrap_or(Path::new(""));
    // A factor between two that the reader takes is one that it takes.
    match NodeFile::parse(&file.path, &table.to_string(), folder) {
        Ok(younger) => compare(&younger, file),
        Err(_) => compare(file, file),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node::example;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Rounding of a temperature in kelvin and of a power of two.
    const DOUBLED: f64 = 1e-9;

    /// Rounding of a few operations.
    const ROUNDING: f64 = 1e-12;

    /// By hand: at the end of its life and at the cold end the node is the one that the file describes; new and at room temperature no factor is
    /// left; half way 70 % is 85 %, 200 % is 150 %, and 180 % is the root of 1.8.
    #[test]
    fn the_ends_are_those_of_the_file() {
        let node = example("crack-gauge");
        let cold = node.margins.temperature_min;
        let mut unheated = node.clone();
        unheated.storage[0].hot_leakage = None;
        assert_eq!(at(&node, fraction(1.0), cold), unheated);
        assert_eq!(at(&node, fraction(1.0), None), node);
        let young = at(&node, fraction(0.0), Some(degrees_celsius(20.0)));
        let part = &young.storage[0];
        for factor in [
            part.end_of_life_capacitance,
            part.end_of_life_esr,
            part.cold_capacitance,
            part.cold_esr,
        ] {
            assert_eq!(factor, fraction(1.0));
        }
        let between = at(&node, fraction(0.5), Some(degrees_celsius(5.0)));
        let part = &between.storage[0];
        assert_relative_eq!(
            part.end_of_life_capacitance.get::<ratio>(),
            0.85,
            max_relative = ROUNDING
        );
        assert_relative_eq!(part.end_of_life_esr.get::<ratio>(), 1.5, max_relative = ROUNDING);
        assert_relative_eq!(
            part.cold_capacitance.get::<ratio>(),
            0.95,
            max_relative = ROUNDING
        );
        assert_relative_eq!(
            part.cold_esr.get::<ratio>(),
            1.8f64.sqrt(),
            max_relative = ROUNDING
        );
        // Hotter than room temperature is as room temperature, but for the leakage.
        assert_eq!(at(&unheated, fraction(0.0), Some(degrees_celsius(45.0))), young);
    }

    /// By hand: four times the leakage at 45 degC is twice as much at 32.5 degC, half way, and none at 20 degC.
    #[test]
    fn leakage_rises_to_the_hot_end_by_equal_factors() {
        let mut node = example("crack-gauge");
        node.storage[0].hot_leakage = Some(fraction(4.0));
        let leakage_at = |degc: f64| {
            let part = &at(&node, fraction(1.0), Some(degrees_celsius(degc))).storage[0];
            assert_eq!(part.hot_leakage, None);
            (part.leakage / node.storage[0].leakage).get::<ratio>()
        };
        for (degc, factor) in [(-10.0, 1.0), (20.0, 1.0), (32.5, 2.0), (45.0, 4.0)] {
            assert_relative_eq!(leakage_at(degc), factor, max_relative = ROUNDING);
        }
        let dark =
            |degc: f64| Outlook::of(&at(&node, fraction(1.0), Some(degrees_celsius(degc)))).dark_from_full;
        assert!(dark(45.0) < dark(32.5) && dark(32.5) < dark(20.0));
        // Without a cold end, room temperature and the hot end are left.
        node.margins.temperature_min = None;
        assert_eq!(
            temperatures(&node),
            [Some(degrees_celsius(20.0)), node.margins.temperature_max]
        );
        node.storage[0].hot_leakage = None;
        assert_eq!(temperatures(&node), [None]);
    }

    #[test]
    fn a_node_only_gets_worse_with_age_and_cold() {
        for name in ["crack-gauge", "display-case", "pump-bearing"] {
            let lifetime = Lifetime::of(&example(name));
            let columns = lifetime.temperatures.len();
            assert_eq!(columns, 4);
            for (index, condition) in lifetime.conditions.iter().enumerate() {
                let Some(older) = lifetime.conditions.get(index + columns) else {
                    continue;
                };
                assert!(
                    older.outlook.transmit >= condition.outlook.transmit,
                    "{name} {index}"
                );
                assert!(
                    older.outlook.dark_from_full <= condition.outlook.dark_from_full,
                    "{name} {index}"
                );
            }
            for pair in lifetime
                .conditions
                .windows(2)
                .filter(|pair| pair[0].age == pair[1].age)
                // Beyond it leakage rises, which the reserve pays.
                .filter(|pair| pair[1].temperature <= Some(degrees_celsius(ROOM_DEGC)))
            {
                assert!(pair[0].outlook.transmit >= pair[1].outlook.transmit, "{name}");
            }
        }
    }

    /// Sized for all of its life it is as it is; sized for none of it, its threshold is lower.
    #[test]
    fn a_shorter_life_lowers_the_threshold() {
        let path = format!(
            "{}/../templates/nodes/crack-gauge.toml",
            env!("CARGO_MANIFEST_DIR")
        );
        let file = NodeFile::load(path).expect("sound");
        assert!(regenerated(&file, fraction(1.0)).expect("sound").moved.is_empty());
        let half = regenerated(&file, fraction(0.5)).expect("sound");
        let decide = half
            .moved
            .iter()
            .find(|moved| moved.name == "decide_counts.transmit")
            .expect("it moves");
        assert!(decide.old < decide.new);
        let keys: Vec<&str> = half.changes.iter().map(|change| change.key.as_str()).collect();
        assert_eq!(
            keys,
            [
                "storage.capacitor[0].end_of_life_capacitance",
                "storage.capacitor[0].end_of_life_esr"
            ]
        );
    }

    proptest! {
        /// Every ten degrees double the life, wherever they lie.
        #[test]
        fn ten_degrees_double_the_life(hours in 100.0..1e5f64, rated in 40.0..125.0f64, mean in -20.0..80.0f64) {
            let lives = |mean: f64| life(seconds(hours * 3600.0), degrees_celsius(rated), degrees_celsius(mean));
            let doubled = (lives(mean - 10.0) / lives(mean)).get::<ratio>();
            prop_assert!((doubled - 2.0).abs() < DOUBLED);
            let same = life(seconds(hours), degrees_celsius(rated), degrees_celsius(rated));
            prop_assert!((same - seconds(hours)).abs() < seconds(DOUBLED));
        }
    }
}
