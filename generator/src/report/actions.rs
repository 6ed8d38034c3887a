//! What each action takes: its phases as a table with bars, and the current over time as a chart.

use serde::Serialize;

use super::chart::{Chart, Drawn, Merged, Panel, Series, rounded};
use crate::budget::{ActionBudget, Budget, Draw};
use crate::text::Engineering;
use crate::units::*;
use crate::visible::visible;

/// More phases than this, from a measured profile, are drawn and not listed.
const MOST_PHASES: usize = 16;

/// One action.
#[derive(Serialize)]
pub(super) struct ActionView {
    name: &'static str,
    attempts: u32,
    duration: String,
    energy: String,
    total_energy: String,
    phases: Vec<PhaseView>,
    /// How many phases there are that are not listed.
    unlisted: usize,
    chart: String,
}

#[derive(Serialize)]
struct PhaseView {
    name: String,
    duration: String,
    rail_current: String,
    storage_charge: String,
    storage_energy: String,
    share: Share,
}

/// A part of a whole, as text and as the length of a bar.
#[derive(Serialize)]
pub(super) struct Share {
    pub(super) percent: String,
    pub(super) width: String,
}

impl Share {
    /// Of 0 to 1.
    pub(super) fn of(part: f64) -> Self {
        let part = if part.is_finite() {
            part.clamp(0.0, 1.0)
        } else {
            0.0
        };
        Self {
            percent: format!("{:.1} %", part * 100.0),
            width: format!("{:.2}%", part * 100.0),
        }
    }
}

/// The actions of a budget.
pub(super) fn views(budget: &Budget) -> Vec<ActionView> {
    budget
        .actions()
        .into_iter()
        .map(|(kind, action)| view(kind.name(), action))
        .collect()
}

/// The current of each action over its time.
pub(super) fn charts(budget: &Budget) -> Vec<Chart> {
    budget
        .actions()
        .into_iter()
        .map(|(kind, action)| chart(kind.name(), action))
        .collect()
}

fn view(name: &'static str, action: &ActionBudget) -> ActionView {
    let whole = action.attempt.storage_energy;
    let is_listed = action.phases.len() <= MOST_PHASES;
    let phases = action.phases.iter().filter(|_| is_listed).map(|phase| PhaseView {
        name: visible(&phase.name).into_owned(),
        duration: Engineering(phase.duration, "s").to_string(),
        rail_current: Engineering(phase.rail_current, "A").to_string(),
        storage_charge: Engineering(phase.storage_charge, "C").to_string(),
        storage_energy: Engineering(phase.storage_energy, "J").to_string(),
        share: Share::of((phase.storage_energy / whole).get::<ratio>()),
    });
    ActionView {
        name,
        attempts: action.attempts,
        duration: Engineering(action.attempt.duration, "s").to_string(),
        energy: Engineering(whole, "J").to_string(),
        total_energy: Engineering(action.total.storage_energy, "J").to_string(),
        phases: phases.collect(),
        unlisted: if is_listed { 0 } else { action.phases.len() },
        chart: id(name),
    }
}

fn id(name: &str) -> String {
    format!("current-{name}")
}

/// Steps of current at the rail and out of storage: each value holds until the next.
fn chart(name: &'static str, action: &ActionBudget) -> Chart {
    let mut at = Vec::new();
    let (mut rail, mut storage) = (Vec::new(), Vec::new());
    let mut time = seconds(0.0);
    for phase in &action.phases {
        at.push(rounded(time.get::<second>() * 1e3, 4));
        rail.push(Some(rounded(phase.rail_current.get::<ampere>() * 1e3, 6)));
        let drawn = phase.storage_charge / phase.duration;
        storage.push(Some(rounded(drawn.get::<ampere>() * 1e3, 6)));
        time += phase.duration;
    }
    at.push(rounded(time.get::<second>() * 1e3, 4));
    rail.push(rail.last().copied().flatten());
    storage.push(storage.last().copied().flatten());
    let series = |label: &str, values| Series {
        label: label.to_owned(),
        drawn: Drawn::Step,
        merged: Merged::Never,
        values,
    };
    Chart {
        id: id(name),
        axis: "time (ms)".to_owned(),
        at,
        panels: vec![Panel {
            axis: "current (mA)".to_owned(),
            height: 180,
            digits: 4,
            from_zero: true,
            series: vec![series("at the rail", rail), series("out of storage", storage)],
            levels: Vec::new(),
        }],
        gaps: Vec::new(),
        spans: Vec::new(),
    }
}

/// What takes energy from a sleeping node.
#[derive(Serialize)]
pub(super) struct Asleep {
    rows: Vec<AsleepRow>,
    current: String,
    energy: String,
    power: String,
}

#[derive(Serialize)]
struct AsleepRow {
    name: &'static str,
    current: String,
    energy: String,
    share: Share,
}

impl Asleep {
    /// The sleeping day of a budget.
    pub(super) fn of(budget: &Budget) -> Self {
        let day = &budget.day;
        let row = |name, draw: &Draw| AsleepRow {
            name,
            current: Engineering(draw.current, "A").to_string(),
            energy: Engineering(draw.energy, "J").to_string(),
            share: Share::of((draw.energy / day.total.energy).get::<ratio>()),
        };
        Self {
            rows: vec![
                row("load", &day.load),
                row("quiescent", &day.quiescent),
                row("leakage", &day.leakage),
                row("balance", &day.balance),
                row("sensing", &day.sensing),
            ],
            current: Engineering(day.total.current, "A").to_string(),
            energy: Engineering(day.total.energy, "J").to_string(),
            power: Engineering(day.power, "W").to_string(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node;

    /// Times are rounded to 0.1 us, currents to 1 nA.
    const WRITTEN: f64 = 1e-3;

    /// The area under the steps is the charge of the attempt.
    #[test]
    fn the_steps_hold_the_charge() {
        for name in ["crack-gauge", "display-case", "pump-bearing"] {
            let node = node::example(name);
            let budget = Budget::of(&node);
            for ((_, action), chart) in budget.actions().into_iter().zip(charts(&budget)) {
                let values = &chart.panels[0].series[0].values;
                let area_c: f64 = chart
                    .at
                    .windows(2)
                    .zip(values)
                    .map(|(ends, current_ma)| (ends[1] - ends[0]) * current_ma.unwrap_or(0.0) / 1e6)
                    .sum();
                let want_c = action.attempt.rail_charge.get::<coulomb>();
                assert!(
                    (area_c / want_c - 1.0).abs() < WRITTEN,
                    "{name}: {area_c} {want_c}"
                );
            }
        }
    }

    #[test]
    fn a_share_stays_between_nothing_and_all() {
        assert_eq!(Share::of(0.25).width, "25.00%");
        assert_eq!(Share::of(f64::NAN).percent, "0.0 %");
        assert_eq!(Share::of(1.5).percent, "100.0 %");
    }
}
