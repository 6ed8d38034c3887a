use std::fs;

use super::*;
use proptest::prelude::*;

use crate::input::Unreadable;
use crate::node::Site;
use crate::units::*;

/// Rounding of some hundredths of a watt.
const ROUNDING_W: f64 = 1e-15;
/// Times of up to 1e6 s are written to 1e-10 s.
const WRITTEN: f64 = 1e-7;

fn module() -> Source {
    let site = Site {
        latitude_deg: 53.4,
        longitude_deg: -1.9,
        shade: fraction(0.5),
    };
    Source::Photovoltaic {
        area: square_meters(0.01),
        efficiency: fraction(0.1),
        site,
    }
}

fn cell() -> Source {
    Source::Indoor {
        area: square_meters(0.001),
        power_density: vec![(luxes(200.0), watts_per_square_meter(0.06))],
        schedule: vec![(seconds(0.0), luxes(100.0))],
        closed_days: Vec::new(),
    }
}

/// The first pieces as plain numbers.
fn pieces(income: &Income, count: usize) -> Vec<(f64, f64)> {
    income
        .segments()
        .take(count)
        .map(|segment| (segment.until_s, segment.power.get::<watt>()))
        .collect()
}

fn trace(text: &str) -> Income {
    parse("trace.csv", text, &Source::Trace).unwrap_or_else(|problems| panic!("{problems}"))
}

fn message(text: &str, source: &Source) -> String {
    parse("trace.csv", text, source)
        .expect_err("a trace with faults")
        .render(false)
}

#[test]
fn what_never_changes_has_no_end() {
    let constant = Income::of(&Source::Constant { power: watts(1e-3) }).expect("a constant");
    assert_eq!(pieces(&constant, 3), [(f64::INFINITY, 1e-3)]);
    let level = trace("time_s,power_w\n0,2\n10,2\n20,2\n");
    assert_eq!(pieces(&level, 3), [(f64::INFINITY, 2.0)]);
}

#[test]
fn rows_hold_until_the_next_and_the_whole_repeats() {
    // Steps of 10, 20 and 10 s: the median is 10 s, the period 40 + 10 − 0 = 50 s.
    let income = trace("time_s,power_w\n100,1\n110,2\n130,0\n140,3\n");
    let expected = [
        (10.0, 1.0),
        (30.0, 2.0),
        (40.0, 0.0),
        (50.0, 3.0),
        (60.0, 1.0),
        (80.0, 2.0),
        (90.0, 0.0),
        (100.0, 3.0),
    ];
    assert_eq!(pieces(&income, 8), expected);
}

#[test]
fn equal_neighbours_are_one_piece_over_the_seam_too() {
    let income = trace("time_s,power_w\n0,0\n10,0\n20,5\n30,0\n");
    assert_eq!(
        pieces(&income, 4),
        [(20.0, 0.0), (30.0, 5.0), (60.0, 0.0), (70.0, 5.0)]
    );
}

#[test]
fn marks_comments_blanks_quotes_and_line_ends_do_not_matter() {
    let plain = trace("time_s,power_w\n0,1\n60,2\n120,3\n");
    let dressed =
        "\u{feff}# lab 3\r\n\r\n\"time_s\", power_w \r\n0,1\r\n# note\r\n \"60\" ,2e0\r\n\r\n120,+3.0";
    // A quote is one only at the very start of a cell.
    let dressed = dressed.replace(" \"60\" ", "\"60\"");
    assert_eq!(trace(&dressed), plain);
    let calendar =
        "time,power_w\n2018-06-21T23:59:00Z,1\n2018-06-22T02:00:00+02:00,2\n2018-06-22T00:01:00.000Z,3\n";
    assert_eq!(trace(calendar), plain);
}

#[test]
fn light_becomes_power_by_the_node() {
    let sun = parse("sun.csv", "time_s,irradiance_w_m2\n0,1000\n60,0\n", &module()).expect("a module");
    assert_eq!(pieces(&sun, 2), [(60.0, 1.0), (120.0, 0.0)]);
    let lamp = parse("lamp.csv", "time_s,illuminance_lx\n0,400\n60,0\n", &cell()).expect("a cell");
    assert_eq!(pieces(&lamp, 2), [(60.0, 0.12 * 0.001), (120.0, 0.0)]);
    for (column, source, needed) in [
        ("irradiance_w_m2", cell(), "no solar module"),
        ("illuminance_lx", module(), "no cell for indoor light"),
        ("irradiance_w_m2", Source::Trace, "no solar module"),
        (
            "illuminance_lx",
            Source::Constant { power: watts(1.0) },
            "no cell for indoor light",
        ),
    ] {
        // The rows' own faults come in the same run.
        let message = message(&format!("time_s,{column}\n0,1\n60,much\n"), &source);
        assert!(
            message.contains(needed) && message.contains("trace.csv:1:8"),
            "{message}"
        );
        assert!(
            message.contains("trace.csv:3:4") && message.contains("2 problems"),
            "{message}"
        );
    }
}

#[test]
fn all_faults_come_in_one_run_with_their_places() {
    let text = "# log\ntime_s,power_w\n0,1\n60,1\n60,1\n30,1\n120,-1\n180,NaN\n240,inf\n300,\n360\nsoon,1\n1e99,1\n420,1\n480,1\n";
    let message = message(text, &Source::Trace);
    for (place, title) in [
        ("trace.csv:5:1", "the same time stands twice"),
        ("trace.csv:6:1", "time goes back"),
        ("trace.csv:7:5", "the power is negative"),
        ("trace.csv:8:5", "the power is not a number: NaN"),
        ("trace.csv:9:5", "the power is too large: inf"),
        ("trace.csv:10:5", "the power is missing"),
        ("trace.csv:11:1", "a row of the trace has 1 cell"),
        ("trace.csv:12:1", "the time is not a number: soon"),
        ("trace.csv:13:1", "the time is too large: 1e99"),
    ] {
        assert!(
            message.contains(place) && message.contains(title),
            "{place} {title} in\n{message}"
        );
    }
    assert!(message.ends_with("trace.csv: refused, 9 problems\n"), "{message}");
    assert!(
        message.contains("6 | 30,1\n  | ^^ later than the row before it"),
        "{message}"
    );
}

#[test]
fn gaps_are_named_with_their_line() {
    // The median step is 60 s: a step of 180 s is bridged, one of 181 s is a gap.
    let bridged = "time_s,power_w\n0,1\n60,1\n120,2\n300,3\n360,4\n420,5\n";
    assert_eq!(pieces(&trace(bridged), 2)[1], (300.0, 2.0));
    let message = message(&bridged.replace("300,3", "301,3"), &Source::Trace);
    assert!(
        message.contains("trace.csv:5:1") && message.contains("rows are missing: 181 s since"),
        "{message}"
    );
    assert!(message.ends_with("refused, 1 problem\n"), "{message}");
}

#[test]
fn headers_that_say_nothing_are_refused() {
    for text in [
        "",
        "\u{feff}",
        "# only a comment\n",
        "0,1\n60,2\n",
        "time_s\n0\n60\n",
        "power_w,time_s\n1,0\n2,60\n",
        "time_s,power_w,note\n0,1,a\n60,2,b\n",
        "time_s,power_mw\n0,1\n60,2\n",
        "time_s,power_w\n",
        "time_s,power_w\n0,1\n",
        "time,power_w\n2018-06-21T12:00:00,1\n2018-06-21T12:01:00,2\n",
        "time_s,power_w\n0;1\n60;2\n",
        "time_s,power_w\n0,0,5\n60,0,7\n",
    ] {
        let refused = parse("trace.csv", text, &Source::Trace).expect_err(text);
        assert!(!refused.list.is_empty());
    }
}

#[test]
fn a_file_of_garbage_is_not_read_to_its_end() {
    let text = format!("time_s,power_w\n{}", "what,ever\n".repeat(100_000));
    let refused = parse("trace.csv", &text, &Source::Trace).expect_err("words are no numbers");
    // Two faults in a row: reading stops at the 501st.
    assert_eq!(refused.list.len(), 1001);
    assert!(refused.list[1000].title.contains("reading stopped here"));
}

#[test]
fn files_that_cannot_be_read_say_why() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("trace.csv");
    assert!(matches!(
        load(&path, &Source::Trace),
        Err(LoadError::Unreadable { .. })
    ));
    fs::write(&path, b"time_s,power_w\n0,1\n60,\xb5\n").expect("a file");
    assert!(matches!(
        load(&path, &Source::Trace),
        Err(LoadError::Unreadable {
            why: Unreadable::NotText { offset: 22 },
            ..
        })
    ));
    fs::File::create(&path)
        .and_then(|file| file.set_len(LIMIT.most_bytes + 1))
        .expect("a sparse file");
    assert!(matches!(
        load(&path, &Source::Trace),
        Err(LoadError::Unreadable {
            why: Unreadable::TooLarge { .. },
            ..
        })
    ));
    fs::write(&path, "time_s,power_w\n0,1\n60,2\n").expect("a file");
    assert_eq!(
        pieces(&load(&path, &Source::Trace).expect("a trace"), 1),
        [(60.0, 1.0)]
    );
}

/// Excerpt of the typical year of station 703165 (National Renewable Energy Laboratory, public domain), columns cut.
const WEATHER: &str = "703165,\"SAND POINT\",AK,-9.0,55.317,-160.517,7
Date (MM/DD/YYYY),Time (HH:MM),ETR (W/m^2),ETRN (W/m^2),GHI (W/m^2),GHI source
01/31/1997,23:00,0,0,0,1
01/31/1997,24:00,0,0,0,1
02/01/2005,01:00,0,0,0,1
02/01/2005,02:00,0,0,50,1
02/01/2005,03:00,0,0,120,1
";

#[test]
fn a_weather_file_is_known_by_its_layout() {
    // 100 cm², 10 %, half shaded: 50 W/m² become 25 mW.
    let income = parse("sand-point.csv", WEATHER, &module()).expect("an excerpt");
    let hour = 3600.0;
    let got = pieces(&income, 3);
    assert_eq!(
        got.iter().map(|piece| piece.0).collect::<Vec<_>>(),
        [3.0 * hour, 4.0 * hour, 5.0 * hour]
    );
    for (got, expected_w) in got.iter().zip([0.0, 0.025, 0.060]) {
        assert!((got.1 - expected_w).abs() < ROUNDING_W);
    }
    let refused = message(WEATHER, &cell());
    assert!(
        refused.contains("no solar module") && refused.contains("trace.csv:2:57"),
        "{refused}"
    );
}

#[test]
fn midnight_may_be_the_start_of_the_next_day() {
    let other = WEATHER.replace("01/31/1997,24:00", "02/01/1997,00:00");
    assert_eq!(
        weather::Weather::read("w", &other),
        weather::Weather::read("w", WEATHER)
    );
    // The end of December, written either way, is followed by the first hour of January.
    let header: String = WEATHER.split_inclusive('\n').take(2).collect();
    for midnight in ["12/31/1998,24:00", "01/01/1999,00:00"] {
        let seam =
            format!("{header}12/31/1998,23:00,0,0,0,1\n{midnight},0,0,0,1\n01/01/1997,01:00,0,0,0,1\n");
        assert_eq!(weather::Weather::read("w", &seam).expect("a seam").hours.len(), 3);
    }
}

#[test]
fn weather_that_is_not_whole_says_its_lines() {
    for (from, to, place, title) in [
        (
            "02/01/2005,01:00",
            "02/01/2005,05:00",
            "trace.csv:5:12",
            "hours are missing",
        ),
        (
            "02/01/2005,02:00",
            "02/01/2005,01:00",
            "trace.csv:6:12",
            "the same hour stands twice",
        ),
        (
            "02/01/2005,03:00",
            "02/29/2004,03:00",
            "trace.csv:7:1",
            "not a day of a typical year",
        ),
        (
            "02/01/2005,03:00",
            "02/01/2005,03:30",
            "trace.csv:7:12",
            "not the end of an hour",
        ),
        (",50,", ",-9900,", "trace.csv:6:22", "marked as missing"),
        (",50,", ",,", "trace.csv:6:22", "the irradiance is missing"),
        ("GHI (W/m^2)", "GHI", "trace.csv:2:1", "no column `GHI (W/m^2)`"),
    ] {
        let message = message(&WEATHER.replacen(from, to, 1), &module());
        assert!(
            message.contains(place) && message.contains(title),
            "{place} {title} in\n{message}"
        );
    }
    let header: String = WEATHER.split_inclusive('\n').take(2).collect();
    assert!(message(&header, &module()).contains("no hours"));
    assert!(weather::Weather::read("w", "").is_err());
}

#[test]
fn a_year_in_a_few_milliseconds_and_a_million_rows_in_well_under_a_second() {
    // The machine may be at work on other things: ten times what they take on a quiet one.
    let started = std::time::Instant::now();
    let year = Income::of(&module()).expect("a module");
    let count = year
        .segments()
        .take_while(|segment| segment.until_s < 366.0 * 86_400.0)
        .count();
    assert!(count > 20_000, "half of the year is light: {count}");
    assert!(started.elapsed().as_secs_f64() < 0.1, "{:?}", started.elapsed());
    let mut text = String::from("time_s,power_w\n");
    for row in 0..1_000_000u32 {
        text.push_str(&format!("{},{}e-6\n", f64::from(row) * 0.1, row % 1000));
    }
    let started = std::time::Instant::now();
    assert_eq!(trace(&text).segments().take(1_000_000).count(), 1_000_000);
    assert!(started.elapsed().as_secs_f64() < 2.0, "{:?}", started.elapsed());
}

proptest! {
    #[test]
    fn ends_rise_and_energy_repeats(
        steps in prop::collection::vec((0.5f64..1.5, prop::sample::select(vec![0.0, 1.0, 2.5])), 2..60), start_s in -1e6f64..1e6,
    ) {
        let mut time_s = start_s;
        let mut text = String::from("time_s,power_w\n");
        for (step_s, power_w) in &steps {
            text.push_str(&format!("{time_s},{power_w}\n"));
            time_s += step_s;
        }
        let income = trace(&text);
        let mut lengths: Vec<f64> = steps[..steps.len() - 1].iter().map(|(step_s, _)| *step_s).collect();
        let mut sorted = lengths.clone();
        sorted.sort_by(f64::total_cmp);
        let half = sorted.len() / 2;
        lengths.push(if sorted.len() % 2 == 1 { sorted[half] } else { (sorted[half - 1] + sorted[half]) / 2.0 });
        let period_s: f64 = lengths.iter().sum();
        let round_j: f64 = lengths.iter().zip(&steps).map(|(length_s, (_, power_w))| length_s * power_w).sum();
        let (mut now_s, mut energy_j, mut power) = (0.0, 0.0, None);
        let end_s = 5.0 * period_s;
        for segment in income.segments() {
            prop_assert!(segment.until_s > now_s);
            prop_assert!(power != Some(segment.power), "neighbours differ");
            power = Some(segment.power);
            energy_j += (segment.until_s.min(end_s) - now_s) * segment.power.get::<watt>();
            now_s = segment.until_s;
            if now_s >= end_s {
                break;
            }
        }
        prop_assert!((energy_j - 5.0 * round_j).abs() <= WRITTEN * (1.0 + round_j), "{energy_j} {round_j}");
    }

    #[test]
    fn any_text_is_answered(
        text in "(\u{feff}?(time_s|time),(power_w|irradiance_w_m2)\r?\n|x\nDate \\(MM/DD/YYYY\\),Time \\(HH:MM\\),GHI \\(W/m\\^2\\)\n)?([-0-9.,/:\"#\r\n eTZ]|\\PC){0,80}",
    ) {
        if let Err(problems) = parse("any.csv", &text, &module()) {
            prop_assert!(problems.render(false).contains("refused"));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20))]

    #[test]
    fn the_same_source_offers_the_same(latitude in -90.0f64..90.0, longitude in -180.0f64..180.0) {
        let site = Site { latitude_deg: latitude, longitude_deg: longitude, shade: fraction(0.1) };
        let source = Source::Photovoltaic { area: square_meters(0.01), efficiency: fraction(0.1), site };
        let income = Income::of(&source).expect("a module");
        prop_assert_eq!(&income, &Income::of(&source).expect("a module"));
        let year: Vec<f64> = income.segments().map(|s| s.until_s).take_while(|end| *end < 730.0 * 86_400.0).collect();
        prop_assert!(year.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
