//! Reads `[harvest]`: the source and its converter.

use super::limit::Limit;
use super::pairs::pairs;
use super::quantity::show;
use super::schedule::{read_closed_days, read_schedule};
use super::table::{Given, Table};
use super::unit::Dimension;
use super::{Harvest, Site, Source};
use crate::problem::Problem;
use crate::units::*;

/// Firmware counts millivolts in sixteen bits (V).
const MOST_OVERVOLTAGE_V: f64 = 65.535;

/// Keys of all kinds of source; the first is that of a constant one.
const SOURCE_KEYS: [&str; 7] = [
    "power",
    "area",
    "efficiency",
    "site",
    "power_density",
    "schedule",
    "closed_days",
];

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
        return HarvestRead {
            harvest: None,
            overvoltage: None,
        };
    };
    let kinds = [
        ("constant", Kind::Constant),
        ("photovoltaic", Kind::Photovoltaic),
        ("indoor", Kind::Indoor),
        ("trace", Kind::Trace),
    ];
    let kind = table.choice("kind", &kinds, None);
    let converter_efficiency = table.required::<Ratio>("converter_efficiency", "80 %", Limit::PART);
    let overvoltage =
        table.required::<Voltage>("overvoltage", "5.3 V", Limit::POSITIVE.up_to(MOST_OVERVOLTAGE_V));
    let maximum_current = table.required::<Current>("maximum_current", "4 mA", Limit::POSITIVE);
    let (cold_start, cold_start_efficiency);
    if table.has("cold_start") || table.has("cold_start_efficiency") {
        cold_start = table.required::<Voltage>("cold_start", "1.8 V", Limit::NOT_NEGATIVE);
        let share = table.required::<Ratio>("cold_start_efficiency", "5 %", Limit::PART_OR_NOTHING);
        cold_start_efficiency = share.map(|given| given.value);
    } else {
        table.or::<Voltage>("cold_start", "1.8 V", Limit::NOT_NEGATIVE, volts(0.0));
        table.or::<Ratio>(
            "cold_start_efficiency",
            "5 %",
            Limit::PART_OR_NOTHING,
            fraction(1.0),
        );
        cold_start = Some(Given {
            value: volts(0.0),
            span: table.span.clone(),
        });
        cold_start_efficiency = converter_efficiency.as_ref().map(|given| given.value);
    }
    if let (Some(cold), Some(over)) = (&cold_start, &overvoltage)
        && cold.value >= over.value
    {
        table.log().note(
            Problem::new(
                cold.span.clone(),
                "the converter would never leave its cold start",
                format!(
                    "below the overvoltage, {}",
                    show(Dimension::Voltage, over.value.get::<volt>())
                ),
                "lower `cold_start`, or raise `overvoltage`",
            )
            .with(&over.span, "charging stops here"),
        );
    }
    let source = match kind {
        None => {
            // Which keys belong is not known; none of them is called unknown.
            SOURCE_KEYS.iter().for_each(|key| table.know(key));
            None
        }
        Some(kind) => read_source(&mut table, kind.value),
    };
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
            table.foreign(&SOURCE_KEYS[1..], "a constant source has `power` alone");
            let power = table.required::<Power>("power", "900 uW", Limit::NOT_NEGATIVE)?;
            Some(Source::Constant { power: power.value })
        }
        Kind::Trace => {
            table.foreign(&SOURCE_KEYS, "the trace given to the simulation says it all");
            Some(Source::Trace)
        }
        Kind::Photovoltaic => {
            table.foreign(&["power"], "the power follows from area, efficiency and site");
            table.foreign(
                &["power_density", "schedule", "closed_days"],
                "belongs to kind = \"indoor\"",
            );
            let area = table.required::<Area>("area", "30 cm2", Limit::POSITIVE);
            let efficiency = table.required::<Ratio>("efficiency", "7 %", Limit::PART);
            let site = table.table("site").and_then(read_site);
            Some(Source::Photovoltaic {
                area: area?.value,
                efficiency: efficiency?.value,
                site: site?,
            })
        }
        Kind::Indoor => {
            table.foreign(
                &["power"],
                "the power follows from area, light and `power_density`",
            );
            table.foreign(
                &["efficiency"],
                "`power_density` says what the cell gives in its light",
            );
            table.foreign(&["site"], "belongs to kind = \"photovoltaic\"");
            let area = table.required::<Area>("area", "8 cm2", Limit::POSITIVE);
            let example = "[[\"200 lx\", \"6 uW/cm2\"]]";
            let power_density = table.raw("power_density", Some(example)).and_then(|value| {
                let limit = Limit::NOT_NEGATIVE;
                pairs(
                    table,
                    "power_density",
                    value,
                    limit,
                    limit,
                    ("200 lx", "6 uW/cm2"),
                )
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
    Some(Site {
        latitude_deg: latitude?.value,
        longitude_deg: longitude?.value,
        shade: shade?,
    })
}
