//! The readings by themselves: how often, how noisy, and where they say nothing of the drain: stuck, at full scale, or flat at the
//! top.

use super::described::Described;
use crate::log::Log;
use crate::simulate::timeline::Event;
use crate::statistics::{nth, upper_median};

/// From a median absolute value to a standard deviation, for a normal distribution.
pub(super) const MEDIAN_TO_DEVIATION: f64 = 1.482_602_2;
/// A flat stretch is one that should have moved by this many counts, asleep and as described.
const FLAT_COUNTS: f64 = 7.0;
/// A level at the top, where charge turns into discharge without being held, is flat for less than this many counts of fall.
const PEAK_COUNTS: f64 = 18.0;
/// A flat stretch has at least so many readings.
const LEAST_FLAT: usize = 12;
/// A dip below a held level is over after so many readings.
const HELD_DIP: usize = 15;
/// So many readings in a row may be nonsense.
const LONE: usize = 3;
/// One value is stuck after so many readings.
const LEAST_STUCK: usize = 40;
/// At the largest reading at least so often.
const LEAST_SATURATED: usize = 3;
/// Nonsense is farther from its neighbours than so many reports' steps, and so many times the noise.
const NONSENSE_STEPS: f64 = 1.5;
const NONSENSE_NOISE: f64 = 8.0;
/// And so many described dips, where it is below them: resistance grows.
const NONSENSE_DIP: f64 = 4.0;
/// A level that is held may spread by so many counts beside its noise.
const HELD_COUNTS: f64 = 1.5;

/// What a flat stretch is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Flat {
    /// At full scale.
    Saturated,
    /// At the top of all readings: held by the converter, or where the income equals the drain.
    Top,
    /// Nothing moves it.
    Stuck,
}

/// A stretch of rows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stretch {
    pub(super) kind: Flat,
    pub(super) first: usize,
    pub(super) last: usize,
    pub(super) level_v: f64,
}

/// What the readings say of themselves.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Readings {
    /// Number of readings.
    pub(super) count: usize,
    /// Usual time between two (s).
    pub(super) step_s: f64,
    /// Nine of ten steps between two are no longer (s): a node that only logs when it wakes has short ones and long ones.
    pub(super) long_step_s: f64,
    /// Standard deviation of one (V); at least that of a count's rounding.
    pub(super) noise_v: f64,
    /// Flat stretches, in order.
    pub(super) flats: Vec<Stretch>,
    /// Highest reading that is no lone outlier (V).
    pub(super) top_v: f64,
    excluded: Vec<bool>,
    nonsense: Vec<bool>,
}

impl Readings {
    /// Looks at the readings of a log.
    pub(super) fn of(log: &Log, described: &Described) -> Self {
        let rows: Vec<usize> = (0..log.storage_mv.len())
            .filter(|row| log.storage_v(*row).is_some())
            .collect();
        let v = |row: usize| log.storage_v(row).unwrap_or_default();
        if rows.len() < 3 {
            return Self {
                count: rows.len(),
                step_s: log.median_step_s(),
                noise_v: described.count_v,
                ..Self::default()
            };
        }
        let median = |mut figures: Vec<f64>| upper_median(&mut figures).unwrap_or_default();
        let steps_s = rows
            .windows(2)
            .map(|pair| log.time_s[pair[1]] - log.time_s[pair[0]]);
        let step_s = median(steps_s.filter(|step_s| *step_s > 0.0).chain([f64::MAX]).collect());
        let mut steps_s: Vec<f64> = rows
            .windows(2)
            .map(|pair| log.time_s[pair[1]] - log.time_s[pair[0]])
            .collect();
        let ninth = steps_s.len() * 9 / 10;
        let long_step_s = nth(&mut steps_s, ninth).unwrap_or_default();
        let bends_v = rows
            .windows(3)
            .map(|three| (v(three[0]) - 2.0 * v(three[1]) + v(three[2])).abs());
        let rounding_v = described.count_v / 12f64.sqrt();
        let noise_v = (MEDIAN_TO_DEVIATION * median(bends_v.collect()) / 6f64.sqrt()).max(rounding_v);
        let mut levels: Vec<f64> = rows.iter().map(|row| v(*row)).collect();
        let top = levels.len() - 1 - levels.len() / 500;
        let top_v = nth(&mut levels, top).unwrap_or_default();
        let mut readings = Self {
            count: rows.len(),
            step_s,
            long_step_s,
            noise_v,
            top_v,
            ..Self::default()
        };
        readings.find_flats(log, described, &rows);
        readings.find_nonsense(log, described, &rows);
        readings.excluded = vec![false; log.len()];
        for flat in &readings.flats {
            readings.excluded[flat.first..=flat.last]
                .iter_mut()
                .for_each(|row| *row = true);
        }
        readings
    }

    /// Whether a row's reading says nothing about the charge on storage.
    pub(super) fn is_excluded(&self, row: usize) -> bool {
        self.excluded.get(row).copied().unwrap_or_default()
    }

    /// Whether a row belongs to a flat top.
    pub(super) fn is_flat_top(&self, row: usize) -> bool {
        let mut tops = self.flats.iter().filter(|flat| flat.kind == Flat::Top);
        tops.any(|flat| (flat.first..=flat.last).contains(&row))
    }

    /// Whether a row's reading stands alone where no action and no light can have put it.
    pub(super) fn is_nonsense(&self, row: usize) -> bool {
        self.nonsense.get(row).copied().unwrap_or_default()
    }

    /// Readings far from the median of their neighbours: above it by more than steps and noise, below it by more than a report's
    /// dip as well.
    fn find_nonsense(&mut self, log: &Log, described: &Described, rows: &[usize]) {
        self.nonsense = vec![false; log.len()];
        let steps_v =
            NONSENSE_STEPS * described.report_step_v(described.working_v) + NONSENSE_NOISE * self.noise_v;
        let dip_v = NONSENSE_DIP * described.transmit.most_a(described.working_v) * described.resistance_ohm;
        for five in rows.windows(5) {
            let mut own = [0.0; 5];
            for (v, row) in own.iter_mut().zip(five) {
                *v = log.storage_v(*row).unwrap_or_default();
            }
            let middle_v = own[2];
            own.sort_by(f64::total_cmp);
            let off_v = middle_v - own[2];
            self.nonsense[five[2]] = off_v > steps_v || -off_v > steps_v + dip_v;
        }
    }

    /// Mean level of the flat tops (V).
    pub(super) fn flat_top_v(&self) -> Option<f64> {
        let tops = self.flats.iter().filter(|flat| flat.kind == Flat::Top);
        let (sum, count) = tops.fold((0.0, 0.0), |(sum, count), flat| {
            let weight = (flat.last - flat.first + 1) as f64;
            (sum + flat.level_v * weight, count + weight)
        });
        (count > 0.0).then(|| sum / count)
    }

    /// Stretches whose readings stay where they are though the node draws.
    fn find_flats(&mut self, log: &Log, described: &Described, rows: &[usize]) {
        let v = |row: usize| log.storage_v(row).unwrap_or_default();
        let full_v = described.full_scale_v - 0.5 * described.count_v;
        let near_v = HELD_COUNTS * described.count_v + 2.0 * self.noise_v;
        let mut place = 0;
        while place < rows.len() {
            let start = place;
            let first_v = v(rows[start]);
            let (mut low_v, mut high_v) = (first_v, first_v);
            let saturated = first_v >= full_v;
            let mut is_one_value = true;

            // Actions dip below a level that is held until it is charged again; a lone outlier is none of it.
            let is_top = first_v >= self.top_v - near_v;
            let (farthest, counts) = if is_top {
                (HELD_DIP, PEAK_COUNTS)
            } else {
                (LONE, FLAT_COUNTS)
            };
            loop {
                let next = (place + 1..(place + 1 + farthest).min(rows.len())).find(|next| {
                    let next_v = v(rows[*next]);
                    if saturated {
                        next_v >= full_v
                    } else {
                        high_v.max(next_v) - low_v.min(next_v) <= near_v
                    }
                });
                let Some(next) = next else { break };
                place = next;
                let next_v = v(rows[place]);
                (low_v, high_v) = (low_v.min(next_v), high_v.max(next_v));
                is_one_value &= next_v == first_v;
                // A level of one value ends where the value changes.
                if !saturated && !is_top && !is_one_value && place - start > LEAST_STUCK {
                    (low_v, high_v) = (first_v, first_v);
                    is_one_value = true;
                    place -= 1;
                    while place > start && v(rows[place]) != first_v {
                        place -= 1;
                    }
                    break;
                }
            }
            let length = place + 1 - start;
            let span_s = log.time_s[rows[place]] - log.time_s[rows[start]];
            let kind = if saturated && length >= LEAST_SATURATED {
                Some(Flat::Saturated)
            } else if length >= LEAST_FLAT
                && self.moved_v(log, described, rows[start], rows[place], first_v, span_s)
                    > counts * described.count_v + near_v
            {
                self.kind_of(described, first_v, is_one_value && length >= LEAST_STUCK)
            } else {
                None
            };
            if let Some(kind) = kind {
                self.flats.push(Stretch {
                    kind,
                    first: rows[start],
                    last: rows[place],
                    level_v: (low_v + high_v) / 2.0,
                });
                place += 1;
            } else {
                // A flat stretch may begin at any of the rows that this one had.
                place = if length > 64 { place + 1 } else { start + 1 };
            }
        }
        self.merge();
    }

    /// How far the voltage should have fallen between two rows with the largest capacitance and as described (V).
    fn moved_v(
        &self,
        log: &Log,
        described: &Described,
        first: usize,
        last: usize,
        at_v: f64,
        span_s: f64,
    ) -> f64 {
        let counted = log
            .count(last)
            .zip(log.count(first))
            .map_or(0, |(last, first)| last.saturating_sub(first));
        let said = (first..last)
            .filter(|row| log.event(*row) == Some(Event::Transmit))
            .count() as u32;
        let at_v = at_v.max(described.floor_v / 2.0);
        let asleep_v = (described.sleep_rate_v_per_s(at_v)) * span_s;
        (asleep_v + f64::from(counted.max(said)) * described.report_step_v(at_v)) / described.most_capacitance
    }

    /// Flat at the top of all readings, or stuck below it.
    fn kind_of(&self, described: &Described, level_v: f64, is_one_value: bool) -> Option<Flat> {
        let near_v = HELD_COUNTS * described.count_v + 3.0 * self.noise_v;
        if level_v >= self.top_v - near_v {
            return Some(Flat::Top);
        }
        // Where nothing moves the reading not even noise does; income that equals the drain leaves the noise.
        is_one_value.then_some(Flat::Stuck)
    }

    /// Stretches of a kind with less than an eighth of their length between them are one: an action interrupts them.
    fn merge(&mut self) {
        let mut merged: Vec<Stretch> = Vec::new();
        for flat in std::mem::take(&mut self.flats) {
            match merged.last_mut() {
                Some(last)
                    if last.kind == flat.kind && (flat.first - last.last) * 8 < flat.last - last.first =>
                {
                    last.last = flat.last;
                }
                _ => merged.push(flat),
            }
        }
        self.flats = merged;
    }
}
