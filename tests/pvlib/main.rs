//! Witness: pvlib. The sun's position and the clear sky over a year at five latitudes, and the typical years that come
//! with it, hour by hour.
//!
//! Run with `cargo test -p millpond-tests --test pvlib`. The interpreter is the one named by `MILLPOND_PYTHON`, or else
//! the first `python3` that has pvlib; requirements.txt has the version.

use libtest_mimic::{Arguments, Failed, Trial};
use millpond::income::{Income, clear_sky, sun};
use millpond::node::{Site, Source};
use millpond::record::{self, weather::Weather};
use millpond::units::*;
use millpond_tests::tool::{self, Tool};
use serde::Deserialize;
use serde_json::json;

/// What the sun's elevation may differ by [°]; ten times what the two algorithms state together, and what docs/model.md
/// promises.
const POSITION_DEG: f64 = 0.1;
/// What the clear sky's irradiance may differ by.
const CLEAR_SKY: f64 = 0.01;
/// The same where there is hardly any light [W/m²]: at the horizon the formula changes by percents in the hundredth of
/// a degree to which the sun is known.
const HORIZON_W_M2: f64 = 0.1;
/// What the sum of a typical year may differ by: rounding of some thousand additions.
const SUM: f64 = 1e-9;
/// Equator, tropic, temperate south and north, and beyond the polar circle; longitudes all around.
const SITES: [(f64, f64); 5] = [
    (0.0, 0.0),
    (23.5, 77.0),
    (-33.9, 151.2),
    (53.4, -1.9),
    (68.0, -150.0),
];
/// 29 minutes: every minute of the hour has its turn.
const STEP_S: u32 = 29 * 60;
const YEAR_S: f64 = 365.0 * 86_400.0;
const STATIONS: [&str; 2] = ["703165TY.csv", "723170TYA.CSV"];
const SCRIPT: &str = include_str!("light.py");

#[derive(Deserialize)]
struct Sky {
    zenith_deg: Vec<f64>,
    irradiance_w_m2: Vec<f64>,
}

#[derive(Deserialize)]
struct Hours {
    path: String,
    irradiance_w_m2: Vec<f64>,
}

fn main() {
    let arguments = Arguments::from_args();
    let what = "a python3 with pvlib (pip install --requirement tests/pvlib/requirements.txt, MILLPOND_PYTHON names it)";
    let python = tool::python_with_pvlib();
    tool::announce(python.as_ref(), what);
    let mut trials: Vec<Trial> = Vec::new();
    for (latitude_deg, longitude_deg) in SITES {
        let site = Site {
            latitude_deg,
            longitude_deg,
            shade: fraction(1.0),
        };
        let name = format!("sky at {latitude_deg}");
        trials.push(tool::trial(name, python.as_ref(), what, move |python| {
            check_sky(python, site)
        }));
    }
    for station in STATIONS {
        let name = format!("weather {station}");
        trials.push(tool::trial(name, python.as_ref(), what, move |python| {
            check_weather(python, station)
        }));
    }
    libtest_mimic::run(&arguments, trials).exit();
}

fn check_sky(python: &Tool, site: Site) -> Result<(), Failed> {
    let count = (YEAR_S / f64::from(STEP_S)) as usize;
    let question = json!({"sky": {
        "latitude_deg": site.latitude_deg,
        "longitude_deg": site.longitude_deg,
        "start": format!("{}-01-01", sun::YEAR),
        "step_s": STEP_S,
        "count": count,
    }});
    let sky: Sky = serde_json::from_slice(&python.ask(SCRIPT, &question)?)?;
    if sky.zenith_deg.len() != count || sky.irradiance_w_m2.len() != count {
        return Err("the script gave too few answers".into());
    }
    let mut wrong = Vec::new();
    for (step, (zenith_deg, want_w_m2)) in (0u32..).zip(sky.zenith_deg.iter().zip(&sky.irradiance_w_m2)) {
        let time_s = f64::from(step) * f64::from(STEP_S);
        let elevation_deg = sun::elevation_deg(&site, seconds(time_s));
        let got_w_m2 = clear_sky::irradiance(elevation_deg).get::<watt_per_square_meter>();
        if (90.0 - elevation_deg - zenith_deg).abs() > POSITION_DEG {
            wrong.push(format!(
                "{time_s} s: zenith want {zenith_deg}°, got {}°",
                90.0 - elevation_deg
            ));
        }
        if (got_w_m2 - want_w_m2).abs() > HORIZON_W_M2.max(CLEAR_SKY * want_w_m2) {
            wrong.push(format!(
                "{time_s} s: clear sky want {want_w_m2} W/m², got {got_w_m2} W/m²"
            ));
        }
    }
    let module = Source::Photovoltaic {
        area: square_meters(1.0),
        efficiency: fraction(1.0),
        site,
    };
    let income = Income::of(&module).ok_or("a module has an income")?;
    let (want_j, got_j) = (
        sky.irradiance_w_m2.iter().sum::<f64>() * f64::from(STEP_S),
        energy_j(&income, YEAR_S),
    );
    if (got_j - want_j).abs() > CLEAR_SKY * want_j {
        wrong.push(format!("year: want {want_j} J, got {got_j} J"));
    }
    verdict(wrong)
}

fn check_weather(python: &Tool, station: &str) -> Result<(), Failed> {
    let hours: Hours = serde_json::from_slice(&python.ask(SCRIPT, &json!({"weather": station}))?)?;
    let text = std::fs::read_to_string(&hours.path)?;
    let weather = Weather::read(station, &text).map_err(|problems| problems.to_string())?;
    let mut wrong = Vec::new();
    if weather.hours.len() != hours.irradiance_w_m2.len() {
        wrong.push(format!(
            "want {} hours, got {}",
            hours.irradiance_w_m2.len(),
            weather.hours.len()
        ));
    }
    for (hour, (got, want_w_m2)) in weather.hours.iter().zip(&hours.irradiance_w_m2).enumerate() {
        if got.get::<watt_per_square_meter>() != *want_w_m2 {
            wrong.push(format!(
                "hour {hour}: want {want_w_m2} W/m², got {} W/m²",
                got.get::<watt_per_square_meter>()
            ));
        }
    }
    let site = Site {
        latitude_deg: 0.0,
        longitude_deg: 0.0,
        shade: fraction(1.0),
    };
    let module = Source::Photovoltaic {
        area: square_meters(1.0),
        efficiency: fraction(1.0),
        site,
    };
    let income = record::load(&hours.path, &module)?;
    let (want_j, got_j) = (
        hours.irradiance_w_m2.iter().sum::<f64>() * 3600.0,
        energy_j(&income, YEAR_S),
    );
    if (got_j - want_j).abs() > SUM * want_j {
        wrong.push(format!("year: want {want_j} J, got {got_j} J"));
    }
    verdict(wrong)
}

/// What an income offers from the start until `end_s`.
fn energy_j(income: &Income, end_s: f64) -> f64 {
    let mut start_s = 0.0;
    let mut energy_j = 0.0;
    for segment in income.segments() {
        energy_j += (segment.until_s.min(end_s) - start_s) * segment.power.get::<watt>();
        start_s = segment.until_s;
        if start_s >= end_s {
            break;
        }
    }
    energy_j
}

/// The first of what is wrong, and how much there is.
fn verdict(wrong: Vec<String>) -> Result<(), Failed> {
    if wrong.is_empty() {
        return Ok(());
    }
    Err(format!(
        "{} differences, the first:\n{}",
        wrong.len(),
        wrong[..wrong.len().min(10)].join("\n")
    )
    .into())
}
