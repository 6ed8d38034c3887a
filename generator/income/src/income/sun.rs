//! Where the sun stands over a site.
//!
//! Algorithm 3 of R. Grena, "Five new algorithms for the computation of sun position from 2010 to 2110", Solar Energy
//! 86 (2012) 1323–1337, by the library `solar-positioning`; stated to be good to 0.01°. The elevation is geometric.
//! Refraction, which lifts the sun by 0.5° at the horizon and by 0.1° at 10°, is left out: it would add 0.1 % to the clear
//! sky of a summer's day at 52.5° north and 1.4 % to that of a winter's day, so that leaving it out errs to the low side.

use solar_positioning::time::JulianDate;
use solar_positioning::{Location, SolarPositions};

use crate::node::Site;
use crate::units::*;

/// The year whose sun is taken for every year: 365 days, a Monday first.
pub const YEAR: i32 = 2018;
/// Its first instant, 1 January, 00:00 UTC [Julian date].
const YEAR_START_JULIAN: f64 = 2_458_119.5;
/// Terrestrial time less universal time in that year (s), to the next second; 1 s moves the sun by 0.00001° on the sky.
const CLOCK_DIFFERENCE_S: f64 = 69.0;
const DAY_S: f64 = 86_400.0;

/// Geometric elevation of the sun's centre over the horizon [°], −90 to 90, `since_new_year` after 1 January 00:00 UTC
/// of [`YEAR`].
///
/// ```
/// use millpond_income::income::sun::elevation_deg;
/// use millpond_node::node::Site;
/// use millpond_numbers::units::*;
/// let pole = Site { latitude_deg: 90.0, longitude_deg: 0.0, shade: fraction(1.0) };
/// // The June solstice, 21 June 2018, 10:07 UTC: the sun stands over the pole as high as the ecliptic is inclined.
/// let solstice = seconds((171.0 * 24.0 + 10.0) * 3600.0 + 7.0 * 60.0);
/// assert!((elevation_deg(&pole, solstice) - 23.435).abs() < 0.01);
/// ```
///
/// # Panics
///
/// When the site lies outside the range that [`Site`] states, or the time outside the years 2010 to 2110.
pub fn elevation_deg(site: &Site, since_new_year: Time) -> f64 {
    let julian = YEAR_START_JULIAN + since_new_year.get::<second>() / DAY_S;
    let location = Location {
        latitude: site.latitude_deg,
        longitude: site.longitude_deg,
    };
    JulianDate::new(julian, CLOCK_DIFFERENCE_S)
        .and_then(|time| SolarPositions::grena3().at_from_julian(time, location, 0.0, None))
        .expect("a site and a time within their stated ranges have a sun")
        .elevation_angle()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    /// Rounding of sines near 90° is 1e-7°.
    const ROUNDING_DEG: f64 = 1e-6;

    /// What the model asks of the position [°].
    const POSITION_DEG: f64 = 0.1;
    /// The algorithm's stated error, and 0.0024° of parallax [°].
    const ALGORITHM_DEG: f64 = 0.0125;

    fn site(latitude_deg: f64, longitude_deg: f64) -> Site {
        Site {
            latitude_deg,
            longitude_deg,
            shade: fraction(1.0),
        }
    }

    /// `day` counts from 0.
    fn moment(day: f64, hour: f64, minute: f64) -> Time {
        seconds(((day * 24.0 + hour) * 60.0 + minute) * 60.0)
    }

    #[test]
    fn seasons_begin_when_the_almanac_says() {
        // By definition the sun stands on the equator at an equinox, and a pole sees it on the horizon; at a solstice it
        // is off by the obliquity of the ecliptic, 23.435° in 2018. Times from "Earth's Seasons" of the
        // Astronomical Applications Department, U.S. Naval Observatory (from memory): to the minute, in which the
        // declination moves by 0.0003°.
        let north = site(90.0, 0.0);
        for (day, hour, minute, elevation) in [
            (78.0, 16.0, 15.0, 0.0),
            (171.0, 10.0, 7.0, 23.435),
            (265.0, 1.0, 54.0, 0.0),
            (354.0, 22.0, 23.0, -23.435),
        ] {
            let got = elevation_deg(&north, moment(day, hour, minute));
            assert_abs_diff_eq!(got, elevation, epsilon = ALGORITHM_DEG);
        }
    }

    #[test]
    fn a_general_library_says_the_same() {
        // pvlib 0.16.1, solarposition.get_solarposition(..., altitude=0).zenith.
        for (latitude, longitude, time, zenith) in [
            (52.52, 13.405, moment(171.0, 11.0, 10.0), 29.088_025),
            (52.52, 13.405, moment(354.0, 11.0, 6.0), 75.957_766),
            (-33.8688, 151.2093, moment(14.0, 3.0, 0.0), 17.675_725),
            (69.6492, 18.9553, moment(171.0, 22.0, 50.0), 86.916_196),
            (-1.2864, 36.8172, moment(78.0, 9.0, 40.0), 1.179_209),
        ] {
            let got = 90.0 - elevation_deg(&site(latitude, longitude), time);
            assert_abs_diff_eq!(got, zenith, epsilon = ALGORITHM_DEG);
        }
    }

    proptest! {
        /// Half a turn east and half a turn west is the same meridian.
        #[test]
        fn the_date_line_is_one_line(latitude in -90.0f64..90.0, time_s in 0.0f64..365.0 * DAY_S) {
            let east = elevation_deg(&site(latitude, 180.0), seconds(time_s));
            let west = elevation_deg(&site(latitude, -180.0), seconds(time_s));
            prop_assert!((east - west).abs() < ROUNDING_DEG, "rounding of sines near 90° is 1e-7°: {east} {west}");
        }

        /// Where one site has the sun at an elevation, the site on the other side of the globe has it as far below.
        #[test]
        fn antipodes_see_the_opposite(
            latitude in -90.0f64..90.0, longitude in -180.0f64..0.0, time_s in 0.0f64..365.0 * DAY_S,
        ) {
            let here = elevation_deg(&site(latitude, longitude), seconds(time_s));
            let there = elevation_deg(&site(-latitude, longitude + 180.0), seconds(time_s));
            // Parallax lowers the sun at both.
            prop_assert!((here + there).abs() < ALGORITHM_DEG);
        }

        /// The earth turns by 15° in an hour of mean sun: a site so far to the west sees the same an hour later, but for
        /// what the sun itself moves, below 0.1° in an hour.
        #[test]
        fn west_sees_the_same_later(
            latitude in -90.0f64..90.0, longitude in -165.0f64..180.0, time_s in 0.0f64..364.0 * DAY_S,
        ) {
            let here = elevation_deg(&site(latitude, longitude), seconds(time_s));
            let west = elevation_deg(&site(latitude, longitude - 15.0), seconds(time_s + 3600.0));
            prop_assert!((here - west).abs() < POSITION_DEG);
        }
    }
}
