//! Steady light in a node's own terms: power of a constant source, irradiance of a solar module, illuminance of a cell indoors.

use std::fmt;

use super::{Income, indoor};
use crate::halving::halved;
use crate::node::Source;
use crate::node::quantity::parse;
use crate::text::Engineering;
use crate::units::*;

/// The time over which a source is looked at for what is typical of it: a year, the longest round of any.
const YEAR_S: f64 = 365.0 * 86_400.0;
/// Halvings of a range of illuminance: to a part of 10^-15.
const HALVINGS: u32 = 50;
/// No lamp and no sky gives more (lx): direct sun gives a hundred thousand.
const MOST_LX: f64 = 1e6;

/// Light, or whatever else the source lives on, at one level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Light {
    /// Power that the source offers to the converter.
    Power(Power),
    /// Irradiance at a solar module, shade taken off.
    Irradiance(PowerDensity),
    /// Illuminance at a cell indoors.
    Illuminance(Illuminance),
}

impl Light {
    /// Reads "900 uW", "40 W/m2" or "200 lx"; `None` if it is none of them, or negative.
    ///
    /// ```
    /// use millpond_income::income::light::Light;
    /// use millpond_numbers::units::*;
    /// assert_eq!(Light::read("200 lx"), Some(Light::Illuminance(luxes(200.0))));
    /// assert_eq!(Light::read("bright"), None);
    /// ```
    pub fn read(text: &str) -> Option<Self> {
        let light = parse(text)
            .map(Self::Power)
            .or_else(|_| parse(text).map(Self::Irradiance))
            .or_else(|_| parse(text).map(Self::Illuminance))
            .ok()?;
        let is_there = match light {
            Self::Power(power) => power >= watts(0.0),
            Self::Irradiance(irradiance) => irradiance >= watts_per_square_meter(0.0),
            Self::Illuminance(illuminance) => illuminance >= luxes(0.0),
        };
        is_there.then_some(light)
    }

    /// What `source` offers in this light; `None` where the source does not live on such light.
    pub fn power(self, source: &Source) -> Option<Power> {
        match (self, source) {
            (Self::Power(power), _) => Some(power),
            (Self::Irradiance(irradiance), Source::Photovoltaic { area, efficiency, .. }) => {
                Some(irradiance * *area * *efficiency)
            }
            (
                Self::Illuminance(illuminance),
                Source::Indoor {
                    area, power_density, ..
                },
            ) => Some(indoor::cell_power(illuminance, *area, power_density)),
            _ => None,
        }
    }

    /// The least light in which `source` offers `power`, in the source's own terms; `None` where no light does.
    pub fn offering(power: Power, source: &Source) -> Option<Self> {
        match source {
            Source::Constant { .. } | Source::Trace => Some(Self::Power(power)),
            Source::Photovoltaic { area, efficiency, .. } => {
                Some(Self::Irradiance(power / (*area * *efficiency)))
            }
            Source::Indoor {
                area, power_density, ..
            } => {
                let offered = |lx: f64| indoor::cell_power(luxes(lx), *area, power_density);
                // By halving, since the table may be of any shape; it rises, or the first place that suffices is found.
                if offered(MOST_LX) < power {
                    return None;
                }
                let (_, high_lx) = halved(0.0, MOST_LX, HALVINGS, |lx| offered(lx) >= power);
                Some(Self::Illuminance(luxes(high_lx)))
            }
        }
    }

    /// What is typical of `source`: the light that offers its mean power over the time in which it gives any. `None` for a trace.
    pub fn typical(source: &Source) -> Option<Self> {
        let income = Income::of(source)?;
        let (mut from_s, mut lit_s, mut energy_j) = (0.0, 0.0, 0.0);
        for segment in income.segments() {
            let until_s = segment.until_s.min(YEAR_S);
            if segment.power > watts(0.0) {
                lit_s += until_s - from_s;
                energy_j += segment.power.get::<watt>() * (until_s - from_s);
            }
            from_s = until_s;
            if from_s >= YEAR_S {
                break;
            }
        }
        let mean_w = if lit_s > 0.0 { energy_j / lit_s } else { 0.0 };
        Self::offering(watts(mean_w), source)
    }
}

impl fmt::Display for Light {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Power(power) => Engineering(*power, "W").fmt(f),
            Self::Irradiance(irradiance) => Engineering(*irradiance, "W/m2").fmt(f),
            Self::Illuminance(illuminance) => Engineering(*illuminance, "lx").fmt(f),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node;
    use approx::assert_relative_eq;

    /// Rounding of a product.
    const ROUNDING: f64 = 1e-12;
    /// Rounding of sums over a year, and of going there and back.
    const SUMS: f64 = 1e-9;

    /// By hand: the display case gives 8 cm2 · 6 uW/cm2 = 48 uW in 200 lx and 272 uW in 1000 lx; the schedule has 180 lx for 8 h
    /// (43.2 uW) and 20 lx for 2.5 h (4.8 uW), a mean of 34.057 uW, 141.905 lx in proportion to the first point.
    #[test]
    fn light_and_power_are_as_by_hand() {
        let source = node::example("display-case").harvest.source;
        let power = Light::Illuminance(luxes(600.0))
            .power(&source)
            .expect("a cell indoors");
        assert_relative_eq!(power.get::<watt>(), 160e-6, max_relative = ROUNDING);
        let Some(Light::Illuminance(back)) = Light::offering(power, &source) else {
            panic!("a cell indoors")
        };
        assert_relative_eq!(back.get::<lux>(), 600.0, max_relative = SUMS);
        let mean_uw = (8.0 * 43.2 + 2.5 * 4.8) / 10.5;
        let Some(Light::Illuminance(typical)) = Light::typical(&source) else {
            panic!("a cell indoors")
        };
        // The year has a 53rd Monday: one closed day more than 52 weeks, and no lit time less than the mean knows.
        assert_relative_eq!(typical.get::<lux>(), mean_uw / 48.0 * 200.0, max_relative = SUMS);
        assert_eq!(
            Light::Irradiance(watts_per_square_meter(1.0)).power(&source),
            None
        );
    }

    /// 30 cm2 at 7 % in 100 W/m2: 21 mW, by hand.
    #[test]
    fn a_module_gives_area_times_efficiency() {
        let source = node::example("crack-gauge").harvest.source;
        let light = Light::read("100 W/m2").expect("an irradiance");
        let power = light.power(&source).expect("a module");
        assert_relative_eq!(power.get::<watt>(), 21e-3, max_relative = ROUNDING);
        assert_eq!(light.to_string(), "100 W/m2");
        assert_eq!(
            Light::typical(&node::example("pump-bearing").harvest.source),
            Some(Light::Power(watts(900e-6)))
        );
    }
}
