//! How soon a typical unit is back in steady light: from empty to its first report, from its floor to full.

use std::fmt;

use crate::income::light::Light;
use crate::model::bank::Bank;
use crate::model::discharge::{Stretch, discharge};
use crate::model::passage::{Cycle, Storage};
use crate::model::redistribution;
use crate::node::Node;
use crate::rounding;
use crate::simulate::plant::{End, Plant};
use crate::simulate::unit::Part;
use crate::text::Engineering;
use crate::thresholds::Thresholds;
use crate::units::*;

/// Why a typical unit does not come to its first report in steady light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Obstacle {
    /// The light does not raise the storage to where the node is connected.
    NeverConnects {
        /// Terminal voltage at which it would be.
        at: Voltage,
    },
    /// The start-up takes the storage below where the supply is lost, again and again.
    LosesItsStart {
        /// Terminal voltage at which it is connected.
        at: Voltage,
    },
    /// The light does not raise the storage of a node asleep to what a report needs.
    NeverEnough {
        /// What firmware must read.
        needed: Voltage,
    },
}

impl fmt::Display for Obstacle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NeverConnects { at } => write!(
                f,
                "this light does not raise the storage to {}, where the node starts",
                Engineering(*at, "V")
            ),
            Self::LosesItsStart { at } => write!(
                f,
                "started at {} the storage does not carry the start-up: the node restarts for ever",
                Engineering(*at, "V")
            ),
            Self::NeverEnough { needed } => write!(
                f,
                "this light does not raise the storage of the node asleep to the {} that a report needs",
                Engineering(*needed, "V")
            ),
        }
    }
}

/// A typical unit in steady light; `None` where the light does not lead there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recharge {
    /// The light.
    pub light: Light,
    /// What the source offers in it.
    pub offered: Power,
    /// From an empty bank until the node is connected: cold start included, nothing draws but the bank's leakage.
    pub connected: Option<Time>,
    /// From an empty bank until the first report is sent: the start-up, asleep until the storage allows a sample and a report,
    /// the samples at the slowest pace. The wait from the refused question to the next may come on top.
    pub first_report: Option<Time>,
    /// What is in the way of a first report, if there is none.
    pub obstacle: Option<Obstacle>,
    /// Asleep, from the floor until charging stops.
    pub full: Option<Time>,
}

impl Recharge {
    /// A typical unit of `node` in `light`; `None` where its source does not live on such light.
    pub fn of(node: &Node, thresholds: &Thresholds, light: Light) -> Option<Self> {
        let offered = light.power(&node.harvest.source)?;
        let part = Part::nominal(node);
        let storage = Storage::lit(&part.bank, &node.harvest, offered);
        let asleep = Cycle::steady(part.asleep.drain);
        let empty = volts(0.0);
        let nothing = Cycle::nothing();
        let connect = storage.inner_at(&nothing_drawn(), volts(part.connect_v));
        let connected = rise(&storage, &nothing, empty, connect);
        let full_at = storage.inner_at(&part.asleep.drain, thresholds.overvoltage);
        let at_rest = |terminal: Voltage| storage.inner_at(&part.asleep.drain, terminal);
        let samples = f64::from(node.policy.batch);
        let needed_mv = thresholds.highest_decide_mv();
        let at = volts(part.connect_v);
        let first_report = (|| {
            let connected = connected.ok_or(Obstacle::NeverConnects { at })?;
            if !is_carried(node, &part, offered, connect) {
                return Err(Obstacle::LosesItsStart { at });
            }
            let booted = after(&part.bank, connect, &part.boot).ok_or(Obstacle::LosesItsStart { at })?;
            let allowed = at_rest(rounding::from_millivolts(needed_mv));
            let waiting = if allowed > booted {
                let needed = rounding::from_millivolts(needed_mv);
                rise(&storage, &asleep, booted, allowed).ok_or(Obstacle::NeverEnough { needed })?
            } else {
                seconds(0.0)
            };
            let between = node.policy.slowest / samples * (samples - 1.0);
            let acting = lasting(&part.boot) + lasting(&part.measure) * samples + lasting(&part.transmit);
            Ok(connected + waiting + between + acting)
        })();
        Some(Self {
            light,
            offered,
            connected,
            first_report: first_report.ok(),
            obstacle: first_report.err(),
            full: rise(&storage, &asleep, volts(part.cut_v), full_at),
        })
    }
}

fn nothing_drawn() -> crate::model::drain::Drain {
    crate::model::drain::Drain {
        power: watts(0.0),
        current: amperes(0.0),
    }
}

/// Whether the simulated unit, connected in this light, keeps its supply through its start-up.
fn is_carried(node: &Node, part: &Part, offered: Power, connect: Voltage) -> bool {
    let mut plant = Plant::new(&part.bank, &node.harvest, connect);
    plant.offer(offered.get::<watt>());
    part.boot.iter().all(|stretch| {
        let duration_s = stretch.duration.get::<second>();
        let (end, _) = plant.advance(&stretch.drain, duration_s, part.cut_v, f64::INFINITY);
        let peak_v = plant.terminal_v(&stretch.peak);
        end == End::Time && peak_v.is_some_and(|peak_v| peak_v >= part.cut_v)
    })
}

/// Upwards only: a storage that would have to fall is there already.
fn rise(storage: &Storage, load: &Cycle, from: Voltage, to: Voltage) -> Option<Time> {
    if to <= from {
        return Some(seconds(0.0));
    }
    storage.passage(load, from, to)
}

/// Where a bank at rest stands after these stretches, without income; `None` where it cannot carry them.
fn after(bank: &Bank, from: Voltage, stretches: &[Stretch]) -> Option<Voltage> {
    let before_v = vec![from.get::<volt>(); bank.branches.len()];
    let end = discharge(bank, &before_v, stretches)?;
    Some(redistribution::shared(bank, &end.inner_v))
}

fn lasting(stretches: &[Stretch]) -> Time {
    stretches.iter().map(|stretch| stretch.duration).sum()
}
