//! What a solar module outdoors offers under a sky without clouds, over a year.
//!
//! Irradiance of the horizontal from the elevation of the sun: B. Haurwitz, "Insolation in relation to cloudiness and
//! cloud density", Journal of Meteorology 2 (1945) 154–166, in W/m² as
//!
//! ```text
//! GHI = 1098 · cos z · exp(−0.059 / cos z)        z zenith distance of the sun; 0 where cos z ≤ 0
//! power = GHI · shade · area · efficiency
//! ```
//!
//! The module is taken as horizontal, and as equally efficient in all light; `shade` is the place to put what a tilt or
//! a bridge does to it.

use super::Segment;
use super::sun::elevation_deg;
use crate::node::Site;
use crate::units::*;

/// Irradiance at the zenith without any air.
const ABOVE_AIR_W_M2: f64 = 1098.0;
/// How strongly the air of one zenith distance dims.
const DIMMING: f64 = 0.059;
const STEP_S: f64 = 600.0;
const STEPS_IN_YEAR: u32 = 365 * 24 * 6;
/// Half steps from one asked position of the sun to the next. In these 30 minutes the earth turns by 0.131 rad, and the
/// cubic between positions errs by less than 0.131⁴·3/128 = 7·10⁻⁶ in the sine: 0.0004°.
const HALF_STEPS_IN_SAMPLE: u32 = 6;

/// Irradiance of the horizontal under a clear sky, for the geometric elevation of the sun [°], −90 to 90.
///
/// ```
/// use millpond_income::income::clear_sky::irradiance;
/// use millpond_numbers::units::*;
/// assert!((irradiance(90.0) - watts_per_square_meter(1035.09)).abs() < watts_per_square_meter(0.01));
/// assert_eq!(irradiance(-1.0), watts_per_square_meter(0.0));
/// ```
pub fn irradiance(elevation_deg: f64) -> PowerDensity {
    irradiance_by_sine(libm::sin(elevation_deg.to_radians()))
}

/// The same for the sine of the elevation, which is the cosine of the zenith distance.
fn irradiance_by_sine(sine: f64) -> PowerDensity {
    if sine <= 0.0 {
        return watts_per_square_meter(0.0);
    }
    watts_per_square_meter(ABOVE_AIR_W_M2 * sine * libm::exp(-DIMMING / sine))
}

/// Power of a module of `area` in the given light.
pub fn module_power(irradiance: PowerDensity, area: Area, efficiency: Ratio) -> Power {
    irradiance * area * efficiency
}

/// One year in steps of ten minutes, each with its mean power.
///
/// The mean is Simpson's: exact for a cubic, and the irradiance is smooth, since at the horizon it vanishes with all
/// its derivatives.
pub(super) fn year(area: Area, efficiency: Ratio, site: &Site) -> Vec<Segment> {
    let sines = SampledSines::of(site);
    let mut start = irradiance_by_sine(sines.at(0));
    let steps = (1..=STEPS_IN_YEAR).map(|step| {
        let middle = irradiance_by_sine(sines.at(2 * step - 1));
        let end = irradiance_by_sine(sines.at(2 * step));
        let mean = (start + 4.0 * middle + end) / 6.0;
        start = end;
        Segment {
            until_s: f64::from(step) * STEP_S,
            power: module_power(mean * site.shade, area, efficiency),
        }
    });
    steps.collect()
}

/// The sine of the sun's elevation over the year, sampled; it is as smooth as the turning of the earth.
struct SampledSines(Vec<f64>);

impl SampledSines {
    fn of(site: &Site) -> Self {
        let sample_s = f64::from(HALF_STEPS_IN_SAMPLE) * STEP_S / 2.0;
        // One before the year, and two after its end.
        let samples = 2 * STEPS_IN_YEAR / HALF_STEPS_IN_SAMPLE + 4;
        let times = (0..samples).map(|sample| seconds((f64::from(sample) - 1.0) * sample_s));
        Self(
            times
                .map(|time| libm::sin(elevation_deg(site, time).to_radians()))
                .collect(),
        )
    }

    /// By the cubic through the two samples on either side (Lagrange).
    fn at(&self, half_steps: u32) -> f64 {
        let place = (half_steps / HALF_STEPS_IN_SAMPLE) as usize;
        let part = f64::from(half_steps % HALF_STEPS_IN_SAMPLE) / f64::from(HALF_STEPS_IN_SAMPLE);
        let weights = [
            -part * (part - 1.0) * (part - 2.0) / 6.0,
            (part + 1.0) * (part - 1.0) * (part - 2.0) / 2.0,
            -(part + 1.0) * part * (part - 2.0) / 2.0,
            (part + 1.0) * part * (part - 1.0) / 6.0,
        ];
        self.0[place..]
            .iter()
            .zip(weights)
            .map(|(sine, weight)| sine * weight)
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::income::Income;
    use crate::node::Source;
    use approx::{assert_abs_diff_eq, assert_relative_eq};
    use proptest::prelude::*;

    /// The moment of the equinox, told by hand to a hundredth of a day, differs by hours from year to year (days).
    const ALMANAC_DAYS: f64 = 0.1;

    /// The figures below are given to six decimals.
    const PRINTED_W_M2: f64 = 1e-6;
    /// What a step of ten minutes may cost in the energy of a day.
    const DAY_ENERGY: f64 = 1e-3;
    /// Days with less are too dark to compare by a fraction [J/m²]: 1 Wh/m², a ten-thousandth of a summer's day.
    const DARK_J_M2: f64 = 3600.0;
    const DAY_S: f64 = 86_400.0;
    /// A few rounded products.
    const ROUNDING: f64 = 1e-12;

    fn site(latitude_deg: f64, longitude_deg: f64) -> Site {
        Site {
            latitude_deg,
            longitude_deg,
            shade: fraction(1.0),
        }
    }

    /// Energy on a square metre of the horizontal in a day, by the steps (J).
    fn by_steps(segments: &[Segment], day: u32) -> f64 {
        let (from_s, to_s) = (f64::from(day) * DAY_S, f64::from(day + 1) * DAY_S);
        let mut start_s = 0.0;
        let mut energy_j = 0.0;
        for segment in segments {
            let lasts_s = (segment.until_s.min(to_s) - f64::max(start_s, from_s)).max(0.0);
            energy_j += lasts_s * segment.power.get::<watt>();
            start_s = segment.until_s;
        }
        energy_j
    }

    /// The same by the midpoint rule over steps of ten seconds.
    fn fine(site: &Site, day: u32) -> f64 {
        let middles = (0..8640).map(|k| f64::from(day) * DAY_S + f64::from(k) * 10.0 + 5.0);
        middles
            .map(|time_s| 10.0 * irradiance(elevation_deg(site, seconds(time_s))).value)
            .sum()
    }

    #[test]
    fn the_zenith_by_hand() {
        // cos z = 1: 1098·exp(−0.059). cos z = 1/2: 549·exp(−0.118).
        assert_relative_eq!(irradiance(90.0).value, 1_035.092_033, epsilon = PRINTED_W_M2);
        assert_relative_eq!(irradiance(30.0).value, 487.894_133, epsilon = PRINTED_W_M2);
        assert_eq!(irradiance(0.0).value, 0.0);
        assert_eq!(irradiance(-90.0).value, 0.0);
    }

    #[test]
    fn a_general_library_says_the_same() {
        // pvlib 0.16.1, clearsky.haurwitz at zenith 10, 30, 75, 85 and 89°.
        for (zenith_deg, ghi_w_m2) in [
            (10.0, 1_018.439_284),
            (30.0, 888.271_335),
            (75.0, 226.254_619),
            (85.0, 48.629_869),
            (89.0, 0.652_037),
        ] {
            assert_abs_diff_eq!(
                irradiance(90.0 - zenith_deg).value,
                ghi_w_m2,
                epsilon = PRINTED_W_M2
            );
        }
    }

    #[test]
    fn days_hold_what_a_general_library_sums() {
        // pvlib 0.16.1, sum over the minutes of the UTC day of clearsky.haurwitz of the true zenith [Wh/m²].
        let berlin = year(square_meters(1.0), fraction(1.0), &site(52.52, 13.405));
        assert_relative_eq!(
            by_steps(&berlin, 171) / 3600.0,
            8651.114,
            max_relative = DAY_ENERGY
        );
        assert_relative_eq!(
            by_steps(&berlin, 354) / 3600.0,
            922.866,
            max_relative = DAY_ENERGY
        );
        let miami = year(square_meters(1.0), fraction(1.0), &site(25.76, -80.19));
        assert_relative_eq!(by_steps(&miami, 78) / 3600.0, 6847.700, max_relative = DAY_ENERGY);
    }

    #[test]
    fn a_night_is_one_segment_and_a_polar_night_many_days() {
        let power = |site| {
            Income::of(&Source::Photovoltaic {
                area: square_meters(1.0),
                efficiency: fraction(1.0),
                site,
            })
            .expect("a module has an income")
        };
        let equator = power(site(0.0, 0.0));
        let dark = equator
            .segments()
            .take_while(|segment| segment.until_s < 365.0 * DAY_S);
        assert_eq!(dark.filter(|segment| segment.power == watts(0.0)).count(), 365);
        // At the pole the sun is below the horizon from one equinox to the next.
        let pole = power(site(90.0, 0.0));
        let ends: Vec<Segment> = pole.segments().take(2).collect();
        assert_eq!(ends[0].power, watts(0.0));
        assert_abs_diff_eq!(ends[0].until_s / DAY_S, 78.68, epsilon = ALMANAC_DAYS);
    }

    #[test]
    fn sines_between_samples_are_those_of_the_sun() {
        // The cubic's error as derived beside the sampling, and the library's rounding.
        const SINE: f64 = 1e-5;
        let site = site(23.5, 77.0);
        let sines = SampledSines::of(&site);
        for half_steps in (0..=2 * STEPS_IN_YEAR).step_by(97).chain([2 * STEPS_IN_YEAR]) {
            let sun = elevation_deg(&site, seconds(f64::from(half_steps) * STEP_S / 2.0))
                .to_radians()
                .sin();
            assert_abs_diff_eq!(sines.at(half_steps), sun, epsilon = SINE);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(20))]

        #[test]
        fn a_day_holds_what_fine_quadrature_finds(
            latitude in -90.0f64..90.0, longitude in -180.0f64..180.0, day in 0u32..365,
        ) {
            let site = site(latitude, longitude);
            let (got, want) = (by_steps(&year(square_meters(1.0), fraction(1.0), &site), day), fine(&site, day));
            prop_assert!((got - want).abs() <= DAY_ENERGY * want.max(DARK_J_M2), "{got} {want}");
        }
    }

    proptest! {
        #[test]
        fn a_higher_sun_is_brighter(low in 0.0f64..90.0, lift in 0.0f64..90.0) {
            let high = (low + lift).min(90.0);
            prop_assert!(irradiance(high) >= irradiance(low));
            prop_assert!(irradiance(high) <= watts_per_square_meter(ABOVE_AIR_W_M2));
        }

        #[test]
        fn power_is_in_proportion_to_light_and_area(light in 0.0f64..2000.0, area in 1e-4f64..1.0, factor in 0.0f64..9.0) {
            let power = |light, area| {
                module_power(watts_per_square_meter(light), square_meters(area), fraction(0.1)).get::<watt>()
            };
            let (once, many) = (power(light, area), power(light * factor, area));
            prop_assert!((many - factor * once).abs() <= ROUNDING * (1.0 + once));
            prop_assert_eq!(power(light, area), light * area * 0.1);
        }
    }
}
