//! The planner once more, in floating point and with knobs, to find what limits it.
//!
//! The same rule as `millpond_policy::Planner` (docs/policy-contract.md), written anew: numbers are not rounded, and it can be
//! told what a real node cannot know.

use millpond::plan::drill::{Flow, STEP_S, Spender};
use millpond::plan::settings::{Name, Settings};
use millpond_policy::SLOTS;

use super::Case;

/// Length of a slot (s).
pub const SLOT_S: f64 = 3600.0;
/// Sub-steps of a drill in a slot.
const STEPS_PER_SLOT: usize = (SLOT_S / STEP_S) as usize;
/// Slots of a week.
const WEEK_SLOTS: usize = 7 * SLOTS;
/// Days before and after over which a season is averaged.
const SEASON_DAYS: usize = 15;
/// The ratio of today is at most 3, and only told by a slot whose average is more than this share of the storage, as in the planner.
const LARGEST_RATIO: f64 = 3.0;
const TELLING_SHARE: f64 = 1.0 / 512.0;
/// A store this full may have stopped its converter.
const FULL_SHARE: f64 = 0.985;

/// Where the forecast of a slot comes from, before caution and ratio.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Averages {
    /// What the slots of the days before brought: the planner's own.
    Day,
    /// The same for each day of the week on its own.
    Week,
    /// The true mean of this hour over the month around it, which a node cannot know.
    Season,
}

/// What differs from the planner.
#[derive(Clone, Copy, Debug)]
pub struct Knobs {
    /// How far it looks ahead (slots).
    pub ahead_slots: usize,
    /// So many slots ahead it is told the truth.
    pub told_slots: usize,
    /// What the rest of the forecast comes from.
    pub averages: Averages,
}

impl Knobs {
    /// The planner as it is.
    pub const PLANNER: Self = Self {
        ahead_slots: 48,
        told_slots: 0,
        averages: Averages::Day,
    };
}

/// The rule over one record.
#[derive(Clone, Debug)]
pub struct Twin<'a> {
    case: &'a Case,
    settings: Settings,
    knobs: Knobs,
    /// Number of the slot that has begun.
    slot: usize,
    average_j: Vec<f64>,
    learned: usize,
    ratio: f64,
    before_j: Option<f64>,
    sample_s: Option<f64>,
}

/// The income of each slot of a flow (J).
pub fn slots_j(flow: &Flow) -> Vec<f64> {
    flow.power_w
        .chunks(STEPS_PER_SLOT)
        .map(|steps| steps.iter().sum::<f64>() * STEP_S)
        .collect()
}

/// The mean of each slot over the days around it (J), around the turn of the record.
pub fn seasons_j(income_j: &[f64]) -> Vec<f64> {
    let days = SEASON_DAYS as i64;
    let count = income_j.len() as i64;
    (0..count)
        .map(|slot| {
            let around = (-days..=days).map(|day| (slot + day * SLOTS as i64).rem_euclid(count));
            around.map(|slot| income_j[slot as usize]).sum::<f64>() / (2 * days + 1) as f64
        })
        .collect()
}

impl<'a> Twin<'a> {
    /// With nothing learned.
    pub fn new(case: &'a Case, settings: Settings, knobs: Knobs) -> Self {
        let slots = if knobs.averages == Averages::Week {
            WEEK_SLOTS
        } else {
            SLOTS
        };
        Self {
            case,
            settings,
            knobs,
            slot: 0,
            average_j: vec![0.0; slots],
            learned: 0,
            ratio: 1.0,
            before_j: None,
            sample_s: None,
        }
    }

    fn setting(&self, name: Name) -> f64 {
        f64::from(self.settings[name])
    }

    fn slept_j(&self) -> f64 {
        self.case.store.sleep_w * SLOT_S
    }

    fn average_j(&self, slot: usize) -> f64 {
        match self.knobs.averages {
            Averages::Season => self.case.season_j[slot % self.case.season_j.len()],
            _ => self.average_j[slot % self.average_j.len()],
        }
    }

    /// Learns from the slot before, which brought `income_j`.
    fn learn(&mut self, income_j: f64, stored_j: f64) {
        let slot = self.slot - 1;
        let known_j = self.average_j(slot);
        let is_full = stored_j >= FULL_SHARE * self.case.store.full_j;
        let seen_j = if is_full {
            income_j.max(known_j) * self.setting(Name::Growth) / 64.0
        } else {
            income_j.max(0.0)
        };
        let count = self.average_j.len();
        if self.learned < SLOTS {
            // In the first day a week knows each of its days by it.
            self.average_j
                .iter_mut()
                .skip(slot % SLOTS)
                .step_by(SLOTS)
                .for_each(|average_j| *average_j = seen_j);
            self.learned += 1;
            return;
        }
        let (ratio_kept, fading) = (
            self.setting(Name::RatioKept) / 256.0,
            self.setting(Name::RatioFading) / 256.0,
        );
        self.ratio = if known_j > TELLING_SHARE * self.case.store.full_j {
            ratio_kept * self.ratio + (1.0 - ratio_kept) * (seen_j / known_j).min(LARGEST_RATIO)
        } else {
            1.0 + (self.ratio - 1.0) * fading
        };
        let kept = self.setting(Name::SlotKept) / 256.0;
        let average_j = &mut self.average_j[slot % count];
        *average_j = kept * *average_j + (1.0 - kept) * seen_j;
    }

    /// Spending of a slot on reports (J): the first segment of the tightest string.
    fn spending_j(&self, stored_j: f64) -> f64 {
        let room_j = self.case.store.full_j - self.case.store.decide_j;
        let stays_j = |share: f64| self.case.store.decide_j + room_j * share / 256.0;
        let (reserve_j, target_j) = (
            stays_j(self.setting(Name::Reserve)),
            stays_j(self.setting(Name::Target)),
        );
        let (near, far, falls) = (
            self.setting(Name::CautionNear),
            self.setting(Name::CautionFar),
            self.setting(Name::CautionFading) / 256.0,
        );
        let fading = self.setting(Name::RatioFading) / 256.0;
        let (mut have_j, mut left, mut distance) = (stored_j, 1.0, self.ratio - 1.0);
        let (mut least_j, mut most_j) = (f64::NEG_INFINITY, f64::INFINITY);
        for ahead in 0..self.knobs.ahead_slots {
            left *= falls;
            distance *= fading;
            let slot = self.slot + ahead;
            have_j += if ahead < self.knobs.told_slots {
                self.case.income_j[slot % self.case.income_j.len()]
            } else {
                let caution = (far + (near - far) * left) / 128.0;
                self.average_j(slot) * caution * (1.0 + distance)
            };
            have_j -= self.slept_j();
            let slots = (ahead + 1) as f64;
            let is_end = ahead + 1 == self.knobs.ahead_slots;
            let stays_j = if is_end {
                (target_j, target_j)
            } else {
                (reserve_j, self.case.store.full_j)
            };
            let (upper_j, lower_j) = ((have_j - stays_j.0) / slots, (have_j - stays_j.1) / slots);
            if lower_j > most_j {
                return most_j;
            }
            if upper_j < least_j {
                return least_j;
            }
            least_j = least_j.max(lower_j);
            most_j = most_j.min(upper_j);
        }
        most_j
    }
}

impl Spender for Twin<'_> {
    fn power_up(&mut self) {
        self.average_j.fill(0.0);
        self.learned = 0;
        self.ratio = 1.0;
        self.before_j = None;
        self.sample_s = None;
    }

    fn slot(&mut self, slot: usize, stored_j: f64, spent_j: f64) {
        self.slot = slot;
        if let Some(before_j) = self.before_j {
            self.learn(stored_j - before_j + spent_j + self.slept_j(), stored_j);
        }
        self.before_j = Some(stored_j);
        let is_planning = self.learned == SLOTS || self.knobs.averages == Averages::Season;
        self.sample_s = is_planning.then(|| {
            let spending_j = self.spending_j(stored_j);
            self.case.sample_s(spending_j)
        });
    }

    fn sample_s(&self, stored_j: f64) -> f64 {
        self.sample_s.unwrap_or_else(|| self.case.even_s(stored_j))
    }
}
