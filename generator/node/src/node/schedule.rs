//! Reads the light of an indoor source: illuminance over the time of day, and the days on which it stays dark.

use toml::Spanned;
use toml::de::DeValue;

use super::limit::Limit;
use super::nearest_key::nearest;
use super::table::Table;
use super::value::{Fault, Read, kind};
use crate::problem::quoted;
use crate::units::*;

/// Days as the file writes them, Monday first.
const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// Reads the illuminance over the time of day.
pub(super) fn read_schedule(
    table: &Table<'_>,
    value: &Spanned<DeValue<'_>>,
) -> Option<Vec<(Time, Illuminance)>> {
    let expected = "a list of pairs such as [\"09:30\", \"180 lx\"]";
    let cure = "write schedule = [[\"09:30\", \"180 lx\"], [\"17:30\", \"0 lx\"]]";
    let Some(items) = value.get_ref().as_array().filter(|items| !items.is_empty()) else {
        let title = match value.get_ref() {
            DeValue::Array(_) => "`schedule` is empty".to_string(),
            other => format!("`schedule` is {}", kind(other)),
        };
        table.note(&value.span(), title, expected, cure);
        return None;
    };
    let mut entries: Vec<(Time, Illuminance)> = Vec::new();
    let mut sound = true;
    for item in items.iter() {
        let Some([from, light]) = item.get_ref().as_array().map(|pair| &pair[..]) else {
            table.note(
                &item.span(),
                "an entry of `schedule` is not a pair",
                expected,
                cure,
            );
            sound = false;
            continue;
        };
        let time = from.get_ref().as_str().and_then(time_of_day);
        if time.is_none() {
            let shown = from
                .get_ref()
                .as_str()
                .map_or_else(|| kind(from.get_ref()).to_string(), quoted);
            let title = format!("`schedule` has no time of day here: {shown}");
            let cure = "write hours and minutes in quotes, such as \"09:30\"";
            table.note(&from.span(), title, "\"00:00\" to \"23:59\"", cure);
        }
        let light = Illuminance::read("schedule", light.get_ref(), &Limit::NOT_NEGATIVE, "180 lx")
            .map_err(|fault: Fault| table.fault(light.span(), fault))
            .ok();
        let (Some(time), Some(light)) = (time, light) else {
            sound = false;
            continue;
        };
        if entries.last().is_some_and(|(before, _)| time <= *before) {
            table.note(
                &from.span(),
                "`schedule` is out of order",
                "later than the entry before it",
                "sort the entries by time of day and keep each time once; the last one holds past midnight",
            );
            sound = false;
        }
        entries.push((time, light));
    }
    Some(entries).filter(|_| sound)
}

/// "09:30" as the time since midnight.
fn time_of_day(text: &str) -> Option<Time> {
    let (hours, minutes) = text.split_once(':')?;
    let digits = |part: &str| part.len() == 2 && part.bytes().all(|byte| byte.is_ascii_digit());
    let number = |part: &str, below: u32| {
        part.parse::<u32>()
            .ok()
            .filter(|number| digits(part) && *number < below)
    };
    let minutes_of_day = number(hours, 24)? * 60 + number(minutes, 60)?;
    Some(seconds(f64::from(minutes_of_day * 60)))
}

/// Reads the days on which it stays dark, Monday = 0, in rising order.
pub(super) fn read_closed_days(table: &Table<'_>, value: &Spanned<DeValue<'_>>) -> Option<Vec<u32>> {
    let expected = "a list of days such as [\"Sat\", \"Sun\"]";
    let Some(items) = value.get_ref().as_array() else {
        let title = format!("`closed_days` is {}", kind(value.get_ref()));
        table.note(&value.span(), title, expected, "write closed_days = [\"Mon\"]");
        return None;
    };
    let mut days = Vec::new();
    let mut sound = true;
    for item in items.iter() {
        let name = item.get_ref().as_str().unwrap_or_default();
        let day = (0u32..)
            .zip(DAYS)
            .find(|(_, day)| *day == name)
            .map(|(number, _)| number);
        match day {
            Some(day) if days.contains(&day) => {
                table.note(
                    &item.span(),
                    format!("{name} stands twice"),
                    "each day once",
                    "remove it",
                );
                sound = false;
            }
            Some(day) => days.push(day),
            None => {
                let start: String = name.chars().take(3).collect();
                let cure = match nearest(&start, DAYS.into_iter()) {
                    Some(known) => format!("did you mean \"{known}\"?"),
                    None => format!("write one of {}", DAYS.join(", ")),
                };
                table.note(
                    &item.span(),
                    format!("no such day: {}", quoted(name)),
                    expected,
                    cure,
                );
                sound = false;
            }
        }
    }
    if sound && days.len() == DAYS.len() {
        table.note(
            &value.span(),
            "every day of the week is closed",
            "at least one day with light",
            "remove the days on which the lamps are on",
        );
        return None;
    }
    days.sort_unstable();
    Some(days).filter(|_| sound)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_of_day_are_two_digits_each() {
        assert_eq!(time_of_day("09:30"), Some(seconds(34_200.0)));
        assert_eq!(time_of_day("00:00"), Some(seconds(0.0)));
        for text in ["9:30", "24:00", "12:60", "12", "+1:00", "12:00:00", "ab:cd", ""] {
            assert_eq!(time_of_day(text), None, "{text}");
        }
    }
}
