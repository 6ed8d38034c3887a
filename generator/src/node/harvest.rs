//! Reads `[harvest]`: the source and its converter.

use toml::Spanned;
use toml::de::DeValue;

use super::limit::Limit;
use super::quantity::show;
use super::supply::pairs;
use super::table::{Given, Table, nearest};
use super::unit::Dimension;
use super::value::{Fault, kind};
use super::{Harvest, Site, Source};
use crate::problem::{Problem, quoted};
use crate::units::*;

/// Days as the file writes them, Monday first.
const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

#[derive(Clone, Copy)]
enum Kind {
    Constant,
    Photovoltaic,
    Indoor,
    Trace,
}

/// The harvest with what later checks point at.
pub(super) struct HarvestRead {
    pub(super) harvest: Option<Harvest>,
    /// Terminal voltage at which charging stops, where it is written.
    pub(super) overvoltage: Option<Given<Voltage>>,
}

/// Reads the harvest.
pub(super) fn read(root: &mut Table<'_>) -> HarvestRead {
    let Some(mut table) = root.table("harvest") else {
        return HarvestRead { harvest: None, overvoltage: None };
    };
    let kinds = [
        ("constant", Kind::Constant),
        ("photovoltaic", Kind::Photovoltaic),
        ("indoor", Kind::Indoor),
        ("trace", Kind::Trace),
    ];
    let kind = table.choice("kind", &kinds, None);
    let converter_efficiency = table.required::<Ratio>("converter_efficiency", "80 %", Limit::PART);
    let overvoltage = table.required::<Voltage>("overvoltage", "5.3 V", Limit::POSITIVE);
    let maximum_current = table.required::<Current>("maximum_current", "4 mA", Limit::POSITIVE);
    let (cold_start, cold_start_efficiency);
    if table.has("cold_start") || table.has("cold_start_efficiency") {
        cold_start = table.required::<Voltage>("cold_start", "1.8 V", Limit::NOT_NEGATIVE);
        let share = table.required::<Ratio>("cold_start_efficiency", "5 %", Limit::PART_OR_NOTHING);
        cold_start_efficiency = share.map(|given| given.value);
    } else {
        table.or::<Voltage>("cold_start", "1.8 V", Limit::NOT_NEGATIVE, volts(0.0));
        table.or::<Ratio>("cold_start_efficiency", "5 %", Limit::PART_OR_NOTHING, fraction(1.0));
        cold_start = Some(Given { value: volts(0.0), span: table.span.clone() });
        cold_start_efficiency = converter_efficiency.as_ref().map(|given| given.value);
    }
    if let (Some(cold), Some(over)) = (&cold_start, &overvoltage)
        && cold.value >= over.value
    {
        table.log().note(
            Problem::new(
                cold.span.clone(),
                "the converter would never leave its cold start",
                format!("below the overvoltage, {}", show(Dimension::Voltage, over.value.get::<volt>())),
                "lower `cold_start`, or raise `overvoltage`",
            )
            .with(&over.span, "charging stops here"),
        );
    }
    let source = kind.and_then(|kind| read_source(&mut table, kind.value));
    table.finish();
    let harvest = (|| {
        Some(Harvest {
            source: source?,
            converter_efficiency: converter_efficiency?.value,
            overvoltage: overvoltage.as_ref()?.value,
            maximum_current: maximum_current?.value,
            cold_start: cold_start?.value,
            cold_start_efficiency: cold_start_efficiency?,
        })
    })();
    HarvestRead { harvest, overvoltage }
}

fn read_source(table: &mut Table<'_>, kind: Kind) -> Option<Source> {
    match kind {
        Kind::Constant => {
            table.foreign(
                &["area", "efficiency", "site", "power_density", "schedule", "closed_days"],
                "a constant source has `power` alone",
            );
            let power = table.required::<Power>("power", "900 uW", Limit::NOT_NEGATIVE)?;
            Some(Source::Constant { power: power.value })
        }
        Kind::Trace => {
            table.foreign(
                &["power", "area", "efficiency", "site", "power_density", "schedule", "closed_days"],
                "the trace given to the simulation says it all",
            );
            Some(Source::Trace)
        }
        Kind::Photovoltaic => {
            table.foreign(&["power"], "the power follows from area, efficiency and site");
            table.foreign(&["power_density", "schedule", "closed_days"], "belongs to kind = \"indoor\"");
            let area = table.required::<Area>("area", "30 cm2", Limit::POSITIVE);
            let efficiency = table.required::<Ratio>("efficiency", "7 %", Limit::PART);
            let site = table.table("site").and_then(read_site);
            Some(Source::Photovoltaic { area: area?.value, efficiency: efficiency?.value, site: site? })
        }
        Kind::Indoor => {
            table.foreign(&["power"], "the power follows from area, light and `power_density`");
            table.foreign(&["efficiency"], "`power_density` says what the cell gives in its light");
            table.foreign(&["site"], "belongs to kind = \"photovoltaic\"");
            let area = table.required::<Area>("area", "8 cm2", Limit::POSITIVE);
            let example = "[[\"200 lx\", \"6 uW/cm2\"]]";
            let power_density = table.raw("power_density", Some(example)).and_then(|value| {
                let limit = Limit::NOT_NEGATIVE;
                pairs(table, "power_density", value, limit, limit, ("200 lx", "6 uW/cm2"))
            });
            let schedule = table.raw("schedule", Some("[[\"09:30\", \"180 lx\"]]"));
            let schedule = schedule.and_then(|value| read_schedule(table, value));
            let closed = table.raw("closed_days", None);
            let closed_days = closed.map_or_else(|| Some(Vec::new()), |value| read_closed_days(table, value));
            Some(Source::Indoor {
                area: area?.value,
                power_density: power_density?,
                schedule: schedule?,
                closed_days: closed_days?,
            })
        }
    }
}

fn read_site(mut table: Table<'_>) -> Option<Site> {
    let latitude = table.required::<f64>("latitude", "53.4", -90.0..=90.0);
    let longitude = table.required::<f64>("longitude", "-1.9", -180.0..=180.0);
    let shade = table.or::<Ratio>("shade", "4 %", Limit::PART_OR_NOTHING, fraction(1.0));
    table.finish();
    Some(Site { latitude_deg: latitude?.value, longitude_deg: longitude?.value, shade: shade? })
}

fn read_schedule(table: &Table<'_>, value: &Spanned<DeValue<'_>>) -> Option<Vec<(Time, Illuminance)>> {
    use super::value::Read;
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
            table.note(&item.span(), "an entry of `schedule` is not a pair", expected, cure);
            sound = false;
            continue;
        };
        let time = from.get_ref().as_str().and_then(time_of_day);
        if time.is_none() {
            let shown = from.get_ref().as_str().map_or_else(|| kind(from.get_ref()).to_string(), quoted);
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
    let number = |part: &str, below: u32| part.parse::<u32>().ok().filter(|number| digits(part) && *number < below);
    let minutes_of_day = number(hours, 24)? * 60 + number(minutes, 60)?;
    Some(seconds(f64::from(minutes_of_day * 60)))
}

fn read_closed_days(table: &Table<'_>, value: &Spanned<DeValue<'_>>) -> Option<Vec<u32>> {
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
        let day = (0u32..).zip(DAYS).find(|(_, day)| *day == name).map(|(number, _)| number);
        match day {
            Some(day) if days.contains(&day) => {
                table.note(&item.span(), format!("{name} stands twice"), "each day once", "remove it");
                sound = false;
            }
            Some(day) => days.push(day),
            None => {
                let start: String = name.chars().take(3).collect();
                let cure = match nearest(&start, DAYS.into_iter()) {
                    Some(known) => format!("did you mean \"{known}\"?"),
                    None => format!("write one of {}", DAYS.join(", ")),
                };
                table.note(&item.span(), format!("no such day: {}", quoted(name)), expected, cure);
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
