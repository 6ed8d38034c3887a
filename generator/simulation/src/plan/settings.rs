//! What physics leaves open in a plan: the numbers that are tuned, as the integers that firmware gets.

use std::fmt;
use std::ops::{Index, IndexMut};

use millpond_policy::AHEAD_SLOTS;

/// Number of settings.
pub const COUNT: usize = 9;

/// The settings, in the order of [`ALL`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Name {
    /// What a slot keeps of its average a day later (1/256).
    SlotKept,
    /// What the ratio of today keeps in each slot (1/256).
    RatioKept,
    /// What is left of the ratio's distance from 1 in each slot ahead (1/256).
    RatioFading,
    /// Factor on the income of a slot that ended full (1/64).
    Growth,
    /// Part of the remembered income that the next slot counts on (1/128).
    CautionNear,
    /// The same of the farthest slot.
    CautionFar,
    /// What is left of their difference in each slot ahead (1/256).
    CautionFading,
    /// What no plan spends: a share of the room above the thresholds (1/256).
    Reserve,
    /// What a plan leaves at its end: a share of the same room (1/256).
    Target,
}

impl Name {
    /// Name and range of this setting.
    ///
    /// ```
    /// use millpond_simulation::plan::settings::Name;
    /// assert_eq!(Name::SlotKept.setting().name, "slot_kept");
    /// assert_eq!(Name::Target.setting().name, "target");
    /// ```
    pub fn setting(self) -> &'static Setting {
        &ALL[self as usize]
    }
}

/// One setting: its name and range, and the first and last step with which it is varied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setting {
    /// Name, as a generated file has it.
    pub name: &'static str,
    /// Smallest value.
    pub least: i32,
    /// Largest value.
    pub most: i32,
    /// First step of the search.
    pub step: i32,
    /// Where the search begins: what served best over many incomes (docs/pacing.md).
    pub usual: i32,
}

const fn setting(name: &'static str, least: i32, usual: i32, most: i32, step: i32) -> Setting {
    Setting {
        name,
        least,
        most,
        step,
        usual,
    }
}

/// All settings. Weights and shares are in 1/256, cautions in 1/128, the growth in 1/64.
pub const ALL: [Setting; COUNT] = [
    setting("slot_kept", 96, 223, 250, 24),
    setting("ratio_kept", 0, 84, 230, 40),
    setting("ratio_fading", 64, 233, 252, 16),
    setting("growth", 65, 83, 128, 12),
    setting("caution_near", 48, 122, 160, 12),
    setting("caution_far", 8, 64, 128, 16),
    setting("caution_fading", 200, 238, 252, 8),
    setting("reserve", 0, 8, 230, 10),
    setting("target", 0, 23, 250, 24),
];

/// Values of the settings, in the order of [`ALL`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Settings(pub [i32; COUNT]);

impl Index<Name> for Settings {
    type Output = i32;

    fn index(&self, name: Name) -> &i32 {
        &self.0[name as usize]
    }
}

impl IndexMut<Name> for Settings {
    fn index_mut(&mut self, name: Name) -> &mut i32 {
        &mut self.0[name as usize]
    }
}

impl Settings {
    /// Where the search begins.
    ///
    /// ```
    /// use millpond_simulation::plan::settings::Settings;
    /// assert!(Settings::usual().caution()[0] > Settings::usual().caution()[47]);
    /// ```
    pub fn usual() -> Self {
        Self(ALL.map(|setting| setting.usual))
    }

    /// The least of each.
    pub fn least() -> Self {
        Self(ALL.map(|setting| setting.least))
    }

    /// These, each raised to that of `least` where it is below.
    #[must_use]
    pub fn at_least(mut self, least: &Self) -> Self {
        for (value, least) in self.0.iter_mut().zip(least.0) {
            *value = (*value).max(least);
        }
        self
    }

    /// What a slot keeps of its average a day later (1/256).
    pub fn slot_kept(&self) -> u8 {
        byte(self[Name::SlotKept])
    }

    /// What the ratio of today keeps in each slot (1/256).
    pub fn ratio_kept(&self) -> u8 {
        byte(self[Name::RatioKept])
    }

    /// What is left of the ratio's distance from 1 in each slot ahead (1/256).
    pub fn ratio_fading(&self) -> u8 {
        byte(self[Name::RatioFading])
    }

    /// Factor on the income of a slot that ended full (1/64).
    pub fn growth(&self) -> u8 {
        byte(self[Name::Growth])
    }

    /// Part of the remembered income that each slot ahead counts on (1/128): from near to far in a geometric fall.
    pub fn caution(&self) -> [u8; AHEAD_SLOTS] {
        let [near, far, fading] =
            [Name::CautionNear, Name::CautionFar, Name::CautionFading].map(|name| f64::from(self[name]));
        let mut left = 1.0;
        [0; AHEAD_SLOTS].map(|_: u8| {
            left *= fading / 256.0;
            byte((far + (near - far) * left).round() as i32)
        })
    }

    /// What no plan spends: a share of the room above the thresholds (1/256).
    pub fn reserve(&self) -> f64 {
        f64::from(self[Name::Reserve]) / 256.0
    }

    /// What a plan leaves at its end: a share of the same room (1/256).
    pub fn target(&self) -> f64 {
        f64::from(self[Name::Target]) / 256.0
    }
}

impl fmt::Display for Settings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, (setting, value)) in ALL.iter().zip(self.0).enumerate() {
            let separator = if index == 0 { "" } else { ", " };
            write!(f, "{separator}{} {value}", setting.name)?;
        }
        Ok(())
    }
}

fn byte(value: i32) -> u8 {
    value.clamp(0, u8::MAX.into()) as u8
}
