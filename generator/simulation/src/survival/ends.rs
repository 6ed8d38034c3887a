//! The worst unit at the two ends of the temperature range: old and cold it holds less, hot it leaks more.

use super::{Corner, Dark, Doing, Row, Survival, Unit};
use crate::income::light::Light;
use crate::model::bank::{Bank, Wear};
use crate::node::Node;
use crate::thresholds::Thresholds;

impl<'a> Unit<'a> {
    /// The units that an answer is the worst of, at least one: the cold end, and the hot end where the node file says what leaks there.
    pub(super) fn at_ends(node: &'a Node, thresholds: &Thresholds, corner: Corner) -> Vec<Self> {
        let unit = |bank: Option<Bank>| {
            let unit = Self::of(node, thresholds, corner);
            let bank = bank.unwrap_or_else(|| unit.bank.clone());
            Self { bank, ..unit }
        };
        match corner {
            Corner::Typical => vec![unit(None)],
            Corner::Worst => {
                let banks = Wear::at_ends(node).iter().map(|end| Bank::of_node(node, *end));
                banks.map(|bank| unit(Some(bank))).collect()
            }
        }
    }
}

impl Dark {
    /// The shorter times of both.
    pub(super) fn shorter(self, other: Self) -> Self {
        Self {
            acting: self.acting.min(other.acting),
            alive: match (self.alive, other.alive) {
                (Some(own), Some(others)) => Some(own.min(others)),
                (one, None) | (None, one) => one,
            },
        }
    }
}

impl Row {
    fn worse(self, other: Self) -> Self {
        Self {
            from_full: self.from_full.shorter(other.from_full),
            from_threshold: self.from_threshold.shorter(other.from_threshold),
            light: self.light.zip(other.light).map(brighter),
            ..self
        }
    }
}

/// Both are of the same kind, as the same source gives them.
fn brighter((one, other): (Light, Light)) -> Light {
    let more = match (&one, &other) {
        (Light::Power(one), Light::Power(other)) => other > one,
        (Light::Irradiance(one), Light::Irradiance(other)) => other > one,
        (Light::Illuminance(one), Light::Illuminance(other)) => other > one,
        _ => false,
    };
    if more { other } else { one }
}

impl Survival {
    /// The worse of both in each answer.
    pub(super) fn worse(self, other: Self) -> Self {
        // The current that halves the shorter time asleep is that of the end where it is the shorter one.
        let asleep = |survival: &Self| survival.row(Doing::Sleeping).and_then(|row| row.from_full.alive);
        let is_other = asleep(&other) < asleep(&self);
        let halving = if is_other { other.halving } else { self.halving };
        let rows = self.rows.into_iter().zip(other.rows);
        Self {
            rows: rows.map(|(one, other)| one.worse(other)).collect(),
            halving,
            ..self
        }
    }
}
