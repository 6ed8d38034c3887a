//! How soon a typical unit is back in steady light: from empty to its first report, from its floor to full.

use crate::income::light::Light;
use crate::model::bank::Bank;
use crate::model::discharge::{Stretch, discharge};
use crate::model::passage::{Cycle, Storage};
use crate::model::rest;
use crate::node::Node;
use crate::rounding;
use crate::simulate::part::Part;
use crate::thresholds::Thresholds;
use crate::units::*;

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
        let needed_mv = thresholds.measure.decide_mv.max(thresholds.transmit.decide_mv);
        let first_report = (|| {
            let booted = after(&part.bank, connect, &part.boot)?;
            let allowed = at_rest(rounding::from_millivolts(needed_mv));
            let waiting = if allowed > booted {
                rise(&storage, &asleep, booted, allowed)?
            } else {
                seconds(0.0)
            };
            let between = node.policy.slowest / samples * (samples - 1.0);
            let acting = lasting(&part.boot) + lasting(&part.measure) * samples + lasting(&part.transmit);
            Some(connected? + waiting + between + acting)
        })();
        Some(Self {
            light,
            offered,
            connected,
            first_report,
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
    Some(rest::shared(bank, &end.inner_v))
}

fn lasting(stretches: &[Stretch]) -> Time {
    stretches.iter().map(|stretch| stretch.duration).sum()
}
