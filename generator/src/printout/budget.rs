//! The energy budget.

use serde::Serialize;

use super::by_action::ByAction;
use crate::budget::{ActionBudget, Budget, Draw, Income, Pace, Total};
use crate::node::Node;
use crate::printout::table::table;
use crate::text::{Engineering, lasting};
use crate::units::*;
use crate::visible::visible;

/// More phases than this, from a measured profile, are counted and not listed; JSON has them all.
const MOST_PHASES: usize = 16;

/// The budget as JSON has it: SI units, named in the key. All figures are nominal, at `working_v`.
#[derive(Serialize)]
pub struct View {
    node: String,
    working_v: f64,
    actions: ByAction<ActionView>,
    sleeping_day: DayView,
    store: StoreView,
    fastest: PaceView,
    slowest: PaceView,
    offer: Option<OfferView>,
}

#[derive(Serialize)]
struct ActionView {
    attempts: u32,
    phases: Vec<PhaseView>,
    attempt: TotalView,
    total: TotalView,
}

#[derive(Serialize)]
struct PhaseView {
    name: String,
    duration_s: f64,
    airtime_s: f64,
    rail_current_a: f64,
    rail_charge_c: f64,
    storage_charge_c: f64,
    storage_energy_j: f64,
}

#[derive(Serialize)]
struct TotalView {
    duration_s: f64,
    airtime_s: f64,
    rail_charge_c: f64,
    storage_charge_c: f64,
    storage_energy_j: f64,
}

#[derive(Serialize)]
struct DayView {
    load: DrawView,
    quiescent: DrawView,
    leakage: DrawView,
    balance: DrawView,
    sensing: DrawView,
    total: DrawView,
    power_w: f64,
}

#[derive(Serialize)]
struct DrawView {
    current_a: f64,
    charge_c: f64,
    energy_j: f64,
}

#[derive(Serialize)]
struct StoreView {
    usable_j: f64,
    reports: f64,
    asleep_s: Option<f64>,
}

#[derive(Serialize)]
struct PaceView {
    period_s: f64,
    first_try: IncomeView,
    every_attempt: IncomeView,
}

#[derive(Serialize)]
struct IncomeView {
    energy_j: f64,
    storage_w: f64,
    source_w: f64,
}

#[derive(Serialize)]
struct OfferView {
    source_w: f64,
    storage_w: f64,
    first_try_s: Option<f64>,
    every_attempt_s: Option<f64>,
}

impl View {
    /// The view of `node`'s budget.
    pub fn of(node: &Node, budget: &Budget) -> Self {
        Self {
            node: node.name.clone(),
            working_v: budget.working_voltage.get::<volt>(),
            actions: ByAction::of(budget.actions(), action),
            sleeping_day: DayView {
                load: draw(&budget.day.load),
                quiescent: draw(&budget.day.quiescent),
                leakage: draw(&budget.day.leakage),
                balance: draw(&budget.day.balance),
                sensing: draw(&budget.day.sensing),
                total: draw(&budget.day.total),
                power_w: budget.day.power.get::<watt>(),
            },
            store: StoreView {
                usable_j: budget.store.usable.get::<joule>(),
                reports: budget.store.reports,
                asleep_s: budget.store.asleep.map(|time| time.get::<second>()),
            },
            fastest: pace(&budget.fastest),
            slowest: pace(&budget.slowest),
            offer: budget.offer.as_ref().map(|offer| OfferView {
                source_w: offer.at_source.get::<watt>(),
                storage_w: offer.at_storage.get::<watt>(),
                first_try_s: offer.first_try.map(|time| time.get::<second>()),
                every_attempt_s: offer.every_attempt.map(|time| time.get::<second>()),
            }),
        }
    }
}

fn action(action: &ActionBudget) -> ActionView {
    let phases = action.phases.iter().map(|phase| PhaseView {
        name: phase.name.clone(),
        duration_s: phase.duration.get::<second>(),
        airtime_s: phase.on_air.get::<second>(),
        rail_current_a: phase.rail_current.get::<ampere>(),
        rail_charge_c: phase.rail_charge.get::<coulomb>(),
        storage_charge_c: phase.storage_charge.get::<coulomb>(),
        storage_energy_j: phase.storage_energy.get::<joule>(),
    });
    ActionView {
        attempts: action.attempts,
        phases: phases.collect(),
        attempt: total(&action.attempt),
        total: total(&action.total),
    }
}

fn total(total: &Total) -> TotalView {
    TotalView {
        duration_s: total.duration.get::<second>(),
        airtime_s: total.on_air.get::<second>(),
        rail_charge_c: total.rail_charge.get::<coulomb>(),
        storage_charge_c: total.storage_charge.get::<coulomb>(),
        storage_energy_j: total.storage_energy.get::<joule>(),
    }
}

fn draw(draw: &Draw) -> DrawView {
    DrawView {
        current_a: draw.current.get::<ampere>(),
        charge_c: draw.charge.get::<coulomb>(),
        energy_j: draw.energy.get::<joule>(),
    }
}

fn pace(pace: &Pace) -> PaceView {
    let income = |income: &Income| IncomeView {
        energy_j: income.energy.get::<joule>(),
        storage_w: income.at_storage.get::<watt>(),
        source_w: income.at_source.get::<watt>(),
    };
    PaceView {
        period_s: pace.period.get::<second>(),
        first_try: income(&pace.first_try),
        every_attempt: income(&pace.every_attempt),
    }
}

/// The budget as tables.
pub fn text(budget: &Budget) -> String {
    let actions = budget.actions();
    let head = [
        "budget",
        "duration",
        "rail current",
        "rail charge",
        "storage charge",
        "storage energy",
    ];
    let mut text = table(
        &head,
        actions
            .iter()
            .flat_map(|(kind, action)| action_rows(kind.name(), action)),
    );
    text.push_str(&format!(
        "nominal parts, storage at {}; airtime {} a report\n\n",
        Engineering(budget.working_voltage, "V"),
        Engineering(budget.transmit.total.on_air, "s")
    ));
    let day = &budget.day;
    let items = [
        ("load", &day.load),
        ("quiescent", &day.quiescent),
        ("leakage", &day.leakage),
        ("balance resistors", &day.balance),
        ("sensing", &day.sensing),
        ("total", &day.total),
    ];
    text.push_str(&table(
        &["sleeping day", "current", "charge", "energy"],
        items.map(|(name, draw)| day_row(name, draw)),
    ));
    text.push_str(&format!(
        "the full bank holds {} above the floor: {:.1} reports, or {} asleep\n\n",
        Engineering(budget.store.usable, "J"),
        budget.store.reports,
        lasting(budget.store.asleep)
    ));
    let income = [("fastest", &budget.fastest), ("slowest", &budget.slowest)];
    text.push_str(&table(
        &[
            "income needed",
            "a report every",
            "into storage",
            "from the source",
        ],
        income.map(|(name, pace)| {
            vec![
                name.to_owned(),
                Engineering(pace.period, "s").to_string(),
                Engineering(pace.every_attempt.at_storage, "W").to_string(),
                Engineering(pace.every_attempt.at_source, "W").to_string(),
            ]
        }),
    ));
    if let Some(offer) = &budget.offer {
        let sustained = offer.every_attempt.map_or_else(
            || "which does not carry the node asleep".to_owned(),
            |time| format!("which sustains a report every {}", Engineering(time, "s")),
        );
        text.push_str(&format!(
            "the source brings {} to storage, {sustained}\n",
            Engineering(offer.at_storage, "W")
        ));
    }
    text
}

fn action_rows(name: &str, action: &ActionBudget) -> Vec<Vec<String>> {
    let mut rows = vec![total_row(name, action)];
    if action.phases.len() > MOST_PHASES {
        rows[0][0].push_str(&format!(", {} phases", action.phases.len()));
        return rows;
    }
    rows.extend(action.phases.iter().map(|phase| {
        vec![
            format!("  {}", visible(&phase.name)),
            Engineering(phase.duration, "s").to_string(),
            Engineering(phase.rail_current, "A").to_string(),
            Engineering(phase.rail_charge, "C").to_string(),
            Engineering(phase.storage_charge, "C").to_string(),
            Engineering(phase.storage_energy, "J").to_string(),
        ]
    }));
    rows
}

fn total_row(name: &str, action: &ActionBudget) -> Vec<String> {
    let attempts = if action.attempts > 1 {
        format!(", {} attempts", action.attempts)
    } else {
        String::new()
    };
    vec![
        format!("{name}{attempts}"),
        Engineering(action.total.duration, "s").to_string(),
        String::new(),
        Engineering(action.total.rail_charge, "C").to_string(),
        Engineering(action.total.storage_charge, "C").to_string(),
        Engineering(action.total.storage_energy, "J").to_string(),
    ]
}

fn day_row(name: &str, draw: &Draw) -> Vec<String> {
    vec![
        name.to_owned(),
        Engineering(draw.current, "A").to_string(),
        Engineering(draw.charge, "C").to_string(),
        Engineering(draw.energy, "J").to_string(),
    ]
}
