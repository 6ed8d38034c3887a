//! What can be seen of a run while it runs.

use std::io::{self, Write};

/// Something that happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// The unit is connected and boots.
    Start,
    /// A sample is taken.
    Measure,
    /// A report is sent.
    Transmit,
    /// The firmware goes to sleep.
    Wait,
    /// The supply is lost.
    Cut,
}

impl Event {
    /// The word for it in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Measure => "measure",
            Self::Transmit => "transmit",
            Self::Wait => "wait",
            Self::Cut => "cut",
        }
    }
}

/// A run at the moment of an event.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Since the start of the run (s).
    pub time_s: f64,
    /// At the storage terminal, before the event's own drain (V).
    pub storage_v: f64,
    /// Offered by the source to the converter (W).
    pub offered_w: f64,
    /// What happens.
    pub event: Event,
    /// Reports sent so far.
    pub reports: u64,
}

/// Sees the events of a run.
pub trait Watch {
    /// Nothing is looked at: the run need not make moments.
    const IS_BLIND: bool = false;

    /// An event.
    fn see(&mut self, moment: &Moment);
}

/// Looks at nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Blind;

impl Watch for Blind {
    const IS_BLIND: bool = true;

    fn see(&mut self, _moment: &Moment) {}
}

/// Writes every event as a row of a CSV file, as it happens; a day of simulated time is in the file when the next begins.
pub struct Timeline<W: Write> {
    file: W,
    /// Simulated time up to which all rows have reached the file.
    flushed_s: f64,
    /// The first failure; nothing is written after it.
    failure: Option<io::Error>,
}

/// Simulated time between two writes to the disk (s).
const FLUSH_S: f64 = 86_400.0;

impl<W: Write> Timeline<W> {
    /// Starts the file with its header.
    ///
    /// # Errors
    ///
    /// If it cannot be written.
    pub fn new(mut file: W) -> io::Result<Self> {
        writeln!(file, "time_s,storage_v,offered_w,event,reports")?;
        file.flush()?;
        Ok(Self {
            file,
            flushed_s: 0.0,
            failure: None,
        })
    }

    /// Writes what is left.
    ///
    /// # Errors
    ///
    /// The first failure of any row.
    pub fn finish(mut self) -> io::Result<()> {
        match self.failure {
            Some(failure) => Err(failure),
            None => self.file.flush(),
        }
    }

    fn write(&mut self, moment: &Moment) -> io::Result<()> {
        let Moment {
            time_s,
            storage_v,
            offered_w,
            event,
            reports,
        } = moment;
        writeln!(
            self.file,
            "{time_s:.3},{storage_v:.6},{offered_w:.9},{},{reports}",
            event.word()
        )?;
        if *time_s >= self.flushed_s + FLUSH_S {
            self.file.flush()?;
            self.flushed_s = *time_s;
        }
        Ok(())
    }
}

impl<W: Write> Watch for Timeline<W> {
    fn see(&mut self, moment: &Moment) {
        if self.failure.is_none() {
            self.failure = self.write(moment).err();
        }
    }
}
