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

    /// A run is over, or the bound is found: what is told of long work.
    fn finished(&mut self, _run: &str) {}
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

/// The first line.
pub const HEADER: &str = "time_s,storage_v,offered_w,event,reports";

/// Simulated time between two writes to the disk (s).
const FLUSH_S: f64 = 86_400.0;

impl<W: Write> Timeline<W> {
    /// Starts the file with its header.
    ///
    /// # Errors
    ///
    /// If it cannot be written.
    pub fn new(mut file: W) -> io::Result<Self> {
        writeln!(file, "{HEADER}")?;
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

#[cfg(test)]
mod tests {
    use std::cell::RefCell;
    use std::rc::Rc;

    use super::*;

    fn moment(time_s: f64) -> Moment {
        Moment {
            time_s,
            storage_v: 3.25,
            offered_w: 0.001,
            event: Event::Wait,
            reports: 7,
        }
    }

    /// A disk behind a buffer: what was flushed is safe, and after `most` bytes it is full.
    #[derive(Clone, Default)]
    struct Disk {
        safe: Rc<RefCell<Vec<u8>>>,
        buffer: Vec<u8>,
        most: usize,
    }

    impl Write for Disk {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.buffer.extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            if self.safe.borrow().len() + self.buffer.len() > self.most {
                return Err(io::ErrorKind::StorageFull.into());
            }
            self.safe.borrow_mut().append(&mut self.buffer);
            Ok(())
        }
    }

    fn disk(most: usize) -> Disk {
        Disk {
            most,
            ..Disk::default()
        }
    }

    fn text(disk: &Disk) -> String {
        String::from_utf8(disk.safe.borrow().clone()).expect("CSV is text")
    }

    #[test]
    fn a_row_says_when_how_high_and_what() {
        let disk = disk(usize::MAX);
        let mut timeline = Timeline::new(disk.clone()).expect("room for the header");
        timeline.see(&moment(1.5));
        timeline.finish().expect("room for a row");
        let want = "time_s,storage_v,offered_w,event,reports\n1.500,3.250000,0.001000000,wait,7\n";
        assert_eq!(text(&disk), want);
    }

    /// Every day's rows are safe when the next day begins.
    #[test]
    fn a_day_is_safe_when_the_next_begins() {
        let disk = disk(usize::MAX);
        let mut timeline = Timeline::new(disk.clone()).expect("room for the header");
        for hour in 0..240 {
            timeline.see(&moment(f64::from(hour) * 3600.0));
            assert!(
                text(&disk).lines().count() > hour as usize / 24 * 24,
                "hour {hour}"
            );
        }
    }

    /// What was safe stays as it was, the first failure is told, and nothing is written after it.
    #[test]
    fn a_full_disk_loses_nothing_that_was_safe() {
        let disk = disk(3000);
        let mut timeline = Timeline::new(disk.clone()).expect("room for the header");
        for hour in 0..2400 {
            timeline.see(&moment(f64::from(hour) * 3600.0));
        }
        let failure = timeline.finish().expect_err("the disk is full");
        assert_eq!(failure.kind(), io::ErrorKind::StorageFull);
        let text = text(&disk);
        let rows: Vec<&str> = text.lines().skip(1).collect();
        assert!(rows.len() >= 24 && text.ends_with('\n'));
        for (hour, row) in rows.iter().enumerate() {
            assert!(row.starts_with(&format!("{:.3},", hour as f64 * 3600.0)), "{row}");
        }
    }
}
