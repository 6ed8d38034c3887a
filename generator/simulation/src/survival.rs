//! How long the node lives in the dark, which light keeps it going for ever, and how soon it is back.
//!
//! From a node and its thresholds to times and light, without simulating: passages of the bank ([`crate::model::passage`])
//! between the voltages at which something changes. Two units are looked at:
//!
//! | | typical | worst |
//! | --- | --- | --- |
//! | bank | nominal, new, warm | low tolerance, end of life, cold; or hot, with the leakage of that, where it is stated: what is shorter |
//! | currents | as stated | with `margins.load` |
//! | reports | get through at the first try | need every attempt |
//! | floor | the supply's or the gate's as stated | the highest it may be |
//! | the transmit threshold | what firmware must read | the voltage from which the action and its reserve just succeed |
//!
//! Acting goes on until the storage is at what firmware must read for that action; from there the node sleeps down to its floor.

mod ends;
mod start;

pub use start::{Obstacle, Recharge};

use crate::halving::halved;
use crate::income::light::Light;
use crate::model::bank::{Bank, Wear};
use crate::model::drain::Drain;
use crate::model::load::Load;
use crate::model::passage::{Cycle, Storage};
use crate::node::{Action, Node};
use crate::rounding;
use crate::thresholds::Thresholds;
use crate::units::*;

/// Halvings of the range of sleeping currents: to a part of 10^-9 of a decade.
const HALVINGS: u32 = 60;
/// No sleeping current is looked for above this many times the present one, or microamperes where there is none.
const MOST_TIMES: f64 = 1e4;

/// Which unit is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Corner {
    /// Every part as stated.
    Typical,
    /// Every part at its worst.
    Worst,
}

/// What the node does in the dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doing {
    /// Nothing.
    Sleeping,
    /// Samples as often as reports at this pace need them, no reports.
    Measuring(At),
    /// Reports with their samples.
    Reporting(At),
}

/// How often.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// As rarely as the policy aims for.
    Slowest,
    /// As often as it allows.
    Fastest,
}

impl Doing {
    /// All of them, from the one that draws least.
    pub const ALL: [Self; 5] = [
        Self::Sleeping,
        Self::Measuring(At::Slowest),
        Self::Measuring(At::Fastest),
        Self::Reporting(At::Slowest),
        Self::Reporting(At::Fastest),
    ];

    /// The name used in every output.
    pub fn name(self) -> &'static str {
        match self {
            Self::Sleeping => "asleep",
            Self::Measuring(At::Slowest) => "measuring, slowest",
            Self::Measuring(At::Fastest) => "measuring, fastest",
            Self::Reporting(At::Slowest) => "reporting, slowest",
            Self::Reporting(At::Fastest) => "reporting, fastest",
        }
    }
}

/// How long, from one voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dark {
    /// Until the storage no longer allows what the node does; 0 asleep.
    pub acting: Time,
    /// Until the floor: acting, then asleep; `None` where nothing draws.
    pub alive: Option<Time>,
}

impl Dark {
    /// The worst corner from full, reporting at the slowest pace.
    pub fn reporting(node: &Node, thresholds: &Thresholds) -> Self {
        let reporting = |unit: &Unit<'_>| {
            let storage = unit.storage(thresholds.overvoltage);
            row(unit, thresholds, &storage, Doing::Reporting(At::Slowest)).from_full
        };
        let units = Unit::at_ends(node, thresholds, Corner::Worst);
        let other = units.iter().skip(1).map(reporting);
        other.fold(reporting(&units[0]), Self::shorter)
    }
}

/// One thing that the node may do in the dark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// What.
    pub doing: Doing,
    /// Time between two of them; `None` asleep.
    pub period: Option<Time>,
    /// From a full bank.
    pub from_full: Dark,
    /// From the transmit threshold.
    pub from_threshold: Dark,
    /// Light that holds the storage at the transmit threshold meanwhile; `None` where the converter's largest current does not.
    pub light: Option<Light>,
}

/// One unit in the dark.
#[derive(Clone, Debug, PartialEq)]
pub struct Survival {
    /// Which unit.
    pub corner: Corner,
    /// Where it starts when full.
    pub full: Voltage,
    /// Where it starts at the transmit threshold.
    pub threshold: Voltage,
    /// Where it ends.
    pub floor: Voltage,
    /// What it may do meanwhile.
    pub rows: Vec<Row>,
    /// Sleeping current of the whole node at the rail that would halve the time asleep from full; `None` where the bank's own
    /// leakage leaves no room for one within ten thousand times the present.
    pub halving: Option<Current>,
}

/// What one unit draws.
struct Unit<'a> {
    node: &'a Node,
    bank: Bank,
    /// The bank that the transmit threshold was found on, where the worst is looked for.
    corner: Option<Bank>,
    excess: Ratio,
    transmit: Action,
    floor: Voltage,
    threshold: Voltage,
}

impl<'a> Unit<'a> {
    /// The answers of this unit.
    fn survives(&self, thresholds: &Thresholds, corner: Corner) -> Survival {
        let full = thresholds.overvoltage;
        let storage = self.storage(full);
        let rows = Doing::ALL
            .into_iter()
            .map(|doing| row(self, thresholds, &storage, doing))
            .collect();
        Survival {
            corner,
            full,
            threshold: self.threshold,
            floor: self.floor,
            rows,
            halving: halving(self, &storage, full),
        }
    }

    fn of(node: &'a Node, thresholds: &Thresholds, corner: Corner) -> Self {
        let supply = node.supply.regulator.floor();
        match corner {
            Corner::Typical => Self {
                node,
                bank: Bank::of_node(node, Wear::NONE),
                corner: None,
                excess: fraction(0.0),
                transmit: node.transmit.first_try(),
                floor: node
                    .supply
                    .gate
                    .as_ref()
                    .map_or(supply, |gate| supply.max(gate.disconnect_below)),
                threshold: rounding::from_millivolts(thresholds.transmit.decide_mv),
            },
            Corner::Worst => Self {
                node,
                bank: thresholds.corner.clone(),
                corner: Some(thresholds.transmit.bank.clone()),
                excess: node.margins.load,
                transmit: node.transmit.clone(),
                floor: thresholds.floor,
                threshold: thresholds.transmit.start_with_reserve,
            },
        }
    }

    fn load(&self, action: &Action) -> Load {
        Load::of(
            &self.node.supply.regulator,
            action,
            self.node.radio.as_ref(),
            self.excess,
        )
    }

    fn asleep(&self, current: Current) -> Drain {
        Load::node_asleep(self.node, current, seconds(1.0), self.excess).drain
    }

    /// The bank in the dark, with the one that its actions are run on.
    fn storage(&self, full: Voltage) -> Storage {
        let storage = Storage::dark(&self.bank, full);
        match &self.corner {
            Some(corner) => storage.and_run_on(corner),
            None => storage,
        }
    }

    /// What is done over and over, and the time between two actions.
    fn cycle(&self, doing: Doing) -> (Cycle, Option<Time>) {
        let asleep = self.asleep(self.node.sleep_current);
        let pacing = &self.node.policy;
        let period = |at| match at {
            At::Slowest => pacing.slowest,
            At::Fastest => pacing.fastest,
        };
        let repeated = |actions: &[(&Load, u32)], period: Time| {
            (Cycle::repeated(actions, period, asleep, self.floor), Some(period))
        };
        let measure = self.load(&self.node.measure);
        match doing {
            Doing::Sleeping => (Cycle::steady(asleep), None),
            Doing::Measuring(at) => repeated(&[(&measure, 1)], period(at) / f64::from(pacing.batch)),
            Doing::Reporting(at) => {
                let transmit = self.load(&self.transmit);
                repeated(&[(&measure, pacing.batch), (&transmit, 1)], period(at))
            }
        }
    }
}

impl Survival {
    /// How long a unit of `node` lives in the dark.
    ///
    /// ```
    /// use millpond_node::node::NodeFile;
    /// use millpond_simulation::survival::*;
    /// use millpond_sizing::thresholds::Thresholds;
    /// use millpond_numbers::units::*;
    /// let node = NodeFile::load("../../templates/nodes/crack-gauge.toml")?.node;
    /// let thresholds = Thresholds::of(&node);
    /// let worst = Survival::of(&node, &thresholds, Corner::Worst);
    /// // The policy spreads what is stored over 16 h.
    /// assert!(worst.rows[3].from_full.acting > node.policy.dark_horizon);
    /// # Ok::<(), millpond_node::input::LoadError>(())
    /// ```
    pub fn of(node: &Node, thresholds: &Thresholds, corner: Corner) -> Self {
        let units = Unit::at_ends(node, thresholds, corner);
        let other = units.iter().skip(1).map(|unit| unit.survives(thresholds, corner));
        other.fold(units[0].survives(thresholds, corner), Self::worse)
    }

    /// What the unit does while it does this.
    pub fn row(&self, doing: Doing) -> Option<&Row> {
        self.rows.iter().find(|row| row.doing == doing)
    }
}

fn row(unit: &Unit<'_>, thresholds: &Thresholds, storage: &Storage, doing: Doing) -> Row {
    let (cycle, period) = unit.cycle(doing);
    let asleep = Cycle::steady(unit.asleep(unit.node.sleep_current));
    let stops = match doing {
        Doing::Sleeping => None,
        Doing::Measuring(_) => Some(thresholds.measure.decide_mv),
        Doing::Reporting(_) => Some(thresholds.highest_decide_mv()),
    };
    let never = seconds(0.0);
    let dark = |from: Voltage| {
        let acts_down_to = stops.map_or(from, |stops_mv| rounding::from_millivolts(stops_mv).min(from));
        // A bank that cannot carry the load above its threshold does not act at all.
        let acting = if acts_down_to > unit.floor {
            storage.passage(&cycle, from, acts_down_to).unwrap_or(never)
        } else {
            never
        };
        let sleeps_from = if acting > never { acts_down_to } else { from };
        let stands = storage.net(&asleep, sleeps_from) == Some(amperes(0.0));
        let sleeping = if sleeps_from > unit.floor {
            storage.passage(&asleep, sleeps_from, unit.floor).unwrap_or(never)
        } else {
            never
        };
        Dark {
            acting,
            alive: (!stands).then(|| acting + sleeping),
        }
    };
    Row {
        doing,
        period,
        from_full: dark(thresholds.overvoltage),
        from_threshold: dark(unit.threshold),
        light: storage
            .net(&cycle, unit.threshold)
            .and_then(|net| light(unit, -net)),
    }
}

/// The light that gives `drawn` at the transmit threshold.
fn light(unit: &Unit<'_>, drawn: Current) -> Option<Light> {
    let harvest = &unit.node.harvest;
    if drawn > harvest.maximum_current {
        return None;
    }
    let efficiency = if unit.threshold < harvest.cold_start {
        harvest.cold_start_efficiency
    } else {
        harvest.converter_efficiency
    };
    if efficiency <= fraction(0.0) {
        return None;
    }
    Light::offering(unit.threshold * drawn / efficiency, &harvest.source)
}

/// The sleeping current that halves the time asleep from full, found by halving a range: more current is never longer.
fn halving(unit: &Unit<'_>, storage: &Storage, full: Voltage) -> Option<Current> {
    let time = |current: Current| storage.passage(&Cycle::steady(unit.asleep(current)), full, unit.floor);
    let now = unit.node.sleep_current;
    let half = time(now)? / 2.0;
    let most = now.max(amperes(1e-6)) * MOST_TIMES;
    // A current that the bank cannot carry is more than enough.
    let is_enough = |current: Current| time(current).is_none_or(|time| time <= half);
    if !is_enough(most) {
        return None;
    }
    let (_, high_a) = halved(now.get::<ampere>(), most.get::<ampere>(), HALVINGS, |current_a| {
        is_enough(amperes(current_a))
    });
    Some(amperes(high_a))
}

#[cfg(test)]
mod tests;
