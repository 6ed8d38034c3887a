//! The one place where quantities become the integers that firmware holds: each function states its direction.
//!
//! | to | direction | why that side is safe |
//! | --- | --- | --- |
//! | threshold in millivolts | up | firmware acts a little later, never earlier |
//! | threshold in counts | to the side of more volts, through the firmware's own conversion | the count reads at least the threshold |
//! | count to millivolts | down | a reading never stands above what the analogue-to-digital converter saw |
//! | stored energy | down | firmware never counts on energy that is not there |
//! | cost of an action or of sleep | up | an action at its threshold is never thought cheaper than it is |
//! | floor and limits that bound the stored energy | floor up, limit down | as stored energy |
//! | energies, costs and sleep of a plan | nearest | a plan is about what usually happens, and no promise rests on it |
//! | times to wait | up | radio silence is never cut short |
//!
//! docs/rounding.md has the same table for users; a test holds the two together.

use millpond_policy::{EnergyModel, SenseKind};

use crate::model::reading::Scale;
use crate::units::*;

/// A computed voltage this close above a whole millivolt is that millivolt: some thousand units in the last place
/// of a double, a ten-millionth of what a converter can tell.
const SLACK_MV: f64 = 1e-9;
/// Bits of the factor that turns counts into millivolts: a product of two 16-bit numbers is cheap on any chip.
const SCALE_BITS: u32 = 16;

/// Whole millivolts, rounded up; saturates.
///
/// ```
/// use millpond_sizing::rounding::millivolts_up;
/// use millpond_numbers::units::volts;
/// assert_eq!(millivolts_up(volts(2.9151)), 2916);
/// assert_eq!(millivolts_up(volts(2.915)), 2915);
/// ```
pub fn millivolts_up(voltage: Voltage) -> u32 {
    (voltage.get::<volt>() * 1e3 - SLACK_MV).ceil() as u32
}

/// Whole millivolts, rounded down; saturates.
pub fn millivolts_down(voltage: Voltage) -> u32 {
    (voltage.get::<volt>() * 1e3 + SLACK_MV).floor() as u32
}

/// Whole microjoules, rounded up; saturates.
pub fn microjoules_up(energy: Energy) -> u32 {
    (energy.get::<joule>() * 1e6).ceil() as u32
}

/// Whole microwatts, rounded up; saturates.
pub fn microwatts_up(power: Power) -> u32 {
    (power.get::<watt>() * 1e6).ceil() as u32
}

/// Whole seconds, rounded up; saturates at what 16 bits hold.
pub fn seconds_up(time: Time) -> u16 {
    time.get::<second>().ceil() as u16
}

/// Radio silence in whole seconds: rounded up, and one second more, since a counter of whole seconds that has moved by n may
/// have moved by little more than n − 1 seconds; saturates one below what 16 bits hold.
pub fn silence_up(time: Time) -> u16 {
    if time <= seconds(0.0) {
        0
    } else {
        seconds_up(time).saturating_add(1).min(u16::MAX - 1)
    }
}

/// The voltage of a whole number of millivolts: exact.
pub fn from_millivolts(millivolts: u32) -> Voltage {
    volts(f64::from(millivolts) / 1e3)
}

/// How firmware turns a raw count into millivolts: `(count · scale) >> shift`, rounded down twice over; or with a reference against the
/// supply `scale / count`, rounded down likewise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CountScale {
    /// Which of the two.
    pub kind: SenseKind,
    /// Below 2^16 with a divider, below 2^32 against the supply.
    pub scale: u32,
    /// 0 to 31; 0 against the supply.
    pub shift: u32,
    /// The largest count of the converter, 2^bits − 1.
    pub maximum_count: u32,
}

impl CountScale {
    /// With a divider, the largest 16-bit factor that does not stand above the true step of the converter; against the supply, the
    /// largest whole number of millivolts times counts.
    ///
    /// Cannot overflow in firmware: with a divider both factors are below 2^16, and a quotient is refused where it does not fit.
    pub fn of(scale: &Scale) -> Self {
        let full_scale_mv = scale.full_scale.get::<volt>() * 1e3;
        let counts = f64::from(scale.maximum_count) + 1.0;
        let kind = scale.policy_kind();
        let (factor, shift) = match kind {
            SenseKind::Divider => {
                let count_mv = full_scale_mv / counts;
                let mut shift = 0;
                while shift < 31 && count_mv * f64::from(1u32 << (shift + 1)) < f64::from(1u32 << SCALE_BITS)
                {
                    shift += 1;
                }
                let factor = (count_mv * f64::from(1u32 << shift)).floor() as u32;
                (factor.min((1 << SCALE_BITS) - 1), shift)
            }
            // A whole number stays what it is: the slack is far below one part in the largest scale.
            SenseKind::Reference => (((full_scale_mv + SLACK_MV) * counts).floor() as u32, 0),
        };
        Self {
            kind,
            scale: factor,
            shift,
            maximum_count: scale.maximum_count,
        }
    }

    /// What firmware makes of `count`, in millivolts.
    pub fn millivolts(&self, count: u32) -> u32 {
        match self.kind {
            SenseKind::Divider => {
                let product = u64::from(count.min(self.maximum_count)) * u64::from(self.scale);
                (product >> self.shift) as u32
            }
            // What no converter delivers reads nothing.
            SenseKind::Reference => self
                .scale
                .checked_div(count)
                .filter(|millivolts| count <= self.maximum_count && *millivolts <= u32::from(u16::MAX))
                .unwrap_or(0),
        }
    }

    /// What stands for a count that does not exist: one beyond the end at which storage is full.
    pub fn beyond(&self) -> u32 {
        match self.kind {
            SenseKind::Divider => self.maximum_count + 1,
            SenseKind::Reference => 0,
        }
    }

    /// The count at which a reading of `millivolts` or more begins: the smallest that reads so with a divider, the largest against the
    /// supply; `None` if no count does.
    pub fn decide(&self, millivolts: u32) -> Option<u32> {
        let enough = |count: &u32| self.millivolts(*count) >= millivolts;
        match self.kind {
            SenseKind::Divider => {
                let first = partition(0, self.maximum_count + 1, |count| !enough(&count));
                Some(first).filter(|count| *count <= self.maximum_count)
            }
            SenseKind::Reference => {
                // The smallest count that a converter delivers below 65.536 V.
                let least = (self.scale >> u16::BITS) + 1;
                let first_below = partition(least, self.maximum_count + 1, |count| enough(&count));
                first_below
                    .checked_sub(1)
                    .filter(|count| *count >= least && enough(count))
            }
        }
    }
}

/// The first number from `low` up to `high` that is no longer `before`, as all above it.
fn partition(mut low: u32, mut high: u32, before: impl Fn(u32) -> bool) -> u32 {
    while low < high {
        let middle = low + (high - low) / 2;
        if before(middle) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    low
}

/// How firmware turns a reading into stored energy above the floor:
/// `((min(mv, full)² − floor²) >> shift_before) · scale >> shift_after`, in microjoules, rounded down at each step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EnergyScale {
    /// Readings at or below hold no energy that may be used.
    pub floor_mv: u16,
    /// Readings above count as this.
    pub full_mv: u16,
    /// 0 to 16: brings the difference of squares into 16 bits.
    pub shift_before: u8,
    /// Below 2^16.
    pub scale: u16,
    /// 0 to 31.
    pub shift_after: u8,
}

impl EnergyScale {
    /// The scale for `capacitance` between `floor` and `full`; `None` if the energy does not fit into 32 bits of
    /// microjoules.
    ///
    /// Half of `capacitance` in farads is the energy in microjoules per square millivolt (E = C·v²/2). `shift_before` brings the
    /// difference of squares below 2^16, or less far where `scale` would not fit into 16 bits with it. Cannot overflow in firmware: in the
    /// first case both factors are below 2^16; in the second nothing is shifted after, so that the product is at most the energy.
    pub fn of(capacitance: Capacitance, floor: Voltage, full: Voltage) -> Option<Self> {
        let floor_mv = u16::try_from(millivolts_up(floor)).ok()?;
        let full_mv = u16::try_from(millivolts_down(full)).ok()?;
        let square = |mv: u16| u32::from(mv) * u32::from(mv);
        let largest = square(full_mv).saturating_sub(square(floor_mv));
        let half = capacitance.get::<farad>() / 2.0;
        let scaled = |shift: u32| half * (1u64 << shift) as f64;
        let fits = |shift: &u32| scaled(*shift) <= f64::from(u16::MAX);
        let shift_before = (0..=largest.checked_ilog2().unwrap_or_default().saturating_sub(15))
            .rev()
            .find(fits)?;
        let shift_after = (0..=31).rev().find(|after| fits(&(shift_before + after)))?;
        let scale = scaled(shift_before + shift_after).floor();
        let product = f64::from(largest >> shift_before) * scale;
        (product <= f64::from(u32::MAX)).then_some(Self {
            floor_mv,
            full_mv,
            shift_before: shift_before as u8,
            scale: scale as u16,
            shift_after: shift_after as u8,
        })
    }

    /// What firmware makes of a reading, in microjoules.
    pub fn microjoules(&self, storage_mv: u16) -> u32 {
        let square = |mv: u16| u32::from(mv) * u32::from(mv);
        let above = square(storage_mv.min(self.full_mv)).saturating_sub(square(self.floor_mv));
        ((above >> self.shift_before) * u32::from(self.scale)) >> self.shift_after
    }
}

impl From<EnergyScale> for EnergyModel {
    fn from(scale: EnergyScale) -> Self {
        Self {
            floor_mv: scale.floor_mv,
            full_mv: scale.full_mv,
            energy_shift_before: scale.shift_before,
            energy_scale: scale.scale,
            energy_shift_after: scale.shift_after,
        }
    }
}

/// The energies of a plan as firmware counts them: in units of 2^`shift` µJ, to the nearest, since a plan is about what happens
/// and no promise rests on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EnergyUnit {
    /// At most 16.
    pub shift: u8,
}

impl EnergyUnit {
    /// Largest storage in units.
    pub const MOST: u32 = 32_767;

    /// The finest unit in which `full` is counted in at most [`Self::MOST`]; `None` above 2147 J, which 31 bits of microjoules
    /// do not hold.
    pub fn of(full: Energy) -> Option<Self> {
        (0..=16)
            .map(|shift| Self { shift })
            .find(|unit| unit.units(full) <= f64::from(Self::MOST))
    }

    /// `energy`, to the nearest unit; the largest number there is when it is too much.
    pub fn nearest(self, energy: Energy) -> u32 {
        self.units(energy).round() as u32
    }

    /// `energy` over a time, in units times seconds, to the nearest.
    pub fn nearest_times(self, energy: Energy, time: Time) -> u32 {
        (self.units(energy) * time.get::<second>()).round() as u32
    }

    fn units(self, energy: Energy) -> f64 {
        energy.get::<joule>() * 1e6 / f64::from(1u32 << self.shift)
    }
}

/// Energy in whole microjoules, to the nearest: what usually happens, without a safe side.
pub fn microjoules_nearest(energy: Energy) -> u32 {
    (energy.get::<joule>() * 1e6).round() as u32
}

/// Power in whole microwatts, to the nearest.
pub fn microwatts_nearest(power: Power) -> u32 {
    (power.get::<watt>() * 1e6).round() as u32
}

impl From<CountScale> for millpond_policy::Sense {
    fn from(scale: CountScale) -> Self {
        Self {
            kind: scale.kind,
            count_scale: scale.scale,
            count_shift: scale.shift as u8,
            maximum_count: scale.maximum_count as u16,
        }
    }
}

#[cfg(test)]
mod tests;
