//! One unit over time: from event to event, with firmware that asks a rule what to do.

use millpond_policy::{Decision, Reading};

use crate::income::{Income, Segment};
use crate::model::discharge::Stretch;
use crate::model::drain::Drain;
use crate::simulate::ledger::Ledger;
use crate::simulate::plant::{End, Plant};
use crate::simulate::rule::Rule;
use crate::simulate::timeline::{Event, Moment, Watch};
use crate::simulate::unit::Part;
use crate::units::*;

/// How long a unit without a gate stays in reset after it lost its supply (s): what a reset circuit holds, and more (common
/// practice, no source).
const RESET_S: f64 = 1.0;

/// The first day is ruled by where the run begins (s).
const FIRST_S: f64 = 86_400.0;

/// What a run is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Course {
    /// How long it runs.
    pub duration: Time,
    /// Voltage behind the resistance at its start.
    pub start: Voltage,
    /// Samples in one report.
    pub batch: u32,
    /// Samples that can wait; the oldest gives way.
    pub backlog: u32,
}

/// What came of a run.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Outcome {
    /// Simulated time (s).
    pub duration_s: f64,
    /// Reports sent.
    pub reports: u64,
    /// Samples taken.
    pub measurements: u64,
    /// Decisions asked for.
    pub decisions: u64,
    /// Starts of the firmware.
    pub starts: u64,
    /// Starts whose start-up lost its supply, before the firmware could ask.
    pub failed_starts: u64,
    /// Losses of supply.
    pub brownouts: u64,
    /// Losses of supply during an action that the rule had granted.
    pub action_brownouts: u64,
    /// Time in which the firmware ran (s).
    pub up_s: f64,
    /// Half the sum of squared times between reports (s²): the integral of the newest report's age.
    pub age_s2: f64,
    /// Longest time without a report, start and end included (s).
    pub longest_silence_s: f64,
    /// The same after the first day (s): of a silence that began in it, what lies beyond. A run of no more than a day is judged whole.
    pub settled_silence_s: f64,
    /// Where the energy went.
    pub ledger: Ledger,
}

impl Outcome {
    /// Mean age of the newest report (s), counted from the start of the run as if a report had been sent then.
    pub fn mean_age_s(&self) -> f64 {
        self.age_s2 / self.duration_s
    }

    /// Part of the time in which the firmware ran.
    pub fn uptime_fraction(&self) -> f64 {
        self.up_s / self.duration_s
    }
}

/// Runs `part` on `income` under `rule`, and shows every event to `watch`.
pub fn run(
    part: &Part,
    income: &Income,
    rule: &mut impl Rule,
    course: &Course,
    watch: &mut impl Watch,
) -> Outcome {
    let mut segments = income.segments();
    let first = segments.next().unwrap_or(Segment {
        until_s: f64::INFINITY,
        power: watts(0.0),
    });
    let mut plant = Plant::new(&part.bank, &part.harvest, course.start);
    plant.offer(first.power.get::<watt>());
    let end_s = course.duration.get::<second>();
    let mut unit = Unit {
        part,
        segments,
        segment: first,
        plant,
        watch,
        now_s: 0.0,
        end_s,
        last_report_s: 0.0,
        waiting: 0,
        outcome: Outcome {
            duration_s: end_s,
            ..Outcome::default()
        },
    };
    // A run that starts at the gate's voltage starts connected.
    let mut is_connected = course.start.get::<volt>() >= part.connect_v;
    while unit.now_s < end_s {
        if unit.connect(is_connected) {
            rule.restart();
            let started_s = unit.now_s;
            unit.work(rule, course);
            unit.outcome.up_s += unit.now_s - started_s;
        }
        is_connected = false;
    }
    unit.silence();
    unit.outcome.ledger = unit.plant.ledger();
    unit.outcome
}

/// A unit at one moment of its run.
struct Unit<'a, S, W> {
    part: &'a Part,
    segments: S,
    segment: Segment,
    plant: Plant,
    watch: &'a mut W,
    now_s: f64,
    end_s: f64,
    last_report_s: f64,
    waiting: u32,
    outcome: Outcome,
}

/// Nothing but leakage.
fn nothing() -> Drain {
    Drain {
        power: watts(0.0),
        current: amperes(0.0),
    }
}

impl<S: Iterator<Item = Segment>, W: Watch> Unit<'_, S, W> {
    /// Waits for the supply, unless it is connected already, and boots. Whether the firmware runs then.
    fn connect(&mut self, is_connected: bool) -> bool {
        let left_s = self.end_s - self.now_s;
        if !is_connected
            && self.pass(&nothing(), left_s, f64::NEG_INFINITY, self.part.connect_v) != End::Above
        {
            return false;
        }
        self.outcome.starts += 1;
        self.waiting = 0;
        self.see(Event::Start, &nothing());
        let booted = self.act(&self.part.boot).is_some();
        self.outcome.failed_starts += u64::from(!booted);
        booted
    }

    /// Runs the firmware until it loses its supply or the run ends.
    fn work(&mut self, rule: &mut impl Rule, course: &Course) {
        let booted_s = self.now_s;
        let mut counted_s = 0;
        while self.now_s < self.end_s {
            let asleep = self.part.asleep.drain;
            let Some(terminal_v) = self.plant.terminal_v(&asleep) else {
                self.cut();
                return;
            };
            // A counter of whole seconds that runs since the start.
            let clock_s = (self.now_s - booted_s) as u32;
            let reading = Reading {
                storage_mv: self.part.reading_mv(terminal_v),
                elapsed_s: clock_s - counted_s,
                waiting: self.waiting.min(255) as u8,
            };
            counted_s = clock_s;
            self.outcome.decisions += 1;
            let done = match rule.decide(reading) {
                Decision::Wait { seconds, .. } => {
                    self.see(Event::Wait, &asleep);
                    self.sleep(&asleep, f64::from(seconds))
                }
                Decision::Measure => {
                    self.see(Event::Measure, &asleep);
                    let done = self.act(&self.part.measure);
                    self.outcome.action_brownouts += u64::from(done.is_none());
                    done.inspect(|()| {
                        self.outcome.measurements += 1;
                        self.waiting = (self.waiting + 1).min(course.backlog);
                    })
                }
                Decision::Transmit => {
                    self.see(Event::Transmit, &asleep);
                    let done = self.act(&self.part.transmit);
                    self.outcome.action_brownouts += u64::from(done.is_none());
                    done.inspect(|()| {
                        self.outcome.reports += 1;
                        self.waiting -= course.batch.min(self.waiting);
                        self.silence();
                    })
                }
            };
            if done.is_none() {
                return;
            }
        }
    }

    /// Sleeps; `None` when the supply is lost on the way.
    fn sleep(&mut self, asleep: &Drain, duration_s: f64) -> Option<()> {
        match self.pass(asleep, duration_s, self.part.cut_v, f64::INFINITY) {
            End::Below => {
                self.cut();
                None
            }
            End::Time | End::Above => Some(()),
        }
    }

    /// Goes through the stretches of an action; `None` when the supply is lost on the way.
    fn act(&mut self, stretches: &[Stretch]) -> Option<()> {
        for stretch in stretches {
            let ended = self.pass(
                &stretch.drain,
                stretch.duration.get::<second>(),
                self.part.cut_v,
                f64::INFINITY,
            );
            let holds = stretch.peak == stretch.drain
                || self
                    .plant
                    .terminal_v(&stretch.peak)
                    .is_some_and(|terminal_v| terminal_v >= self.part.cut_v);
            if ended == End::Below || !holds {
                self.cut();
                return None;
            }
        }
        Some(())
    }

    /// The supply is lost.
    fn cut(&mut self) {
        self.outcome.brownouts += 1;
        self.see(Event::Cut, &nothing());
        self.pass(&nothing(), RESET_S, f64::NEG_INFINITY, f64::INFINITY);
    }

    /// A silence ends now.
    fn silence(&mut self) {
        let gap_s = self.now_s - self.last_report_s;
        self.outcome.age_s2 += gap_s * gap_s / 2.0;
        self.outcome.longest_silence_s = self.outcome.longest_silence_s.max(gap_s);
        let settles_s = if self.end_s > FIRST_S { FIRST_S } else { 0.0 };
        let settled_s = self.now_s - self.last_report_s.max(settles_s);
        self.outcome.settled_silence_s = self.outcome.settled_silence_s.max(settled_s);
        self.last_report_s = self.now_s;
    }

    /// Lets time pass, over the changes of the income, but not beyond the end of the run.
    fn pass(&mut self, drain: &Drain, duration_s: f64, lower_v: f64, upper_v: f64) -> End {
        let until_s = (self.now_s + duration_s).min(self.end_s);
        loop {
            let piece_s = until_s.min(self.segment.until_s) - self.now_s;
            let (end, taken_s) = self.plant.advance(drain, piece_s, lower_v, upper_v);
            if end != End::Time {
                self.now_s += taken_s;
                return end;
            }
            self.now_s = until_s.min(self.segment.until_s);
            if self.now_s >= self.segment.until_s {
                self.segment = self.segments.next().unwrap_or(Segment {
                    until_s: f64::INFINITY,
                    ..self.segment
                });
                self.plant.offer(self.segment.power.get::<watt>());
            }
            if self.now_s >= until_s {
                return End::Time;
            }
        }
    }

    fn see(&mut self, event: Event, drain: &Drain) {
        if W::IS_BLIND {
            return;
        }
        let moment = Moment {
            time_s: self.now_s,
            storage_v: self.plant.terminal_v(drain).unwrap_or_default(),
            offered_w: self.segment.power.get::<watt>(),
            event,
            reports: self.outcome.reports,
        };
        self.watch.see(&moment);
    }
}

#[cfg(test)]
mod tests;
