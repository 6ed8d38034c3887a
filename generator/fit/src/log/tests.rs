use proptest::prelude::*;

use super::*;

fn log(text: &str) -> Log {
    Log::parse("bench.csv", text).expect("a log")
}

fn refusal(text: &str) -> String {
    Log::parse("bench.csv", text).expect_err("no log").render(false)
}

/// Mark, separators, line ends, quotes, decimal commas, comments and empty cells: the same log each time.
#[test]
fn the_form_of_the_file_does_not_matter() {
    let plain = log("time_s,storage_mv,count\n0,4000.5,0\n60,,1\n120,3990,2\n");
    for text in [
        "\u{feff}time_s,storage_mv,count\r\n0,4000.5,0\r\n60,,1\r\n120,3990,2\r\n",
        "time_s;storage_mv;count\n0;4000,5;0\n60;;1\n120;3990;2\n",
        "# bench\n\nTime_s\tStorage_mV\tcount\n 0\t4000.5\t0\n60\t\t1\n# pause\n120\t3990\t2",
        "\"time_s\",\"note\",\"storage_v\",\"count\"\n\"0\",a,\"4.0005\",0\n60,b,,1\n120,c,3.99,2\n",
    ] {
        let other = log(text);
        assert_eq!(
            (&other.time_s, &other.count),
            (&plain.time_s, &plain.count),
            "{text}"
        );
        assert_eq!(other.storage_mv[0], plain.storage_mv[0], "{text}");
        assert!(other.storage_mv[1].is_nan());
    }
}

#[test]
fn events_are_read_and_other_words_passed_over() {
    let log = log("time_s,event\n0,start\n1,Transmit\n2,lunch\n3,\n");
    assert_eq!(log.event, [Some(Event::Start), Some(Event::Transmit), None, None]);
    let (line, reason) = &log.skipped_events[0];
    assert_eq!((log.skipped, log.skipped_events.len(), *line), (0, 1, 4));
    assert_eq!(reason, "`lunch` is none of start, measure, transmit, wait, cut");
}

/// A node that says `tx` for `transmit` would be one that never reports: each word is named once, with its first line.
#[test]
fn words_that_are_not_known_are_named() {
    let log = log("time_s,event\n0,start\n1,\"tx\"\n2,nap\n3,TX\n4,nap\n5,nap\n6,lunch\n");
    let said: Vec<String> = log
        .skipped_events
        .iter()
        .map(|(line, what)| format!("{line}: {what}"))
        .collect();
    let known = "is none of start, measure, transmit, wait, cut";
    assert_eq!(
        said,
        [
            format!("3: `tx`, in 2 rows, {known}"),
            format!("4: `nap`, in 3 rows, {known}"),
            format!("8: `lunch` {known}")
        ]
    );
}

/// Times with an offset go on over the change of the clocks; times without one are refused there, with the line.
#[test]
fn the_change_of_the_clocks_is_handled_or_refused() {
    let with_offset = log(
        "time,count\n2018-10-28T02:59:30+02:00,1\n2018-10-28T02:00:00+01:00,2\n2018-10-28T02:00:30+01:00,3\n",
    );
    assert_eq!(with_offset.time_s, [0.0, 30.0, 60.0]);
    let back = "time,count\n2018-10-28 02:59:00,1\n2018-10-28 02:59:30,1\n2018-10-28 02:00:00,2\n2018-10-28 02:00:30,3\n";
    let message = refusal(back);
    assert!(
        message.contains("bench.csv:4") && message.contains("daylight"),
        "{message}"
    );
    let forward = "time,count\n2018-03-25 01:59:00,1\n2018-03-25 01:59:30,1\n2018-03-25 03:00:00,2\n2018-03-25 03:00:30,3\n";
    let message = refusal(forward);
    assert!(
        message.contains("bench.csv:4") && message.contains("daylight"),
        "{message}"
    );
    let plain = log("time,count\n2018-03-25 01:59:00,1\n2018-03-25 01:59:30,1\n2018-03-25 02:00:00,2\n");
    assert_eq!(plain.time_s, [0.0, 30.0, 60.0]);
}

#[test]
fn both_times_are_kept_apart() {
    let log = log("time,time_s,count\n2018-01-01T00:00:00Z,5,0\n2018-01-01T00:01:00Z,65.6,1\n");
    assert_eq!((log.time_s, log.clock_s), (vec![0.0, 60.0], vec![5.0, 65.6]));
}

#[test]
fn rows_of_no_use_are_counted_with_their_line() {
    let log = log(
        "time_s,storage_mv,count\n0,4000,0\n1,four,0\n2,4000,-1\n,4000,1\n3,NaN,1\n4,4000,1.5\n99999,1,1\n5,4000,1\n6,4000,1\n5.5,4000,1\n7,1,1\n8,1,1\n9,1,1\n10,1,1\n11,65535,1\n12,65534,1\n",
    );
    assert_eq!(log.time_s, [0.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0]);
    let lines: Vec<usize> = log.skipped_rows.iter().map(|(line, _)| *line).collect();
    // Cells first, then what is out of order.
    assert_eq!((log.skipped, lines), (8, vec![3, 4, 5, 6, 7, 16, 8, 11]));
}

/// A storage that is all but empty is believed where the header says volts.
#[test]
fn small_readings_in_volts_are_read() {
    let log = log("time_s,storage_v\n0,0.012\n60,0.005\n");
    assert_eq!(log.storage_mv, [12.0, 5.0]);
}

#[test]
fn what_is_no_log_is_refused_with_its_line() {
    for (text, word) in [
        ("", "empty"),
        ("hello\n", "no column of time"),
        ("time_s\n1\n", "nothing beside"),
        ("time_s,count,count\n1,1,1\n", "twice"),
        ("time_s,count\n1,1\n", "fewer than two"),
        ("time_s,count\n1,a\n2,b\n3,1\n", "of no use"),
        ("time_s,count\n2,1\n1,1\n2,1\n", "stands still"),
        ("time_s,storage_mv\n0,5.2\n60,4.9\n", "storage_v"),
    ] {
        assert!(refusal(text).contains(word), "{text}");
    }
    let rows: Vec<String> = (0..40).map(|row| format!("{},0\n", row % 20)).collect();
    let message = refusal(&format!("time_s,count\n{}", rows.concat()));
    assert!(
        message.contains("bench.csv:22") && message.contains("anew"),
        "{message}"
    );
}

proptest! {
    #[test]
    fn any_text_is_answered(text in "(time_s|time)[,;\t](count|storage_mv)\n([-0-9.,;\t:TZ\"#\r\n e]|\\PC){0,80}") {
        let _ = Log::parse("bench.csv", &text);
    }

    /// What is written is read, whatever is missing.
    #[test]
    fn rows_come_back(rows in prop::collection::vec((0.0..100.0f64, prop::option::of(0u32..6000), prop::option::of(0u32..9)), 2..40)) {
        let mut text = "time_s,storage_mv,count\n".to_owned();
        let mut time_s = 0.0;
        for (step_s, reading, count) in &rows {
            time_s += step_s;
            let cell = |value: &Option<u32>| value.map_or(String::new(), |value| value.to_string());
            text.push_str(&format!("{time_s},{},{}\n", cell(reading), cell(count)));
        }
        prop_assume!(time_s > rows[0].0, "a log whose time stands still is refused");
        let largest_mv = rows.iter().filter_map(|(_, reading, _)| *reading).max().unwrap_or(0);
        prop_assume!(largest_mv == 0 || largest_mv as f32 > VOLTS_AT_MOST, "such millivolts are refused as volts");
        let log = log(&text);
        prop_assert_eq!(log.len(), rows.len());
        for (row, (_, reading, count)) in rows.iter().enumerate() {
            prop_assert_eq!(log.storage_v(row), reading.map(|reading| f64::from(reading as f32) / 1e3));
            prop_assert_eq!(log.count(row), *count);
        }
    }
}
