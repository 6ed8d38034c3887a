//! What came of a sweep over parts and sources.

use serde::Serialize;

use crate::node::Node;
use crate::printout::survival::{LightView, light};
use crate::printout::table::table;
use crate::simulate::run::Outcome;
use crate::size::{Candidate, Extent, Sized, Sweep, price};
use crate::text::{Engineering, in_days};
use crate::units::*;
use crate::visible::visible;

/// The sweep as JSON has it.
#[derive(Serialize)]
pub struct View {
    node: String,
    days: f64,
    light: LightView,
    swept_capacitor: usize,
    candidates: Vec<CandidateView>,
    chosen: Option<usize>,
    cheapest: Option<usize>,
    closest: Option<usize>,
}

#[derive(Serialize)]
struct CandidateView {
    name: String,
    capacitance_f: f64,
    bank_capacitance_f: f64,
    series: u32,
    parallel: u32,
    price: Option<f64>,
    area_m2: Option<f64>,
    source_times: Option<f64>,
    feasible: bool,
    limit: Option<String>,
    transmit_mv: u32,
    dark_s: Option<f64>,
    dark_reporting_s: Option<f64>,
    first_report_s: Option<f64>,
    recharge_s: Option<f64>,
    reports_per_day: Option<f64>,
    mean_age_s: Option<f64>,
    longest_silence_s: Option<f64>,
    spilled_fraction: Option<f64>,
    brownouts: Option<u64>,
    pareto: bool,
}

impl View {
    /// The view of a sweep.
    pub fn of(node: &Node, sweep: &Sweep, sized: &Sized) -> Self {
        let candidates = sized.candidates.iter().enumerate();
        Self {
            node: node.name.clone(),
            days: sweep.days,
            light: light(&sweep.light),
            swept_capacitor: sized.branch,
            candidates: candidates
                .map(|(place, candidate)| view(sweep, candidate, sized.pareto.contains(&place)))
                .collect(),
            chosen: sized.smallest,
            cheapest: sized.cheapest,
            closest: sized.closest,
        }
    }
}

fn view(sweep: &Sweep, candidate: &Candidate, pareto: bool) -> CandidateView {
    let part = &sweep.parts[candidate.part];
    let (area_m2, source_times) = match sweep.sources[candidate.source].extent {
        Extent::Area(area) => (Some(area.get::<square_meter>()), None),
        Extent::Times(times) => (None, Some(times)),
    };
    let outcome = candidate.outcome.as_ref();
    let recharge = candidate.recharge.as_ref();
    let plain = |time: Time| time.get::<second>();
    CandidateView {
        name: part.name.clone(),
        capacitance_f: part.capacitor.capacitance.get::<farad>(),
        bank_capacitance_f: part.capacitor.whole().get::<farad>(),
        series: part.capacitor.series,
        parallel: part.capacitor.parallel,
        price: price(part),
        area_m2,
        source_times,
        feasible: candidate.limit.is_none(),
        limit: candidate.limit.as_ref().map(ToString::to_string),
        transmit_mv: crate::rounding::millivolts_up(candidate.transmit),
        dark_s: candidate.dark.and_then(|dark| dark.alive).map(plain),
        dark_reporting_s: candidate.dark.map(|dark| plain(dark.acting)),
        first_report_s: recharge.and_then(|recharge| recharge.first_report).map(plain),
        recharge_s: recharge.and_then(|recharge| recharge.full).map(plain),
        reports_per_day: outcome.map(reports_per_day),
        mean_age_s: outcome.map(Outcome::mean_age_s),
        longest_silence_s: outcome.map(|outcome| outcome.settled_silence_s),
        spilled_fraction: outcome.map(spilled_fraction),
        brownouts: outcome.map(|outcome| outcome.brownouts),
        pareto,
    }
}

fn reports_per_day(outcome: &Outcome) -> f64 {
    outcome.reports as f64 / (outcome.duration_s / 86_400.0)
}

/// Part of what the converter offered that was not stored.
fn spilled_fraction(outcome: &Outcome) -> f64 {
    match outcome.ledger.harvested_j {
        harvested_j if harvested_j > 0.0 => outcome.ledger.spilled_j / harvested_j,
        _ => 0.0,
    }
}

/// The sweep as tables, a picture and sentences.
pub fn text(node: &Node, sweep: &Sweep, sized: &Sized) -> String {
    let mut text = format!(
        "{}: {} candidates, {} each, coming back in {}\n\n",
        node.name,
        sized.candidates.len(),
        in_days(sweep.days),
        sweep.light
    );
    text.push_str(&every(sweep, sized));
    text.push_str(
        "dark: full, reporting at the slowest pace, worst unit; first report: from empty; age: mean age of the newest report; \
         * beaten by none in capacitance, source and age at once\n\n",
    );
    text.push_str(&picture(sweep, sized));
    text.push('\n');
    text.push_str(&standing_out(sweep, sized));
    text
}

/// A row for each candidate.
fn every(sweep: &Sweep, sized: &Sized) -> String {
    let time =
        |time: Option<Time>| time.map_or_else(|| "-".to_owned(), |time| Engineering(time, "s").to_string());
    let rows = sized.candidates.iter().enumerate().map(|(place, candidate)| {
        let outcome = candidate.outcome.as_ref();
        let recharge = candidate.recharge.as_ref();
        let figure = |of: &dyn Fn(&Outcome) -> String| outcome.map_or_else(|| "-".to_owned(), of);
        let star = if sized.pareto.contains(&place) { " *" } else { "" };
        vec![
            format!("{}{star}", part_text(sweep, candidate)),
            source_text(sweep, candidate),
            Engineering(candidate.transmit, "V").to_string(),
            time(candidate.dark.map(|dark| dark.acting)),
            time(recharge.and_then(|recharge| recharge.first_report)),
            time(recharge.and_then(|recharge| recharge.full)),
            figure(&|outcome| format!("{:.1}", reports_per_day(outcome))),
            figure(&|outcome| Engineering(seconds(outcome.mean_age_s()), "s").to_string()),
            figure(&|outcome| Engineering(seconds(outcome.settled_silence_s), "s").to_string()),
            figure(&|outcome| format!("{:.1} %", spilled_fraction(outcome) * 100.0)),
            candidate
                .limit
                .as_ref()
                .map_or_else(|| "meets the policy".to_owned(), ToString::to_string),
        ]
    });
    table(
        &[
            "bank",
            "source",
            "transmit from",
            "dark",
            "first report",
            "recharge",
            "reports/day",
            "age",
            "silence",
            "spilled",
            "limit",
        ],
        rows,
    )
}

/// Mean age over capacitance and source, for those that meet the policy.
fn picture(sweep: &Sweep, sized: &Sized) -> String {
    let columns: Vec<String> = (0..sweep.sources.len())
        .filter_map(|source| sized.candidates.get(source))
        .map(|candidate| source_text(sweep, candidate))
        .collect();
    let head: Vec<&str> = std::iter::once("mean age")
        .chain(columns.iter().map(String::as_str))
        .collect();
    let rows = (0..sweep.parts.len()).filter_map(|part| {
        let first = part * sweep.sources.len();
        let row = sized.candidates.get(first..first + sweep.sources.len())?;
        let cells = row.iter().enumerate().map(|(source, candidate)| {
            let star = if sized.pareto.contains(&(first + source)) {
                "* "
            } else {
                ""
            };
            match (&candidate.limit, &candidate.outcome) {
                (None, Some(outcome)) => format!("{star}{}", Engineering(seconds(outcome.mean_age_s()), "s")),
                _ => "·".to_owned(),
            }
        });
        Some(
            std::iter::once(part_text(sweep, row.first()?))
                .chain(cells)
                .collect(),
        )
    });
    table(&head, rows)
}

/// The smallest and the cheapest, with what asks for care in them.
fn standing_out(sweep: &Sweep, sized: &Sized) -> String {
    let named = |place: usize| {
        let candidate = &sized.candidates[place];
        let price =
            price(&sweep.parts[candidate.part]).map_or_else(String::new, |price| format!(", price {price}"));
        format!(
            "{} with {}{price}",
            part_text(sweep, candidate),
            source_text(sweep, candidate)
        )
    };
    let mut lines = Vec::new();
    if let Some(place) = sized.smallest {
        lines.push(format!("smallest that meets the policy: {}", named(place)));
    }
    if let Some(place) = sized.cheapest {
        lines.push(format!("cheapest that meets the policy: {}", named(place)));
    }
    let mut cautions: Vec<&str> = Vec::new();
    for place in [sized.smallest, sized.cheapest].into_iter().flatten() {
        for caution in &sized.candidates[place].cautions {
            if !cautions.contains(&caution.text.as_str()) {
                cautions.push(&caution.text);
            }
        }
    }
    lines.extend(cautions.iter().map(|caution| format!("caution: {caution}")));
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// That nothing serves, and by how much the best misses.
pub fn nothing(sweep: &Sweep, sized: &Sized) -> String {
    let closest = sized.closest.and_then(|place| {
        let candidate = &sized.candidates[place];
        let limit = candidate.limit.as_ref()?;
        Some(format!(
            "; the closest is {} with {}: {limit} ({})",
            part_text(sweep, candidate),
            source_text(sweep, candidate),
            limit.missing()
        ))
    });
    format!(
        "nothing in this sweep meets the policy{}",
        closest.unwrap_or_default()
    )
}

/// How a part is called: by its name in a catalogue, by the capacitance of all its cells otherwise.
fn part_text(sweep: &Sweep, candidate: &Candidate) -> String {
    let part = &sweep.parts[candidate.part];
    let capacitance = Engineering(part.capacitor.whole(), "F").to_string();
    if part.name.is_empty() {
        capacitance
    } else {
        format!("{}, {capacitance}", visible(&part.name))
    }
}

fn source_text(sweep: &Sweep, candidate: &Candidate) -> String {
    match sweep.sources[candidate.source].extent {
        Extent::Area(area) => {
            let area_cm2 = area.get::<square_meter>() * 1e4;
            format!(
                "{} cm2",
                Engineering(fraction(area_cm2), "").to_string().trim_end()
            )
        }
        Extent::Times(times) => format!(
            "{} times",
            Engineering(fraction(times), "").to_string().trim_end()
        ),
    }
}
