use super::*;
use rand::SeedableRng as _;

/// Rounding of a product of some watts.
const ROUNDING_W: f64 = 1e-12;

const STEPS: usize = SEASONS_DAYS * STEPS_PER_DAY;
/// Statistics of so many steps may stray by four of their standard errors.
const ERRORS: f64 = 4.0;

/// Noise alone, dim enough that the clear sky never cuts it off.
const NOISY: Climate = Climate {
    good: 0.01,
    poor: 0.01,
    day_spread: 0.0,
    ..PLAIN
};

/// A year of 1 W in a climate.
fn year(climate: Climate) -> Vec<f64> {
    climate.stray(&[1.0; STEPS], &mut Pcg64::seed_from_u64(9))
}

/// By hand: an autoregression of first order with factor r and fresh noise of variance 1 − r² has variance 1 and correlation r from a step
/// to the next. Over n steps their standard errors are √(2·(1 + r²)/(1 − r²)/n) and √((1 − r²)/n) (M. S. Bartlett, "On the theoretical
/// specification and sampling properties of autocorrelated time-series", Supplement to the Journal of the Royal Statistical Society 8
/// (1946) 27-41; from memory).
#[test]
fn noise_keeps_its_spread_and_fades() {
    let noise: Vec<f64> = year(NOISY)
        .iter()
        .map(|power_w| (libm::log(power_w / NOISY.good) + NOISY.noise * NOISY.noise / 2.0) / NOISY.noise)
        .collect();
    let count = STEPS as f64;
    let (kept, square) = (NOISE_KEPT, NOISE_KEPT * NOISE_KEPT);
    let variance = noise.iter().map(|noise| noise * noise).sum::<f64>() / count;
    let together = noise.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>() / count;
    let variance_error = (2.0 * (1.0 + square) / (1.0 - square) / count).sqrt();
    assert!((variance - 1.0).abs() < ERRORS * variance_error, "{variance}");
    let correlation = together / variance;
    assert!(
        (correlation - kept).abs() < ERRORS * ((1.0 - square) / count).sqrt(),
        "{correlation}"
    );
}

/// By hand: spells of mean lengths a and b make the first state's share a/(a + b), and in n steps n/(a + b) of each.
#[test]
fn spells_have_their_lengths() {
    let mut random = Pcg64::seed_from_u64(10);
    let (first, other) = (5.0, 3.0);
    let (mut is_first, mut of_first, mut begun) = (true, 0.0, 0.0);
    for _ in 0..STEPS {
        let was = is_first;
        is_first = turned(is_first, first, other, &mut random);
        of_first += f64::from(u8::from(is_first));
        begun += f64::from(u8::from(is_first && !was));
    }
    let spells = STEPS as f64 / (first + other);
    // Lengths of spells spread about as much as they last.
    let part = ERRORS / spells.sqrt();
    assert!(
        (of_first / begun / first - 1.0).abs() < part,
        "{}",
        of_first / begun
    );
    assert!((begun / spells - 1.0).abs() < part, "{begun} {spells}");
}

#[test]
fn failing_days_are_left_with_little() {
    let failing = Climate {
        failing: 1.0,
        noise: 0.0,
        ..NOISY
    };
    assert!(
        year(failing)
            .iter()
            .all(|power_w| (power_w - FAILED * NOISY.good).abs() < ROUNDING_W)
    );
    let scaled = Climate {
        scale: 0.5,
        noise: 0.0,
        ..NOISY
    };
    assert!(
        year(scaled)
            .iter()
            .all(|power_w| (power_w - 0.5 * NOISY.good).abs() < ROUNDING_W)
    );
}
