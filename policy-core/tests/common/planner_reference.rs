//! The planner once more, as its description has it and not as its code: numbers that cannot overflow, the processor's own
//! division, and the taut string by a search over all points that its first segment may end in.

use millpond_policy::{AHEAD_SLOTS, PlanParts, Reading, SLOT_S, SLOTS};

use super::common::plans::{Memory, stored_uj};

const SLOT: i128 = SLOT_S as i128;

/// What a planner remembers, in wide numbers.
pub(crate) struct Reference {
    slots_units: [i128; SLOTS],
    /// Spent in this slot, less what was stored at its start (µJ).
    balance_uj: i128,
    since_s: i128,
    interval_s: i128,
    slot: usize,
    ratio: i128,
    learned: Option<u8>,
}

impl Reference {
    pub(crate) fn of(memory: Memory) -> Self {
        Self {
            slots_units: memory.slots_units.map(i128::from),
            balance_uj: i128::from(memory.balance_uj) - (1 << 31),
            since_s: memory.since_s.into(),
            interval_s: memory.interval_s.into(),
            slot: memory.slot.into(),
            ratio: memory.ratio.into(),
            learned: (memory.learned != u8::MAX).then_some(memory.learned),
        }
    }

    pub(crate) fn memory(&self) -> Memory {
        let narrow = |number: i128| u16::try_from(number).expect("16 bits");
        Memory {
            slots_units: self.slots_units.map(narrow),
            balance_uj: u32::try_from(self.balance_uj + (1 << 31)).expect("32 bits"),
            since_s: narrow(self.since_s),
            interval_s: narrow(self.interval_s),
            slot: self.slot as u8,
            ratio: u8::try_from(self.ratio).expect("8 bits"),
            learned: self.learned.unwrap_or(u8::MAX),
        }
    }

    /// A slot's spending is counted up to 2³¹ − 1 µJ beyond what was stored.
    pub(crate) fn spend(&mut self, energy_uj: u32) {
        self.balance_uj = (self.balance_uj + i128::from(energy_uj)).min(i32::MAX.into());
    }

    pub(crate) fn observe(&mut self, parts: &PlanParts, reading: Reading) {
        let stored_uj = stored_uj(&parts.energy, reading.storage_mv);
        if self.learned.is_none() {
            self.learned = Some(0);
            self.balance_uj = -stored_uj;
            return;
        }
        let elapsed_s = reading.elapsed_s.min(65_535);
        // What sleep took in a slot that teaches nothing is of interest to nobody, but is remembered modulo 2³² until its end.
        self.spend(parts.costs.sleep_uw.wrapping_mul(elapsed_s));
        self.since_s = (self.since_s + i128::from(elapsed_s)).min(65_535);
        let ended = self.since_s / SLOT;
        if ended == 0 {
            return;
        }
        if ended == 1 {
            self.learn(parts, reading.storage_mv, stored_uj);
        }
        self.since_s %= SLOT;
        self.slot = (self.slot + ended as usize) % SLOTS;
        self.balance_uj = -stored_uj;
        if self.learned == Some(SLOTS as u8) {
            let (units, slots) = first_slope(&self.corridor(parts, stored_uj));
            let interval_s = if units <= 0 {
                i128::MAX
            } else {
                i128::from(parts.sample_unit_s) * slots / units + 1
            };
            self.interval_s = interval_s.clamp(parts.fastest_s.into(), parts.slowest_s.into());
        }
    }

    fn learn(&mut self, parts: &PlanParts, storage_mv: u16, stored_uj: i128) {
        let known = self.slots_units[self.slot];
        // 32 bits of income is more than a slot can hold.
        let income_uj = (stored_uj + self.balance_uj).clamp(0, i32::MAX.into());
        let mut seen = (income_uj >> parts.unit_shift).min(65_535);
        if storage_mv >= parts.full_reading_mv {
            seen = (seen.max(known) * i128::from(parts.growth) / 64).min(65_535);
        }
        let learned = self.learned.expect("started");
        if usize::from(learned) < SLOTS {
            self.slots_units[self.slot] = seen;
            self.learned = Some(learned + 1);
            return;
        }
        let nearest = |first: i128, second: i128, kept: u8| {
            (first * i128::from(kept) + second * (256 - i128::from(kept)) + 128) / 256
        };
        if known > i128::from(parts.full_units) / 512 {
            let today = (64 * seen / known).min(192);
            self.ratio = nearest(self.ratio, today, parts.ratio_kept);
        } else {
            // Towards 1, and never past it.
            let left = (self.ratio - 64).abs() * i128::from(parts.ratio_fading) / 256;
            self.ratio = 64 + (self.ratio - 64).signum() * left;
        }
        self.slots_units[self.slot] = nearest(known, seen, parts.slot_kept);
    }

    /// Least and most that may have been spent on samples by the end of each slot ahead.
    fn corridor(&self, parts: &PlanParts, stored_uj: i128) -> Vec<(i128, i128)> {
        let mut have = (stored_uj >> parts.unit_shift).min(parts.full_units.into());
        let mut distance = (self.ratio - 64).abs() * 256;
        let mut corridor = Vec::new();
        for (ahead, caution) in parts.caution.iter().enumerate() {
            distance = distance * i128::from(parts.ratio_fading) / 256;
            let factor = 64 + (self.ratio - 64).signum() * (distance / 256);
            let average = self.slots_units[(self.slot + ahead) % SLOTS];
            have += average * i128::from(*caution) / 128 * factor / 64;
            have -= i128::from(parts.sleep_units);
            let target = i128::from(parts.target_units);
            corridor.push(if ahead + 1 == AHEAD_SLOTS {
                (have - target, have - target)
            } else {
                (
                    have - i128::from(parts.full_units),
                    have - i128::from(parts.reserve_units),
                )
            });
        }
        corridor
    }
}

/// First slope of the tightest string from 0 through (lower, upper) at 1, 2, 3 …, to where the last two are one: units, slots.
///
/// A straight line from 0 that is too steep leaves the corridor over the top first, one that is too flat through the floor.
/// The string's own slope is the one between: of all lines to a corner, the one of which any steeper leaves over the top
/// and any flatter through the floor.
pub(crate) fn first_slope(corridor: &[(i128, i128)]) -> (i128, i128) {
    let points = || (1_i128..).zip(corridor);
    let corners = points().flat_map(|(at, (lower, upper))| [(*lower, at), (*upper, at)]);
    for (units, slots) in corners {
        // Where the line and a bound are compared: units · at against bound · slots.
        let first = |is_out: &dyn Fn(i128, i128, i128) -> bool| {
            points()
                .find(|(at, (lower, upper))| is_out(units * at, lower * slots, upper * slots))
                .map_or(i128::MAX, |(at, _)| at)
        };
        let steeper_over = first(&|line, _, upper| line >= upper);
        let steeper_under = first(&|line, lower, _| line < lower);
        let flatter_under = first(&|line, lower, _| line <= lower);
        let flatter_over = first(&|line, _, upper| line > upper);
        if steeper_over < steeper_under && flatter_under < flatter_over {
            return (units, slots);
        }
    }
    panic!("every corridor has a string");
}
