//! When the node measured and sent, as far as a log tells: by its events, by its count, or by steps of the voltage.

use super::described::Described;
use crate::log::Log;
use crate::simulate::timeline::Event;

/// A step of the voltage stands for a report where it is at least this part of the described one.
const LEAST_STEP: f64 = 0.5;
/// Steps can be seen in the voltage alone where the described one is this many times its noise.
const CLEAR_STEP: f64 = 6.0;
/// A report that is counted between two rows may have begun before the first where they are less than this many of its durations apart.
/// Rows that are farther apart are those of a log that says where a report is and nothing between.
const BEGUN_BEFORE: f64 = 4.0;

/// What is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Measure,
    Transmit,
}

/// One action. It starts at `from_s` where the time is known; else somewhere between the two times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Act {
    pub(super) from_s: f64,
    pub(super) until_s: f64,
    pub(super) kind: Kind,
}

/// All actions, and what is known beside them.
#[derive(Clone, Debug, Default)]
pub(super) struct Actions {
    /// By the time at which they are over at the latest.
    pub(super) list: Vec<Act>,
    /// Times at which the node started anew, or lost its supply.
    pub(super) resets_s: Vec<f64>,
    /// Times at which it started: one for each power-up, however many rows tell of it.
    pub(super) power_ups_s: Vec<f64>,
    /// Whether samples have times of their own. Otherwise they are spread evenly between reports and cost what they
    /// should beside them.
    pub(super) has_samples: bool,
}

impl Act {
    /// Whether its time is known.
    pub(super) fn is_exact(&self) -> bool {
        self.from_s == self.until_s
    }
}

impl Actions {
    /// The actions of a log; `noise_v` is the noise of its readings.
    pub(super) fn of(log: &Log, described: &Described, noise_v: f64) -> Self {
        let events = transmits(log).any(|_| true) || rows(log, Event::Measure).any(|_| true);
        let mut actions = Self {
            resets_s: resets(log),
            power_ups_s: power_ups(log),
            has_samples: rows(log, Event::Measure).any(|_| true),
            ..Self::default()
        };
        if !log.count.is_empty() {
            actions.list = counted(log, 1.5 * described.transmit.duration_s);
        } else if events {
            actions.list = transmits(log)
                .map(|time_s| exact(time_s, Kind::Transmit))
                .collect();
        } else {
            actions.list = stepped(log, described, noise_v);
        }
        let busy_s = described.measure.duration_s + described.transmit.duration_s;
        for act in actions.list.iter_mut().filter(|act| !act.is_exact()) {
            if act.until_s - act.from_s < BEGUN_BEFORE * busy_s {
                act.from_s -= busy_s;
            }
        }
        if actions.has_samples {
            actions.add_samples(log, described.batch);
        } else {
            actions.spread_samples(described.batch);
        }
        actions.list.sort_by(|a, b| a.until_s.total_cmp(&b.until_s));
        actions
    }

    /// Times at which reports are over at the latest, in order.
    pub(super) fn report_times_s(&self) -> Vec<f64> {
        let reports = self.list.iter().filter(|act| act.kind == Kind::Transmit);
        reports.map(|act| act.until_s).collect()
    }

    /// How many power-ups there have been at a time.
    pub(super) fn power_ups_until(&self, time_s: f64) -> usize {
        self.power_ups_s.partition_point(|start_s| *start_s <= time_s)
    }

    /// Number of reports.
    pub(super) fn reports(&self) -> usize {
        self.list.iter().filter(|act| act.kind == Kind::Transmit).count()
    }

    /// Samples of which the log says nothing: evenly between two reports, the last one just before its report.
    fn spread_samples(&mut self, batch: u32) {
        let mut samples = Vec::new();
        let mut last: Option<Act> = None;
        for transmit in &self.list {
            samples.push(Act {
                kind: Kind::Measure,
                ..*transmit
            });
            if let Some(last) = last {
                let gap_s = transmit.until_s - last.until_s;
                for number in 1..batch {
                    let time_s = last.until_s + gap_s * f64::from(number) / f64::from(batch);
                    samples.push(exact(time_s, Kind::Measure));
                }
            }
            last = Some(*transmit);
        }
        self.list.extend(samples);
    }

    /// The samples that the log names, and those that a report must have had before it.
    fn add_samples(&mut self, log: &Log, batch: u32) {
        let mut seen = rows(log, Event::Measure).peekable();
        let mut samples = Vec::new();
        let mut last_s: Option<f64> = None;
        for transmit in &self.list {
            let mut own: Vec<f64> = last_s.into_iter().collect();
            let before = own.len();
            while let Some(time_s) = seen.next_if(|time_s| *time_s <= transmit.until_s) {
                samples.push(exact(time_s, Kind::Measure));
                own.push(time_s);
            }
            for number in own.len() - before..batch as usize {
                // Samples come evenly: one that is missing stood in the longest gap. The last one is just before its report.
                let gap = own
                    .windows(2)
                    .map(|pair| (pair[1] - pair[0], pair[0]))
                    .max_by(|a, b| a.0.total_cmp(&b.0))
                    .filter(|_| number > 0);
                match gap {
                    Some((gap_s, from_s)) => {
                        let time_s = from_s + gap_s / 2.0;
                        samples.push(exact(time_s, Kind::Measure));
                        own.push(time_s);
                        own.sort_by(f64::total_cmp);
                    }
                    None => samples.push(Act {
                        kind: Kind::Measure,
                        ..*transmit
                    }),
                }
            }
            last_s = Some(transmit.until_s);
        }
        samples.extend(seen.map(|time_s| exact(time_s, Kind::Measure)));
        self.list.extend(samples);
    }
}

fn exact(time_s: f64, kind: Kind) -> Act {
    Act {
        from_s: time_s,
        until_s: time_s,
        kind,
    }
}

/// Times of the rows with this event.
fn rows(log: &Log, wanted: Event) -> impl Iterator<Item = f64> {
    log.event
        .iter()
        .zip(&log.time_s)
        .filter(move |(event, _)| **event == Some(wanted))
        .map(|(_, time_s)| *time_s)
}

fn transmits(log: &Log) -> impl Iterator<Item = f64> {
    rows(log, Event::Transmit)
}

/// Where the count falls, or an event says so.
fn resets(log: &Log) -> Vec<f64> {
    let mut found = Vec::new();
    let mut last = None;
    for row in 0..log.len() {
        let said = matches!(log.event(row), Some(Event::Start | Event::Cut));
        let count = log.count(row);
        let fell = count.zip(last).is_some_and(|(count, last)| count < last);
        if said || fell {
            found.push(log.time_s[row]);
        }
        last = count.or(last);
    }
    found
}

/// Each power-up once: its `start`; without one the fall of the count, or the first sign of life behind a `cut`.
fn power_ups(log: &Log) -> Vec<f64> {
    let mut found = Vec::new();
    let (mut is_off, mut is_told, mut last) = (false, false, None);
    for row in 0..log.len() {
        let (event, count) = (log.event(row), log.count(row));
        let fell = count.zip(last).is_some_and(|(count, last)| count < last);
        let rose = count.zip(last).is_some_and(|(count, last)| count > last);
        let is_acting = matches!(event, Some(Event::Measure | Event::Transmit | Event::Wait)) || rose;
        let is_start = event == Some(Event::Start);
        if is_start || (fell && !is_told) || (is_off && is_acting) {
            found.push(log.time_s[row]);
            is_off = false;
        }
        is_off |= event == Some(Event::Cut);
        // The first count behind a start may be lower: that is the same power-up.
        is_told = is_start || (is_told && count.is_none());
        last = count.or(last);
    }
    found
}

/// The reports that the count tells of: at the time of their event where there is one, else between the two rows.
fn counted(log: &Log, duration_s: f64) -> Vec<Act> {
    let mut found: Vec<Act> = Vec::new();
    let mut events = transmits(log).peekable();
    let mut last: Option<(f64, u32)> = None;
    // Events that are over and not yet counted; an event that goes on is not counted yet.
    let mut pending = 0;
    let mut busy_until_s = f64::NEG_INFINITY;
    for row in 0..log.len() {
        let Some(count) = log.count(row) else { continue };
        let time_s = log.time_s[row];
        // A node writes its row when the report is over: the count of that row has it already.
        let mut begun = 0;
        while let Some(event_s) = events.next_if(|event_s| *event_s <= time_s) {
            found.push(exact(event_s, Kind::Transmit));
            pending += 1;
            begun += u32::from(event_s == time_s);
            busy_until_s = event_s + duration_s;
        }
        match last {
            Some((from_s, before)) if before <= count => {
                for _ in pending..count - before {
                    found.push(Act {
                        from_s,
                        until_s: time_s,
                        kind: Kind::Transmit,
                    });
                }
                if time_s > busy_until_s {
                    pending = 0;
                } else {
                    pending = pending.saturating_sub(count - before);
                }
            }
            // In a new life only what begins with this row may still be counted.
            Some(_) => pending = begun.saturating_sub(count),
            None => pending = begun,
        }
        last = Some((time_s, count));
    }
    found.extend(events.map(|event_s| exact(event_s, Kind::Transmit)));
    found
}

/// Falls from one reading to the next that are too steep for sleep.
fn stepped(log: &Log, described: &Described, noise_v: f64) -> Vec<Act> {
    let step_v = described.report_step_v(described.working_v);
    if step_v < CLEAR_STEP * noise_v {
        return Vec::new();
    }
    let mut found = Vec::new();
    let mut last: Option<(f64, f64)> = None;
    for row in 0..log.len() {
        let Some(v) = log.storage_v(row) else { continue };
        let time_s = log.time_s[row];
        if let Some((from_s, before_v)) = last {
            let asleep_v =
                described.sleep_rate_v_per_s(before_v.max(described.floor_v / 2.0)) * (time_s - from_s);
            if before_v - v - asleep_v > LEAST_STEP * step_v {
                found.push(Act {
                    from_s,
                    until_s: time_s,
                    kind: Kind::Transmit,
                });
            }
        }
        last = Some((time_s, v));
    }
    found
}
