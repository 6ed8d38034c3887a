//! The power that the source offers to the converter, over time.
//!
//! From the source of the node file, or from a trace that stands in for it, to pieces of constant power that follow
//! one another without end. Every income repeats: indoor light after a week, the clear sky after a year of 365 days, a
//! trace after its own length, so that a run may be longer than what is known. Time counts from the start of the
//! simulation; what that start means is said by each source:
//!
//! | source | time 0 is |
//! | --- | --- |
//! | constant | any time |
//! | photovoltaic | 1 January, 00:00 UTC, of the year [`sun::YEAR`], which has 365 days and starts on a Monday |
//! | indoor | Monday, 00:00 local time |
//! | trace | the time of its first row |
//! | weather file | the start of the hour that its first row ends: by custom 1 January, 00:00 local standard time |
//!
//! What was recorded, a trace or a weather file, is read by the crate `millpond-records`.

pub mod clear_sky;
pub mod indoor;
pub mod light;
pub mod sun;

use crate::node::Source;
use crate::units::*;

/// A stretch of time in which the same power is offered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Segment {
    /// Its end (s) since the start of the simulation; infinite when nothing changes any more.
    pub until_s: f64,
    /// The power offered to the converter, before its efficiency; at least 0.
    pub power: Power,
}

/// The power that a source offers, over all time.
#[derive(Clone, Debug, PartialEq)]
pub struct Income {
    /// One round: ends rise, neighbours differ, the last end is the period.
    round: Vec<Segment>,
}

impl Income {
    /// What `source` offers; `None` for [`Source::Trace`], of which the node file says nothing more.
    ///
    /// ```
    /// use millpond_income::income::Income;
    /// use millpond_node::node::Source;
    /// use millpond_numbers::units::*;
    /// let income = Income::of(&Source::Constant { power: watts(900e-6) }).unwrap();
    /// let first = income.segments().next().unwrap();
    /// assert_eq!((first.power, first.until_s), (watts(900e-6), f64::INFINITY));
    /// assert_eq!(Income::of(&Source::Trace), None);
    /// ```
    ///
    /// # Panics
    ///
    /// When a photovoltaic source stands outside the range of latitude and longitude that [`Site`](crate::node::Site)
    /// states.
    pub fn of(source: &Source) -> Option<Self> {
        match source {
            Source::Constant { power } => Some(Self::repeating([Segment {
                until_s: f64::INFINITY,
                power: *power,
            }])),
            Source::Photovoltaic {
                area,
                efficiency,
                site,
            } => Some(Self::repeating(clear_sky::year(*area, *efficiency, site))),
            Source::Indoor {
                area,
                power_density,
                schedule,
                closed_days,
            } => Some(Self::repeating(indoor::week(
                *area,
                power_density,
                schedule,
                closed_days,
            ))),
            Source::Trace => None,
        }
    }

    /// An income of equal steps that follow one another, and begin again after the last.
    ///
    /// ```
    /// use millpond_income::income::Income;
    /// use millpond_numbers::units::*;
    /// let income = Income::of_steps(seconds(60.0), [watts(1e-3), watts(2e-3)]);
    /// assert_eq!(income.means(seconds(120.0), 1), [1.5e-3]);
    /// ```
    pub fn of_steps(step: Time, powers: impl IntoIterator<Item = Power>) -> Self {
        let step_s = step.get::<second>();
        Self::repeating(powers.into_iter().enumerate().map(|(index, power)| Segment {
            until_s: (index + 1) as f64 * step_s,
            power,
        }))
    }

    /// Mean power (W) in each of the first `count` steps.
    pub fn means(&self, step: Time, count: usize) -> Vec<f64> {
        let step_s = step.get::<second>();
        let mut segments = self.segments();
        let mut segment = segments.next();
        let mut now_s = 0.0;
        (1..=count)
            .map(|number| {
                let end_s = number as f64 * step_s;
                let mut energy_j = 0.0;
                while let Some(now) = segment {
                    let until_s = now.until_s.min(end_s);
                    energy_j += now.power.get::<watt>() * (until_s - now_s);
                    now_s = until_s;
                    if now.until_s > end_s {
                        break;
                    }
                    segment = segments.next();
                }
                energy_j / step_s
            })
            .collect()
    }

    /// Mean of what `received` makes of the power, over a whole round.
    ///
    /// ```
    /// use millpond_income::income::Income;
    /// use millpond_numbers::units::*;
    /// let income = Income::of_steps(seconds(60.0), [watts(1e-3), watts(3e-3)]);
    /// assert_eq!(income.mean(|power| power), watts(2e-3));
    /// assert_eq!(income.mean(|power| power.min(watts(1.5e-3))), watts(1.25e-3));
    /// ```
    pub fn mean(&self, received: impl Fn(Power) -> Power) -> Power {
        let (mut energy, mut from_s) = (joules(0.0), 0.0);
        for segment in &self.round {
            if segment.until_s == f64::INFINITY {
                return received(segment.power);
            }
            energy += received(segment.power) * seconds(segment.until_s - from_s);
            from_s = segment.until_s;
        }
        energy / seconds(from_s)
    }

    /// One round of segments, whose ends rise from above 0; the last end is the period.
    pub fn repeating(segments: impl IntoIterator<Item = Segment>) -> Self {
        let mut round: Vec<Segment> = Vec::new();
        for segment in segments {
            match round.last_mut() {
                Some(last) if last.power == segment.power => last.until_s = segment.until_s,
                _ => round.push(segment),
            }
        }
        if let [only] = &mut round[..] {
            only.until_s = f64::INFINITY;
        }
        Self { round }
    }

    /// The pieces in order, without end unless one of them has none; neighbours differ in power.
    pub fn segments(&self) -> Segments<'_> {
        Segments {
            round: &self.round,
            rounds_done: 0,
            place: 0,
            now_s: 0.0,
        }
    }
}

/// The pieces of an [`Income`], in order.
#[derive(Clone, Debug)]
pub struct Segments<'a> {
    round: &'a [Segment],
    rounds_done: u64,
    place: usize,
    now_s: f64,
}

impl Iterator for Segments<'_> {
    type Item = Segment;

    fn next(&mut self) -> Option<Segment> {
        let (first, last) = (self.round.first()?, self.round.last()?);
        while self.now_s < f64::INFINITY {
            let piece = self.round.get(self.place)?;
            // A product, not a running sum: rounding does not grow with the number of rounds.
            let before_s = if self.rounds_done == 0 {
                0.0
            } else {
                self.rounds_done as f64 * last.until_s
            };
            let until_s = before_s + piece.until_s;
            self.place += 1;
            let at_end = self.place == self.round.len();
            if at_end {
                self.place = 0;
                self.rounds_done += 1;
            }
            // The last piece goes on in the first one of the next round where both are alike.
            let goes_on = at_end && self.round.len() > 1 && first.power == last.power;
            // A piece may be too short to be told from nothing once very many rounds have passed.
            if until_s > self.now_s && !goes_on {
                self.now_s = until_s;
                return Some(Segment {
                    until_s,
                    power: piece.power,
                });
            }
        }
        None
    }
}
