//! Whether the pace asked for can be kept: by the rules of the radio, the source, and a full bank in the dark.

use super::{Finding, Severity};
use crate::budget::Budget;
use crate::income::Income;
use crate::node::{Frame, Node, Source};
use crate::policy::Silence;
use crate::survival::Dark;
use crate::text::{Engineering, at_least, at_most};
use crate::thresholds::Thresholds;
use crate::units::*;

/// Radio silence that is longer than the pace aimed at, or not stated.
pub(super) fn radio(node: &Node, thresholds: &Thresholds) -> Option<Finding> {
    let radio = node.radio.as_ref()?;
    let Some(limit) = radio.duty_limit else {
        return Some(Finding {
            code: "duty-limit-not-stated",
            severity: Severity::Caution,
            text:
                "no duty limit is stated for the transmitter, so the policy keeps no radio silence of its own"
                    .to_owned(),
            cure:
                "transmit.radio.duty_limit as the local rules for the band ask; they differ by place and band"
                    .to_owned(),
        });
    };
    let silence = Silence::of(&thresholds.transmit.load, limit);
    let longest = seconds(f64::from(u16::MAX - 1));
    if silence.spacing + seconds(1.0) > longest {
        return Some(Finding {
            code: "silence-too-long",
            severity: Severity::Error,
            text: format!(
                "after {} on the air the duty limit asks for {} of silence, more than the {} that firmware counts",
                Engineering(silence.on_air, "s"),
                Engineering(silence.after, "s"),
                Engineering(longest, "s")
            ),
            cure: "fewer attempts or a smaller payload; or check transmit.radio.duty_limit, which is a fraction of time".to_owned(),
        });
    }
    (silence.spacing > node.policy.slowest).then(|| Finding {
        code: "silence-above-slowest",
        severity: Severity::Caution,
        text: format!(
            "after {} on the air the duty limit asks for {} of silence, longer than policy.slowest ({})",
            Engineering(silence.on_air, "s"),
            Engineering(silence.after, "s"),
            Engineering(node.policy.slowest, "s")
        ),
        cure: match radio.frame {
            Frame::Chirp { .. } => {
                "fewer attempts, a lower spreading factor or a smaller payload, or a slower pace"
            }
            Frame::Ieee802154 { .. } | Frame::BleAdvertising { .. } => {
                "fewer attempts or a smaller payload, or a slower pace"
            }
        }
        .to_owned(),
    })
}

/// A duty limit that has to count all of a transmission, as nothing says when the transmitter is on.
pub(super) fn airtime(node: &Node, thresholds: &Thresholds) -> Option<Finding> {
    let limit = node.radio.as_ref()?.duty_limit?;
    let load = &thresholds.transmit.load;
    let untimed = limit < fraction(1.0) && load.on_air == seconds(0.0);
    untimed.then(|| Finding {
        code: "airtime-not-stated",
        severity: Severity::Caution,
        text: format!(
            "no phase of a transmission says when the transmitter is on, so the duty limit counts all {} of it as on the air",
            Engineering(load.duration, "s")
        ),
        cure: "airtime = true in the sending phase, in place of its duration or of a profile".to_owned(),
    })
}

/// A source that cannot feed the slowest pace: a constant one, or light in the mean of its whole round, under a sky without clouds.
pub(super) fn income(node: &Node, budget: &Budget) -> Option<Finding> {
    let income = Income::of(&node.harvest.source)?;
    let needed = budget.slowest.every_attempt;
    let at_storage = income.mean(|power| node.harvest.at_storage(power, budget.working_voltage));
    if at_storage >= needed.at_storage {
        return None;
    }
    let offered = income.mean(|power| power);
    let enough = at_least(needed.at_source, "W");
    let light = || {
        let offered = Engineering(offered, "W");
        format!("more light or a larger cell, for {enough} in the mean where {offered} are offered")
    };
    let (brings, more) = match node.harvest.source {
        Source::Photovoltaic { .. } => ("even a year of clear sky brings, in the mean,", light()),
        Source::Indoor { .. } => ("the light of a week brings, in the mean,", light()),
        Source::Constant { .. } | Source::Trace => ("the source brings", format!("a source of {enough}")),
    };
    let cure = if offered >= needed.at_source {
        "a larger harvest.maximum_current".to_owned()
    } else {
        more
    };
    Some(Finding {
        code: "income-too-low",
        severity: Severity::Caution,
        text: format!(
            "{brings} {} to storage; sleep and one report in {} take {}",
            Engineering(at_storage, "W"),
            Engineering(node.policy.slowest, "s"),
            Engineering(needed.at_storage, "W")
        ),
        cure: format!("{cure}, or a slower pace"),
    })
}

/// A darkness that even a full bank does not report through.
pub(super) fn dark_horizon(node: &Node, thresholds: &Thresholds) -> Option<Finding> {
    let acting = Dark::reporting(node, thresholds).acting;
    let horizon = node.policy.dark_horizon;
    // No room at all is an error that says so itself.
    (acting > seconds(0.0) && acting < horizon).then(|| Finding {
        code: "dark-horizon-out-of-reach",
        severity: Severity::Caution,
        text: format!(
            "an old and cold bank that was full carries sleep and one report in {} for {}; policy.dark_horizon asks for {}",
            Engineering(node.policy.slowest, "s"),
            Engineering(acting, "s"),
            Engineering(horizon, "s")
        ),
        cure: format!(
            "a larger bank, a longer policy.slowest, or policy.dark_horizon of at most {}",
            at_most(acting, "s")
        ),
    })
}
