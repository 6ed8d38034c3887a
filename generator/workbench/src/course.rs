//! A simulated stretch of a node's life, beside the other rules.

use millpond::generated;
use millpond::income::Income;
use millpond::node::Pace;
use millpond::plan::made::Made;
use millpond::report::{Report, Section};
use millpond::simulate::study::FINISHED;
use millpond::simulate::timeline::{Moment, Watch};
use serde_json::{Value, json};

use crate::files::Files;
use crate::told::{Counted, Tell};

/// The watched run takes about so much of a study: the rest are the rules beside it and the bound.
const OWN_SHARE: f64 = 0.2;
/// The own run is told of in so many steps.
const OWN_STEPS: f64 = 50.0;
/// Longest stretch that a page may ask for (days).
const MOST_DAYS: f64 = 3660.0;

/// The answer for `days` of the node in `files`. With `tuned`, a node that plans gets its own settings, which takes longer; without,
/// the usual ones.
pub(crate) fn answer<F: Fn(f64) + Sync>(files: &Files, days: f64, tuned: bool, tell: &Tell<F>) -> Value {
    if !(days > 0.0 && days <= MOST_DAYS) {
        return json!({ "error": format!("days: a number above 0, at most {MOST_DAYS}") });
    }
    let file = match files.node() {
        Ok(file) => file,
        Err(refused) => return refused,
    };
    let node = &file.node;
    let mut report = Report::of(&file);
    let Some(policy) = report.policy().copied() else {
        return json!({ "error": "the node cannot work: see its findings" });
    };
    let income = Income::of(&node.harvest.source);
    let plan = match node.policy.pace {
        Pace::Planned if tuned => {
            match generated::tuned(&file, report.thresholds(), &policy, &Counted::new(tell)) {
                Ok(planned) => Some(Made::from(&planned)),
                Err(refusal) => return json!({ "error": refusal.to_string() }),
            }
        }
        _ => Made::usual(node, report.thresholds()),
    };
    if let Some(income) = &income {
        let mut told = Told {
            tell,
            duration_s: days * 86_400.0,
            steps: 0.0,
            finished: 0,
        };
        report.simulate(income, plan, days, &mut told);
    }
    report.add_pace(income.as_ref(), plan);
    report.add_dark();
    json!({
        "days": days,
        "sections": {
            "figures": report.section(Section::Figures),
            "dark": report.section(Section::Dark),
            "course": report.section(Section::Course),
        },
        "charts": report.charts(),
    })
}

/// Tells how far a study has come.
struct Told<'a, F> {
    tell: &'a Tell<F>,
    duration_s: f64,
    /// Steps of the own run that were told.
    steps: f64,
    finished: u32,
}

impl<F: Fn(f64)> Watch for Told<'_, F> {
    fn see(&mut self, moment: &Moment) {
        let step = (moment.time_s / self.duration_s * OWN_STEPS).floor();
        if step > self.steps {
            self.steps = step;
            (self.tell.0)(step / OWN_STEPS * OWN_SHARE);
        }
    }

    fn finished(&mut self, _run: &str) {
        self.finished += 1;
        let others = f64::from(self.finished - 1) / f64::from(FINISHED - 1);
        (self.tell.0)(OWN_SHARE + (1.0 - OWN_SHARE) * others.min(1.0));
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;

    fn files() -> Files {
        Files {
            text: millpond_templates::nodes::DISPLAY_CASE.to_owned(),
            ..Files::default()
        }
    }

    #[test]
    fn a_week_is_drawn_and_told_of_as_it_goes() {
        let parts = Mutex::new(Vec::new());
        let tell = Tell(|part| parts.lock().expect("nobody else").push(part));
        let answer = answer(&files(), 7.0, false, &tell);
        let section = answer["sections"]["course"].as_str().expect("a section");
        assert!(section.contains("7 days of the nominal unit"), "{section}");
        let parts = parts.into_inner().expect("nobody else");
        assert!(parts.len() > 20 && parts.is_sorted(), "{parts:?}");
        assert_eq!(parts.last(), Some(&1.0));
    }

    #[test]
    fn days_that_are_none_are_refused() {
        for days in [0.0, -1.0, f64::NAN, 1e9] {
            assert!(
                answer(&files(), days, false, &Tell(|_| {}))
                    .get("error")
                    .is_some()
            );
        }
    }
}
