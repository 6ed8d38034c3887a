//! What limits the planned pace: the same records under rules that know more, see further, or are not rounded.
//!
//! Everything here runs in the drill of `millpond::plan::drill`, where a year takes milliseconds, and every variant gets its own
//! settings, tuned on the very record: what one variant lacks against another is then not a matter of tuning.

pub mod table;
pub mod twin;

use indicatif::ProgressBar;
use millpond::bound::Bound;
use millpond::income::Income;
use millpond::plan;
use millpond::plan::drill::{Drilled, Flashed, Flow, Spender, drill_of};
use millpond::plan::practice::Year;
use millpond::plan::settings::Settings;
use millpond::plan::tuning::{climb, worth};
use millpond::plan::typical::{Store, Typical};
use millpond::policy;
use millpond::progress::Unseen;
use millpond::thresholds::Thresholds;
use millpond::units::*;
use millpond_policy::{Policy, SLOTS};
use rayon::prelude::*;
use serde::Serialize;

use crate::paces::{Place, RECORDS, Record};
use crate::tool::Tool;
use table::Table;
use twin::{Averages, Knobs, SLOT_S, Twin, seasons_j, slots_j};

/// Prices in the search for the shortest silence: above any silence of a node that lives, below any difference in silence.
const EMPTY_PRICE: f64 = 1e6;
const AGE_PRICE: f64 = 0.01;

/// One record and the node on it.
#[derive(Clone, Debug)]
pub struct Case {
    store: Store,
    typical: Typical,
    policy: Policy,
    /// What the tool finds for the declared income.
    planned: Settings,
    fastest_s: f64,
    slowest_s: f64,
    /// No settings have a smaller reserve.
    least: Settings,
    flow: Flow,
    bound: Bound,
    /// True income of each slot (J), and its mean over the season.
    income_j: Vec<f64>,
    season_j: Vec<f64>,
    /// After so many slots the same may come again: a day, or a week where people work.
    day_slots: usize,
}

/// One experiment on one record.
#[derive(Clone, Debug, Serialize)]
pub struct Trial {
    /// The income.
    pub record: String,
    /// What was tried.
    pub experiment: &'static str,
    /// Mean age at best over mean age reached.
    pub score: f64,
    /// Longest silence in times of foresight's.
    pub silence: f64,
    /// Losses of supply.
    pub brownouts: u32,
}

/// The twins: what each of them differs by.
const TWINS: [(&str, Knobs); 8] = [
    ("not rounded", Knobs::PLANNER),
    (
        "24 slots ahead",
        Knobs {
            ahead_slots: 24,
            ..Knobs::PLANNER
        },
    ),
    (
        "96 slots ahead",
        Knobs {
            ahead_slots: 96,
            ..Knobs::PLANNER
        },
    ),
    (
        "days of the week",
        Knobs {
            averages: Averages::Week,
            ..Knobs::PLANNER
        },
    ),
    (
        "told the season's mean",
        Knobs {
            averages: Averages::Season,
            ..Knobs::PLANNER
        },
    ),
    (
        "told 24 hours",
        Knobs {
            told_slots: 24,
            ..Knobs::PLANNER
        },
    ),
    (
        "told 48 hours",
        Knobs {
            told_slots: 48,
            ..Knobs::PLANNER
        },
    ),
    (
        "told a week",
        Knobs {
            ahead_slots: 168,
            told_slots: 168,
            ..Knobs::PLANNER
        },
    ),
];

/// All experiments on all records that can be had and that foresight keeps alive.
///
/// # Errors
///
/// If a node file or a record cannot be used.
pub fn trials(python: Option<&Tool>, progress: &ProgressBar) -> Result<Vec<Trial>, String> {
    progress.set_length(RECORDS.len() as u64);
    let parts: Vec<Vec<Trial>> = RECORDS
        .par_iter()
        .map(|record| {
            let mut trials = Vec::new();
            if let Some(income) = record.income(python)? {
                if let Some(case) = Case::of(record, &income, 1.0)? {
                    trials.extend(case.trials(record.name));
                }
                for (experiment, storage) in [("half the storage", 0.5), ("twice the storage", 2.0)] {
                    if let Some(case) = Case::of(record, &income, storage)? {
                        trials.push(case.in_hindsight(record.name, experiment));
                    }
                }
            }
            progress.inc(1);
            Ok(trials)
        })
        .collect::<Result<_, String>>()?;
    Ok(parts.into_iter().flatten().collect())
}

/// One cell of a table.
type Figure = fn(&Trial) -> String;

/// The experiments as two tables: scores and silences, a line for each record.
pub fn text(trials: &[Trial]) -> String {
    let mut experiments: Vec<&str> = Vec::new();
    let mut records: Vec<&str> = Vec::new();
    for trial in trials {
        if !experiments.contains(&trial.experiment) {
            experiments.push(trial.experiment);
        }
        if !records.contains(&trial.record.as_str()) {
            records.push(&trial.record);
        }
    }
    let mut text = String::new();
    for (number, experiment) in experiments.iter().enumerate() {
        text.push_str(&format!("{:>3}  {experiment}\n", number + 1));
    }
    let figures: [(&str, Figure); 2] = [
        ("score (! where the supply was lost)", |trial| {
            let mark = if trial.brownouts > 0 { "!" } else { " " };
            format!("{:>7.3}{mark}", trial.score)
        }),
        ("longest silence in times of foresight's", |trial| {
            format!("{:>7.1} ", trial.silence)
        }),
    ];
    for (title, figure) in figures {
        text.push_str(&format!("\n{title}\n{:<24}", "record"));
        for number in 1..=experiments.len() {
            text.push_str(&format!("{number:>7} "));
        }
        for record in &records {
            text.push_str(&format!("\n{record:<24}"));
            for experiment in &experiments {
                let trial = trials
                    .iter()
                    .find(|trial| trial.record == *record && trial.experiment == *experiment);
                text.push_str(&trial.map_or_else(|| format!("{:>8}", "- "), figure));
            }
        }
        text.push('\n');
    }
    text
}

impl Case {
    /// The record with the node that an engineer would put there, its storage by this factor; `None` where foresight cannot keep
    /// it alive.
    ///
    /// # Errors
    ///
    /// If the node cannot work.
    pub fn of(record: &Record, income: &Income, storage: f64) -> Result<Option<Self>, String> {
        let mut node = record.node()?;
        for capacitor in &mut node.storage {
            capacitor.capacitance *= storage;
            capacitor.leakage *= storage;
        }
        let thresholds = Thresholds::of(&node);
        let policy = policy::policy(&node, &thresholds).map_err(|rule| rule.text().to_owned())?;
        let declared = Income::of(&node.harvest.source).ok_or("the node declares no income")?;
        let planned = plan::tuned(&node, &thresholds, &policy, &declared, &Unseen)
            .map_err(|error| format!("{}: {error}", record.name))?;
        let typical = Typical::of(&node, &thresholds).ok_or("the storage is too large")?;
        let Some(year) = Year::of(&node, record.name, income.clone(), record.days as f64) else {
            return Ok(None);
        };
        let income_j = slots_j(&year.flow);
        Ok(Some(Self {
            store: *typical.store(),
            policy,
            fastest_s: planned.plan.parts().fastest_s.into(),
            slowest_s: planned.plan.parts().slowest_s.into(),
            planned: planned.settings,
            least: typical.least_settings(year.worst_dark(&node, typical.sleep())),
            typical,
            season_j: seasons_j(&income_j),
            income_j,
            day_slots: match record.place {
                Place::Indoors(_) => 7 * SLOTS,
                _ => SLOTS,
            },
            flow: year.flow,
            bound: year.bound,
        }))
    }

    /// All experiments with this storage.
    pub fn trials(&self, record: &str) -> Vec<Trial> {
        let twin = |settings: Settings, knobs: Knobs| self.drill(&mut Twin::new(self, settings, knobs));
        let mut trials = vec![
            self.trial(record, "planned", self.flashed(&self.planned)),
            self.trial(record, "planned, not rounded", twin(self.planned, Knobs::PLANNER)),
            self.in_hindsight(record, "in hindsight"),
        ];
        let quiet = self.tuned(|settings| -self.silence(&self.flashed(settings)));
        trials.push(self.trial(record, "in hindsight, for silence", self.flashed(&quiet)));
        trials.extend(TWINS.map(|(experiment, knobs)| {
            let settings = self.tuned(|settings| worth(&twin(*settings, knobs), &self.bound));
            self.trial(record, experiment, twin(settings, knobs))
        }));
        trials.push(self.trial(record, "table", self.drill(&mut Table::of(self))));
        trials
    }

    /// The planner with its settings tuned on the record itself.
    fn in_hindsight(&self, record: &str, experiment: &'static str) -> Trial {
        let settings = self.tuned(|settings| worth(&self.flashed(settings), &self.bound));
        self.trial(record, experiment, self.flashed(&settings))
    }

    fn trial(&self, record: &str, experiment: &'static str, drilled: Drilled) -> Trial {
        Trial {
            record: record.to_owned(),
            experiment,
            score: self.bound.mean_age.get::<second>() / drilled.mean_age_s,
            silence: drilled.longest_silence_s / self.bound.longest_silence.get::<second>(),
            brownouts: drilled.brownouts,
        }
    }

    /// The planner as it is flashed, under these settings. Settings that break a rule of the constants send nothing.
    fn flashed(&self, settings: &Settings) -> Drilled {
        let silent = Drilled {
            mean_age_s: f64::INFINITY,
            longest_silence_s: f64::INFINITY,
            brownouts: 0,
        };
        self.typical.plan(settings).map_or(silent, |plan| {
            self.drill(&mut Flashed::new(&self.typical, &self.policy, &plan))
        })
    }

    /// Silence in times of foresight's, losses of supply above all, the mean age where all else is equal.
    fn silence(&self, drilled: &Drilled) -> f64 {
        drilled.longest_silence_s / self.bound.longest_silence.get::<second>()
            + f64::from(drilled.brownouts) * EMPTY_PRICE
            + drilled.mean_age_s / self.bound.mean_age.get::<second>() * AGE_PRICE
    }

    fn tuned(&self, worth: impl Fn(&Settings) -> f64 + Sync) -> Settings {
        climb(Settings::usual().at_least(&self.least), &self.least, worth).0
    }

    fn drill(&self, spender: &mut impl Spender) -> Drilled {
        drill_of(&self.store, &self.flow, spender)
    }

    /// Time between samples for so much spending on reports in a slot (s), within what the node allows.
    fn sample_s(&self, spending_j: f64) -> f64 {
        let report_s = self.store.report_j * SLOT_S / spending_j.max(f64::MIN_POSITIVE);
        (report_s / self.store.batch).clamp(self.fastest_s, self.slowest_s)
    }

    /// Spending of a slot on reports at so long between samples (J), within what the node allows.
    fn spending_j(&self, sample_s: f64) -> f64 {
        let sample_s = sample_s.clamp(self.fastest_s, self.slowest_s);
        self.store.report_j * SLOT_S / (sample_s * self.store.batch)
    }

    /// The same by the pace table.
    fn even_s(&self, stored_j: f64) -> f64 {
        let reading_mv = self.store.reading_mv(stored_j);
        let rows = &self.policy.parts().pace;
        let row = rows.iter().find(|row| row.from_mv <= reading_mv);
        f64::from(row.map_or(u16::MAX, |row| row.wait_s))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a mean of some days.
    const ROUNDING_J: f64 = 1e-9;

    /// The twin only leaves out the rounding of units, ratios and whole seconds: parts in a thousand each.
    const ROUNDING_PART: f64 = 0.01;
    /// Levels and rates of the table are a few percent apart, and the last weeks of a record weigh a little less.
    const TABLE_PART: f64 = 0.03;

    fn case(name: &str, steady_w: Option<f64>) -> Case {
        let record = RECORDS
            .iter()
            .find(|record| record.name == name)
            .expect("a record");
        let income = match steady_w {
            Some(power_w) => Income::of_steps(seconds(SLOT_S), [watts(power_w)]),
            None => record.income(None).expect("usable").expect("made without python"),
        };
        Case::of(record, &income, 1.0)
            .expect("a node that works")
            .expect("it lives")
    }

    /// Two writings of one rule: that of the firmware, in integers, and the twin.
    #[test]
    fn without_knobs_the_twin_is_the_planner() {
        let case = case("made, 35 N, dry", None);
        let (flashed, twin) = (
            case.flashed(&case.planned),
            case.drill(&mut Twin::new(&case, case.planned, Knobs::PLANNER)),
        );
        let part = twin.mean_age_s / flashed.mean_age_s - 1.0;
        assert!(part.abs() < ROUNDING_PART, "{flashed:?} {twin:?}");
        assert_eq!((flashed.brownouts, twin.brownouts), (0, 0));
    }

    /// Under steady income nothing is left to know: the table comes to what foresight reaches.
    #[test]
    fn under_steady_income_the_table_is_as_good_as_foresight() {
        let case = case("steam trap, rare stops", Some(0.15e-3));
        let drilled = case.drill(&mut Table::of(&case));
        let score = case.bound.mean_age.get::<second>() / drilled.mean_age_s;
        assert!((1.0 - TABLE_PART..=1.0 + TABLE_PART).contains(&score), "{score}");
    }

    /// By hand: the mean of three equal days is each of them, and an hour's season is the hour's own.
    #[test]
    fn a_season_is_a_mean_by_the_hour() {
        let day_j: Vec<f64> = (0..SLOTS).map(|slot| slot as f64).collect();
        let seasons_j = seasons_j(&day_j.repeat(3));
        for (slot, season_j) in seasons_j.iter().enumerate() {
            assert!(
                (season_j - (slot % SLOTS) as f64).abs() < ROUNDING_J,
                "{slot}: {season_j}"
            );
        }
    }

    /// Told what comes, the rule does better on a record whose stops nothing announces.
    #[test]
    fn foresight_of_two_days_helps() {
        let case = case("steam trap, daily stops", None);
        let age_s = |told_slots| {
            let knobs = Knobs {
                told_slots,
                ..Knobs::PLANNER
            };
            case.drill(&mut Twin::new(&case, case.planned, knobs)).mean_age_s
        };
        assert!(age_s(48) < age_s(0), "{} {}", age_s(48), age_s(0));
    }
}
