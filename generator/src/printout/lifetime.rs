//! A node over temperature and life.

use serde::Serialize;

use crate::comparison::Comparison;
use crate::lifetime::{Condition, Lifetime};
use crate::printout::sensitivity::OutlookView;
use crate::printout::table::table;
use crate::text::{Engineering, lasting};
use crate::units::*;

/// A year of 365.25 days (s).
pub const YEAR_S: f64 = 31_557_600.0;
/// Characters of a bar from the floor to the overvoltage.
const BAR: usize = 50;
/// Constants of the pace table, of which there are dozens.
const PACE: &str = "pace";

/// The lifetime as JSON has it.
#[derive(Serialize)]
pub struct View {
    node: String,
    life_s: f64,
    conditions: Vec<ConditionView>,
    regenerate_after_s: f64,
    moved: Vec<MovedView>,
}

#[derive(Serialize)]
struct ConditionView {
    age_s: f64,
    temperature_degc: Option<f64>,
    #[serde(flatten)]
    outlook: OutlookView,
}

#[derive(Serialize)]
struct MovedView {
    constant: String,
    until_then: Option<i64>,
    from_then: Option<i64>,
}

/// What is printed: the conditions, the life they stretch over, and what moves at a time within it.
pub struct Shown<'a> {
    /// Name of the node.
    pub name: &'a str,
    /// Outlook at ages and temperatures.
    pub lifetime: &'a Lifetime,
    /// From new to the end of life.
    pub life: Time,
    /// When constants are to be made anew.
    pub after: Time,
    /// What moves then.
    pub regenerated: &'a Comparison,
}

impl View {
    /// The view of `shown`.
    pub fn of(shown: &Shown<'_>) -> Self {
        let conditions = shown.lifetime.conditions.iter().map(|condition| ConditionView {
            age_s: (shown.life * condition.age).get::<second>(),
            temperature_degc: condition
                .temperature
                .map(|temperature| temperature.get::<degree_celsius>()),
            outlook: OutlookView::of(&condition.outlook),
        });
        let moved = shown.regenerated.moved.iter().map(|moved| MovedView {
            constant: moved.name.clone(),
            until_then: moved.old,
            from_then: moved.new,
        });
        Self {
            node: shown.name.to_owned(),
            life_s: shown.life.get::<second>(),
            conditions: conditions.collect(),
            regenerate_after_s: shown.after.get::<second>(),
            moved: moved.collect(),
        }
    }
}

/// Tables of threshold and dark time, the threshold as bars, and what to make anew.
pub fn text(shown: &Shown<'_>) -> String {
    let lifetime = shown.lifetime;
    let years = |time: Time| format!("{:.1} y", time.get::<second>() / YEAR_S);
    let mut head: Vec<String> = vec![String::new()];
    head.extend(lifetime.temperatures.iter().map(|temperature| match temperature {
        Some(temperature) => format!("{:.0} degC", temperature.get::<degree_celsius>()),
        None => "as described".to_owned(),
    }));
    let columns = lifetime.temperatures.len();
    let rows = |cell: fn(&Condition) -> String| -> Vec<Vec<String>> {
        let of_age = |conditions: &[Condition]| {
            let mut row = vec![years(shown.life * conditions[0].age)];
            row.extend(conditions.iter().map(cell));
            row
        };
        lifetime.conditions.chunks(columns).map(of_age).collect()
    };
    let titled = |title: &str, cell: fn(&Condition) -> String| {
        let mut named: Vec<&str> = head.iter().map(String::as_str).collect();
        named[0] = title;
        table(&named, rows(cell))
    };
    let mut text = format!(
        "{}, a life of {}; units at their low tolerance\n\n",
        shown.name,
        years(shown.life)
    );
    text.push_str(&titled("transmit threshold", |condition| {
        format!("{:.3} V", condition.outlook.transmit.get::<volt>())
    }));
    text.push('\n');
    text.push_str(&titled("dark from full", |condition| {
        lasting(condition.outlook.dark_from_full)
    }));
    text.push('\n');
    text.push_str(&titled("dark from threshold", |condition| {
        lasting(condition.outlook.dark_from_transmit)
    }));
    text.push_str(&format!(
        "\ntransmit threshold at the coldest, from the floor, {}, to {}, where charging stops:\n",
        Engineering(lifetime.floor, "V"),
        Engineering(lifetime.overvoltage, "V")
    ));
    for condition in lifetime.conditions.iter().step_by(columns) {
        let above = (condition.outlook.transmit - lifetime.floor) / (lifetime.overvoltage - lifetime.floor);
        let part = above.get::<ratio>().clamp(0.0, 1.0);
        let full = (part * BAR as f64).round() as usize;
        text.push_str(&format!(
            " {:>7} {}{} {:.3} V\n",
            years(shown.life * condition.age),
            "█".repeat(full),
            "░".repeat(BAR - full),
            condition.outlook.transmit.get::<volt>()
        ));
    }
    text.push('\n');
    text.push_str(&regeneration(shown, &years(shown.after)));
    text
}

/// Which constants move, those of the pace table counted.
fn regeneration(shown: &Shown<'_>, when: &str) -> String {
    let moved = &shown.regenerated.moved;
    if moved.is_empty() {
        return format!("sized for {when} alone the constants are the same: nothing to make anew\n");
    }
    let (pace, named): (Vec<_>, Vec<_>) = moved.iter().partition(|moved| moved.name.contains(PACE));
    let number = |value: Option<i64>| value.map_or_else(|| "-".to_owned(), |value| value.to_string());
    let rows = named
        .iter()
        .map(|moved| vec![moved.name.clone(), number(moved.old), number(moved.new)]);
    let mut text = table(
        &["constant", &format!("sized for {when}"), "for the whole life"],
        rows,
    );
    if !pace.is_empty() {
        text.push_str(&format!("and {} of the pace table\n", pace.len()));
    }
    text.push_str(
        "The constants of the node file hold for the whole life. Those in the first column send from less for as long, and then have to be \
         made anew.\n",
    );
    text
}
