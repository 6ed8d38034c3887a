//! A load that repeats: what a node does once in each period, asleep for the rest of it.

use crate::model::discharge::Stretch;
use crate::model::drain::Drain;
use crate::model::load::Load;
use crate::units::*;

/// Actions with how often each is done in a period, and what is drawn between them.
#[derive(Clone, Debug, PartialEq)]
pub struct Cycle {
    /// None where one drain is drawn all the time.
    pub(super) actions: Vec<Repeated>,
    pub(super) period: Time,
    pub(super) asleep: Drain,
    /// Part of the period in which the node sleeps.
    pub(super) asleep_share: f64,
    /// The terminal may not go below this in an action.
    pub(super) floor: Voltage,
}

/// One action of a cycle.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Repeated {
    pub(super) stretches: Vec<Stretch>,
    /// How often in a period.
    pub(super) times: f64,
}

impl Cycle {
    /// One drain all the time.
    pub fn steady(drain: Drain) -> Self {
        Self {
            actions: Vec::new(),
            period: seconds(1.0),
            asleep: drain,
            asleep_share: 1.0,
            floor: volts(0.0),
        }
    }

    /// Each of `actions` so many times in each `period`, `asleep` for the rest of it; one after the other where they take longer than
    /// that. The bank does not carry an action whose terminal goes below `floor`.
    pub fn repeated(actions: &[(&Load, u32)], period: Time, asleep: Drain, floor: Voltage) -> Self {
        let busy: Time = actions
            .iter()
            .map(|(load, times)| load.duration * f64::from(*times))
            .sum();
        let period = period.max(busy);
        let actions = actions.iter().map(|(load, times)| Repeated {
            stretches: load.stretches.clone(),
            times: f64::from(*times),
        });
        Self {
            actions: actions.collect(),
            period,
            asleep,
            asleep_share: ((period - busy) / period).get::<ratio>(),
            floor,
        }
    }

    /// Nothing but the bank's own leakage.
    pub fn nothing() -> Self {
        Self::steady(Drain {
            power: watts(0.0),
            current: amperes(0.0),
        })
    }

    /// Every drain with the part of the time for which it lasts; the parts sum to 1.
    pub(super) fn shares(&self) -> impl Iterator<Item = (f64, &Drain)> {
        let acting = self.actions.iter().flat_map(|action| {
            let share = |stretch: &Stretch| (stretch.duration / self.period).get::<ratio>() * action.times;
            action
                .stretches
                .iter()
                .map(move |stretch| (share(stretch), &stretch.drain))
        });
        acting.chain([(self.asleep_share, &self.asleep)])
    }
}
