//! Division without a divider: many small chips have none, and no compiler's helper is to be needed.

/// Bits of a quotient.
const QUOTIENT_BITS: u32 = 16;

/// `dividend / divisor`, rounded down, at most 65535: a long division, bit by bit. The divisor is below 2³¹; by 0 the answer is
/// 65535.
pub(crate) fn quotient(dividend: u32, divisor: u32) -> u16 {
    let mut rest = dividend.wrapping_shr(QUOTIENT_BITS);
    if rest >= divisor {
        return u16::MAX;
    }
    // The bits of the dividend go out to the left while those of the answer come in from the right.
    let mut low = (dividend & u32::from(u16::MAX)) as u16;
    for _ in 0..QUOTIENT_BITS {
        rest = rest.wrapping_shl(1) | u32::from(low.wrapping_shr(QUOTIENT_BITS.wrapping_sub(1)));
        low = low.wrapping_shl(1);
        // OK because rest was below the divisor, and is below twice that now.
        if rest >= divisor {
            rest = rest.wrapping_sub(divisor);
            low |= 1;
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the processor's own division: every divisor near a power of two, dividends of every size.
    #[test]
    fn the_long_division_is_division() {
        for divisor_bits in 0..31 {
            for divisor in [
                (1_u32 << divisor_bits) - 1,
                1 << divisor_bits,
                (1 << divisor_bits) + 1,
            ] {
                let mut dividend = 1_u32;
                for _ in 0..1_000 {
                    dividend = dividend.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    for dividend in [dividend, dividend >> 8, dividend >> 16, u32::MAX] {
                        let want = dividend.checked_div(divisor).unwrap_or(u32::MAX);
                        assert_eq!(u32::from(quotient(dividend, divisor)), want.min(65_535));
                    }
                }
            }
        }
    }
}
