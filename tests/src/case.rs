//! The promises that witnesses are asked about: a node's worst bank, an action, and the voltage it may start from.

use std::path::Path;

use millpond::model::bank::Bank;
use millpond::model::discharge::Stretch;
use millpond::node::{Node, NodeFile};
use millpond::thresholds::Thresholds;
use millpond::units::*;

use crate::random_node::random_node;

/// Seeds of the random nodes that every witness is asked about.
pub const SEEDS: std::ops::Range<u64> = 0..200;
/// How far below its start an action must fail (V): five times the coarser witness's tolerance, and below one count of
/// most converters.
pub const BELOW_V: f64 = 5e-3;
/// How far above its start an action is run where the power limit and not the floor decides (V). The terminal has an
/// infinite slope over the start there, so that the start itself can be hit by no witness.
pub const POWER_LIMITED_LIFT_V: f64 = 1e-3;

/// One action of one node in the worst corner.
#[derive(Clone, Debug)]
pub struct Case {
    /// Name of the node and of the action.
    pub name: String,
    /// The bank.
    pub bank: Bank,
    /// What the action draws; with or without the reserve after it.
    pub stretches: Vec<Stretch>,
    /// The voltage behind every branch's resistance, at rest, from which it is said just to succeed.
    pub start: Voltage,
    /// The terminal voltage that it must not go below.
    pub floor: Voltage,
}

/// What a witness saw of one run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seen {
    /// The lowest terminal voltage (V).
    Lowest(f64),
    /// The bank could not give the power.
    Collapsed,
}

/// The nodes that every witness is asked about: the examples that are shipped, and the random ones.
pub fn nodes() -> Vec<Node> {
    shipped_nodes()
        .into_iter()
        .chain(SEEDS.map(random_node))
        .collect()
}

/// The nodes in templates/nodes, by name.
pub fn shipped_nodes() -> Vec<Node> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../templates/nodes");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .expect("the examples are in templates/nodes")
        .map(|entry| entry.expect("a readable folder").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .collect();
    files.sort();
    files.iter().map(|file| read(file)).collect()
}

fn read(file: &Path) -> Node {
    NodeFile::load(file)
        .unwrap_or_else(|error| panic!("{error}"))
        .node
}

impl Case {
    /// The actions of `node`, each alone.
    pub fn alone(node: &Node) -> Vec<Self> {
        let thresholds = Thresholds::of(node);
        let actions = thresholds.actions();
        let cases = actions.iter().map(|(action, threshold)| Self {
            name: format!("{} {action}", node.name),
            bank: threshold.bank.clone(),
            stretches: threshold.load.stretches.clone(),
            start: threshold.start,
            floor: thresholds.floor,
        });
        cases.collect()
    }

    /// The actions of `node`, each with the reserve asleep after it.
    pub fn with_reserve(node: &Node) -> Vec<Self> {
        let thresholds = Thresholds::of(node);
        let actions = thresholds.actions();
        let cases = actions.iter().map(|(action, threshold)| Self {
            name: format!("{} {action} and reserve", node.name),
            bank: threshold.corner_with_reserve.bank(node),
            stretches: threshold
                .load
                .stretches
                .iter()
                .chain([&threshold.reserve])
                .copied()
                .collect(),
            start: threshold.start_with_reserve,
            floor: thresholds.floor,
        });
        cases.collect()
    }

    /// The lowest terminal voltage at which the bank can give the highest power of the action: √(P / (Σ 1/R + G)).
    ///
    /// A constant-power load has two operating points, one on each side of it; the load that is keyed from rest
    /// stands at the upper one.
    pub fn power_limit(&self) -> Voltage {
        let conductance = self
            .bank
            .branches
            .iter()
            .map(|branch| branch.resistance.recip())
            .sum::<Conductance>();
        let power = self
            .stretches
            .iter()
            .map(|stretch| stretch.peak.power)
            .fold(watts(0.0), Power::max);
        (power / (conductance + self.bank.leakage)).sqrt()
    }

    /// Whether the power limit, and not the floor, decides.
    pub fn power_limited(&self) -> bool {
        self.power_limit() > self.floor
    }

    /// The terminal voltage that the action touches when it is started at `start`.
    pub fn edge_v(&self) -> f64 {
        self.floor.max(self.power_limit()).get::<volt>()
    }

    /// Where the run that must succeed starts (V).
    pub fn start_v(&self) -> f64 {
        let lift_v = if self.power_limited() {
            POWER_LIMITED_LIFT_V
        } else {
            0.0
        };
        self.start.get::<volt>() + lift_v
    }

    /// Where the run that must fail starts (V).
    pub fn below_v(&self) -> f64 {
        self.start.get::<volt>() - BELOW_V
    }

    /// What is wrong with what a witness saw, if anything: `at` for the run from [`Case::start_v`], `below` for the
    /// run from [`Case::below_v`].
    pub fn judge(&self, at: Seen, below: Seen, tolerance_v: f64) -> Option<String> {
        let edge_v = self.edge_v();
        let touches = match at {
            Seen::Lowest(lowest_v) if self.power_limited() => lowest_v >= edge_v - tolerance_v,
            Seen::Lowest(lowest_v) => (lowest_v - edge_v).abs() <= tolerance_v,
            Seen::Collapsed => false,
        };
        let fails = match below {
            Seen::Lowest(lowest_v) => lowest_v < edge_v,
            Seen::Collapsed => true,
        };
        if touches && fails {
            return None;
        }
        let limit = if self.power_limited() {
            "power limit, at least"
        } else {
            "floor"
        };
        Some(format!(
            "{}: from {:.6} V want {limit} {edge_v:.6} V, got {at}, tolerance {tolerance_v} V; from {:.6} V want \
             less than {edge_v:.6} V, got {below}",
            self.name,
            self.start_v(),
            self.below_v(),
        ))
    }
}

impl std::fmt::Display for Seen {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Lowest(lowest_v) => write!(f, "{lowest_v:.6} V"),
            Self::Collapsed => write!(f, "a collapse"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use millpond::model::bank::Branch;
    use millpond::model::drain::Drain;

    /// 1 F behind 2 ohm gives `power_w` for a second.
    fn case(power_w: f64) -> Case {
        let drain = Drain {
            power: watts(power_w),
            current: amperes(0.0),
        };
        let branch = Branch {
            capacitance: farads(1.0),
            slope: farads_per_volt(0.0),
            resistance: ohms(2.0),
        };
        Case {
            name: "by hand".into(),
            bank: Bank {
                branches: vec![branch],
                leakage: siemenses(0.0),
            },
            stretches: vec![Stretch {
                drain,
                peak: drain,
                duration: seconds(1.0),
            }],
            start: volts(3.0),
            floor: volts(2.0),
        }
    }

    /// √(P·R): 2 W through 2 ohm can be given down to 2 V at the terminal.
    #[test]
    fn the_power_limit_is_the_matched_voltage() {
        assert_eq!(case(0.5).power_limit(), volts(1.0));
        assert!(!case(0.5).power_limited());
        assert!(case(2.5).power_limited());
    }

    #[test]
    fn a_start_that_is_too_low_or_too_high_is_found_wrong() {
        let judge = |at, below| case(0.5).judge(at, below, 1e-3);
        let low = Seen::Lowest(1.99);
        assert_eq!(judge(Seen::Lowest(2.0005), low), None);
        assert_eq!(judge(Seen::Lowest(2.0005), Seen::Collapsed), None);
        assert!(judge(Seen::Lowest(2.002), low).is_some());
        assert!(judge(Seen::Lowest(1.998), low).is_some());
        assert!(judge(Seen::Collapsed, low).is_some());
        assert!(judge(Seen::Lowest(2.0), Seen::Lowest(2.0)).is_some());
    }

    #[test]
    fn where_the_power_limit_decides_only_its_two_sides_are_judged() {
        let judge = |at| case(2.5).judge(at, Seen::Collapsed, 1e-3);
        assert_eq!(judge(Seen::Lowest(2.4)), None);
        assert!(judge(Seen::Collapsed).is_some());
        assert!(judge(Seen::Lowest(2.1)).is_some());
        assert!(
            case(2.5)
                .judge(Seen::Lowest(2.4), Seen::Lowest(2.4), 1e-3)
                .is_some()
        );
    }
}
