//! Why a candidate does not meet the policy, in words, and by how much it misses.

use std::fmt;

use crate::income::light::Light;
use crate::node::Node;
use crate::rounding;
use crate::simulate::run::Outcome;
use crate::text::Engineering;
use crate::thresholds::{Group, Thresholds};
use crate::units::*;

/// A silence may exceed the slowest pace by this part: waits are whole seconds, and a report takes its own time.
const ROUNDING: f64 = 0.01;

/// The first condition that a candidate fails.
#[derive(Clone, Debug, PartialEq)]
pub enum Limit {
    /// A kind of capacitor does not bear the voltage at which charging stops.
    Rating {
        /// What it bears.
        rated: Voltage,
        /// Where charging stops.
        overvoltage: Voltage,
    },
    /// An action never fits.
    Action {
        /// Which.
        action: &'static str,
        /// What firmware would have to read.
        decide: Voltage,
        /// Where charging stops.
        overvoltage: Voltage,
        /// What takes most of it.
        group: Group,
    },
    /// Another finding that is an error, or a rule of the policy that the constants break.
    Finding(String),
    /// Too short in the dark.
    Dark {
        /// How long it goes on reporting at the slowest pace.
        acting: Time,
        /// How long it should.
        horizon: Time,
    },
    /// This light does not lead to a first report.
    NeverStarts(Light),
    /// It loses its supply.
    Loses {
        /// How often.
        times: u64,
        /// Part of the time in which it runs.
        uptime: f64,
    },
    /// It is silent for too long.
    Silent {
        /// The longest silence.
        longest: Time,
        /// The slowest pace.
        slowest: Time,
    },
}

impl Limit {
    /// The rating, where a capacitor bears less than the overvoltage limit.
    pub(super) fn of_rating(node: &Node) -> Option<Self> {
        let overvoltage = node.harvest.overvoltage;
        let rated = node
            .storage
            .iter()
            .map(|part| part.rated_voltage * f64::from(part.series))
            .reduce(Voltage::min)?;
        (rated < overvoltage).then_some(Self::Rating { rated, overvoltage })
    }

    /// The action whose threshold is furthest above what the storage can reach.
    pub(super) fn of_action(node: &Node, thresholds: &Thresholds) -> Option<Self> {
        let overvoltage = node.harvest.overvoltage;
        let highest = thresholds
            .decided()
            .max_by_key(|(_, threshold)| threshold.decide_mv);
        highest.and_then(|(kind, threshold)| {
            let decide = rounding::from_millivolts(threshold.decide_mv);
            let group = Group::ALL.into_iter().reduce(|most, next| {
                if threshold.share(next) > threshold.share(most) {
                    next
                } else {
                    most
                }
            })?;
            (decide > overvoltage).then_some(Self::Action {
                action: kind.noun(),
                decide,
                overvoltage,
                group,
            })
        })
    }

    /// What a simulated time leaves to be desired.
    pub(super) fn of_outcome(outcome: &Outcome, slowest: Time) -> Option<Self> {
        if outcome.brownouts > 0 {
            return Some(Self::Loses {
                times: outcome.brownouts,
                uptime: outcome.uptime_fraction(),
            });
        }
        let longest = seconds(outcome.settled_silence_s);
        (longest > slowest * (1.0 + ROUNDING)).then_some(Self::Silent { longest, slowest })
    }

    /// How far from meeting the policy: the condition, counted from the last, and by which part it is missed.
    pub(super) fn distance(&self) -> (u32, f64) {
        let part = |of: Ratio| of.get::<ratio>();
        match self {
            Self::Silent { longest, slowest } => (1, part(*longest / *slowest) - 1.0),
            Self::Loses { uptime, .. } => (2, 1.0 - uptime),
            Self::NeverStarts(_) => (3, 1.0),
            Self::Dark { acting, horizon } => (4, 1.0 - part(*acting / *horizon)),
            Self::Finding(_) => (5, 1.0),
            Self::Action {
                decide, overvoltage, ..
            } => (6, part(*decide / *overvoltage) - 1.0),
            Self::Rating { rated, overvoltage } => (7, 1.0 - part(*rated / *overvoltage)),
        }
    }

    /// By how much it misses, in words.
    pub fn missing(&self) -> String {
        let percent = |part: f64| format!("{:.1} %", part * 100.0);
        let (_, part) = self.distance();
        match self {
            Self::Silent { longest, slowest } => {
                format!(
                    "{} too long, {} of the slowest pace",
                    Engineering(*longest - *slowest, "s"),
                    percent(part)
                )
            }
            Self::Loses { .. } => format!("down for {} of the time", percent(part)),
            Self::NeverStarts(_) => "no light left for a report".to_owned(),
            Self::Dark { acting, horizon } => {
                format!(
                    "{} too short, {} of the dark horizon",
                    Engineering(*horizon - *acting, "s"),
                    percent(part)
                )
            }
            Self::Finding(_) => "see there".to_owned(),
            Self::Action {
                decide, overvoltage, ..
            } => {
                format!(
                    "{} too high, {} of the overvoltage limit",
                    Engineering(*decide - *overvoltage, "V"),
                    percent(part)
                )
            }
            Self::Rating { rated, overvoltage } => {
                format!(
                    "{} too low, {} of the overvoltage limit",
                    Engineering(*overvoltage - *rated, "V"),
                    percent(part)
                )
            }
        }
    }
}

impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rating { rated, overvoltage } => write!(
                f,
                "rated for {}, charging stops at {}",
                Engineering(*rated, "V"),
                Engineering(*overvoltage, "V")
            ),
            Self::Action {
                action,
                decide,
                overvoltage,
                group,
            } => write!(
                f,
                "{action} needs {}, charging stops at {}: {}",
                Engineering(*decide, "V"),
                Engineering(*overvoltage, "V"),
                group.name()
            ),
            Self::Finding(text) => f.write_str(text),
            Self::Dark { acting, horizon } => write!(
                f,
                "reports for {} in the dark, {} are wanted",
                Engineering(*acting, "s"),
                Engineering(*horizon, "s")
            ),
            Self::NeverStarts(light) => write!(f, "never comes to a first report in {light}"),
            Self::Loses { times, uptime } => {
                write!(
                    f,
                    "loses its supply {times} times, runs {:.2} % of the time",
                    uptime * 100.0
                )
            }
            Self::Silent { longest, slowest } => write!(
                f,
                "silent for {}, at most {} are wanted",
                Engineering(*longest, "s"),
                Engineering(*slowest, "s")
            ),
        }
    }
}
