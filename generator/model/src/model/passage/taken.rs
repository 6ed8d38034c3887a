//! What one action takes out of a bank at rest, every branch by itself.

use crate::model::bank::Bank;
use crate::model::discharge::{Stretch, discharge};
use crate::model::drain::Drain;
use crate::model::redistribution;
use crate::units::*;

/// The integrator's error in the lowest terminal voltage (V).
const LOWEST_ERROR_V: f64 = 1e-6;

/// What a converter gives: its power, at most its largest current (docs/model.md, equation 29).
#[derive(Clone, Copy, Debug)]
pub(super) struct Given {
    pub(super) power: Power,
    pub(super) most: Current,
}

/// Charge that `bank`, at rest at `inner`, gives for `stretches`, leakage included, less what the converter gives meanwhile; `None`
/// where it collapses or its terminal goes below `floor`.
///
/// Whether the converter is at its largest current is judged at the start of each stretch and holds for all of it.
pub(super) fn taken(
    bank: &Bank,
    inner: Voltage,
    stretches: &[Stretch],
    floor: Voltage,
    converter: Option<Given>,
) -> Option<Charge> {
    let mut inner_v = vec![inner.get::<volt>(); bank.branches.len()];
    let mut lowest = volts(f64::INFINITY);
    match converter {
        None => {
            let end = discharge(bank, &inner_v, stretches)?;
            (inner_v, lowest) = (end.inner_v, end.lowest);
        }
        Some(given) => {
            for stretch in stretches {
                let net = Stretch {
                    drain: net(bank, &inner_v, &stretch.drain, given)?,
                    peak: net(bank, &inner_v, &stretch.peak, given)?,
                    ..*stretch
                };
                let end = discharge(bank, &inner_v, &[net])?;
                (inner_v, lowest) = (end.inner_v, lowest.min(end.lowest));
            }
        }
    }
    (lowest >= floor - volts(LOWEST_ERROR_V)).then(|| redistribution::given(bank, inner, &inner_v))
}

/// `drain` less what the converter gives under it.
fn net(bank: &Bank, inner_v: &[f64], drain: &Drain, given: Given) -> Option<Drain> {
    let by_power = Drain {
        power: drain.power - given.power,
        ..*drain
    };
    let terminal = bank.terminal(inner_v, &by_power)?;
    if given.power <= given.most * terminal {
        return Some(by_power);
    }
    Some(Drain {
        current: drain.current - given.most,
        ..*drain
    })
}
