//! The storage terminal: the one equation that every bank, load and converter meets in, with its edge rules.
//!
//! ```text
//! Σ (u_k − v)/R_k = P/v + I + G·v        S = Σ 1/R_k + G        J = Σ u_k/R_k − I        v = (J + √(J² − 4·S·P))/(2·S)
//! ```
//!
//! (docs/model.md, equation 6.) A constant power has two operating points; a load that is keyed from rest arrives at the upper
//! one, which is taken. A converter that charges is a negative P or a negative I.
//!
//! | what is drawn | answer |
//! | --- | --- |
//! | nothing, P = 0 and I = 0 | v = J/S, whatever its sign: storage without a load never collapses |
//! | P = 0 | v = J/S; none for J < 0 |
//! | P > 0 | the upper root; none for J ≤ 0 or where it is not real: storage cannot give the power |
//! | P < 0 | the upper root, which is always real and above 0 |

/// Terminal voltage (V), or `None` where storage cannot carry what is drawn.
///
/// `total_s` is S in siemens, above 0; `source_a` is Σ u_k/R_k in amperes, before the drawn current is taken off; `power_w` and
/// `current_a` are what is drawn.
pub fn voltage_v(total_s: f64, source_a: f64, power_w: f64, current_a: f64) -> Option<f64> {
    let left_a = source_a - current_a;
    if power_w == 0.0 {
        return (left_a >= 0.0 || current_a == 0.0).then(|| left_a / total_s);
    }
    let discriminant = left_a * left_a - 4.0 * total_s * power_w;
    if power_w > 0.0 && (left_a <= 0.0 || discriminant < 0.0) {
        return None;
    }
    Some((left_a + discriminant.sqrt()) / (2.0 * total_s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Rounding of the few operations of a root, relative to the largest term.
    const ROUNDING: f64 = 1e-12;

    /// By hand: 3 V behind 2 ohm, 1 W: v² − 3·v + 2 = 0 has the roots 1 V and 2 V.
    #[test]
    fn the_upper_root_is_taken() {
        let found = voltage_v(0.5, 1.5, 1.0, 0.0).expect("1 W is below the matched 1.125 W");
        assert!((found - 2.0).abs() < ROUNDING);
        assert_eq!(voltage_v(0.5, 1.5, 1.126, 0.0), None);
    }

    /// By hand, one line of the table each.
    #[test]
    fn edges_are_as_the_table_says() {
        assert_eq!(voltage_v(0.5, 0.0, 0.0, 0.0), Some(0.0));
        assert_eq!(voltage_v(0.5, -1e-9, 0.0, 0.0), Some(-2e-9));
        assert_eq!(voltage_v(0.5, 1.0, 0.0, 1.0), Some(0.0));
        assert_eq!(voltage_v(0.5, 1.0, 0.0, 1.5), None);
        assert_eq!(voltage_v(0.5, 1.0, 1e-9, 1.0), None);
        // Nothing stored, 8 W given to 0.5 S: v²/2 = 8 W.
        assert_eq!(voltage_v(0.5, 0.0, -8.0, 0.0), Some(4.0));
    }

    proptest! {
        /// What is found fulfils Kirchhoff's current law, and no more can be drawn than half the voltage gives.
        #[test]
        fn the_law_holds(
            total_s in 1e-3..1e3f64, source_v in 0.1..10.0f64, share in -2.0..1.2f64, current_share in 0.0..1.2f64,
        ) {
            let source_a = source_v * total_s;
            let current_a = source_a * current_share;
            let left_a = source_a - current_a;
            let power_w = share * left_a * left_a / (4.0 * total_s);
            match voltage_v(total_s, source_a, power_w, current_a) {
                Some(v) => {
                    let miss_w = total_s * v * v - left_a * v + power_w;
                    prop_assert!(miss_w.abs() <= ROUNDING * (source_a * source_a / total_s + power_w.abs()), "{miss_w}");
                    // Up to the matched power, which half of what is left stands for.
                    prop_assert!(power_w <= 0.0 || v * (1.0 + ROUNDING) >= left_a / (2.0 * total_s));
                }
                None => prop_assert!(left_a <= 0.0 || share > 1.0 - ROUNDING),
            }
        }
    }
}
