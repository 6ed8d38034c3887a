//! The state in memory that outlives a power loss.
//!
//! | byte | holds |
//! | --- | --- |
//! | 0 | format, 8, plus the refused actions, 0 to 3 |
//! | 1, 2 | `since_measure_s`, low byte first |
//! | 3, 4 | `transmit_after_s`, low byte first |
//! | 5 to 9 | check bytes of bytes 0 to 4 |
//! | 10, 11 | fingerprint of the constants, low byte first |
//!
//! Check byte j, from 0 to 4, is b₀·2⁴ʲ + b₁·2³ʲ + b₂·2²ʲ + b₃·2ʲ + b₄ over the field of 256 elements that is made by
//! x⁸ + x⁴ + x³ + x² + 1, the one of ISO/IEC 18004. **Any five of the bytes 0 to 9 tell the other five** (a test goes
//! through all 252 choices), which no code of this length can better. So two copies that differ differ in six of these ten
//! bytes at least, and a copy with up to five of them wrong, in any number of bits, is always found out.
//!
//! # What a power loss while the copy is written can do
//!
//! Let a new copy be written over an older one that was made under the same constants, and the power fail. Let each byte
//! be the new or the old one, in any order of writing, in bytes, words or lines of a cache, and one byte at most be half
//! written, which may then be anything. What is there is taken for a copy only if it *is* the new or the old one. Proof:
//! the fingerprints are the same, so look at bytes 0 to 9. Nine of them at least come from the two copies, so five at
//! least come from one of them. A copy that passes the check and has these five is that one.
//!
//! Under other constants the older copy has another fingerprint. Written from the first byte to the last, that
//! fingerprint is wrong until bytes 0 to 9 are new, and then the copy is the new one.
//!
//! Over anything else (noise, a copy that was already torn) nothing holds of every content: bytes drawn at random pass with
//! a probability below 2⁻⁶¹. Firmware that writes, before its first copy after a restart, the complement of that copy's
//! last byte to the last place, and then copies from the first byte to the last, has it there, too: the fingerprint is
//! wrong until the last byte is written.
//!
//! # Why a restored state never opens the radio early
//!
//! The firmware packs after [`decide`](crate::decide) and before it acts, so no transmission happens that the
//! copy does not know of. If the clock was lost ([`Outage::Unknown`]) the off-time counts anew from the
//! restart, whatever the copy says, so that even an older copy made under the same constants cannot shorten
//! the silence. With [`Outage::Seconds`] the silence goes on from where the copy stood: only for the newest copy. Where
//! the writing of that one was cut off, the one before it may come back. No transmission came after that one, as the
//! cut-off one was to be whole before the next.
//!
//! A copy that is torn, of another format or of other constants gives the cold-start state, whose off-time counts from
//! the restart. **It is the off-time of the constants that run now**: after a restart under constants with a shorter
//! one, the silence that the old constants asked for is not kept. The thresholds are compared with the reading, never with
//! the copy, so that no copy at all can grant an action below them.

use crate::policy::Policy;
use crate::state::{REFUSED_BITS, State};

/// Bytes of a packed state.
pub const RETAINED_BYTES: usize = 12;

/// Bytes of the state, and check bytes after them.
const FIELD_BYTES: usize = 5;
const CHECK_BYTES: usize = 5;
/// First byte of a packed state, beside the refused actions; changes whenever the layout does.
const FORMAT: u8 = 8;
/// The lower eight coefficients of the field's polynomial.
const FIELD_POLYNOMIAL: u8 = 0x1D;

/// How long the power was away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outage {
    /// No clock ran on, or it cannot be trusted.
    Unknown,
    /// A clock ran on: seconds from the packing of the newest copy, which this is or was to be, to the restart (s). Fewer
    /// are always safe.
    Seconds(u32),
}

impl State {
    /// The copy for retained memory. Write it before acting on the decision.
    ///
    /// ```
    /// use millpond_policy::{Outage, Policy, State};
    /// let policy = Policy::EXAMPLE;
    /// let state = State::cold_start(&policy);
    /// let copy = state.pack(&policy);
    /// assert_eq!(State::unpack(&policy, &copy, Outage::Seconds(0)), state);
    /// ```
    // Inlined, so that the bytes go where the copy stands: a call would want a copy of the copy.
    #[inline]
    #[must_use]
    pub fn pack(&self, policy: &Policy) -> [u8; RETAINED_BYTES] {
        let [since_low, since_high] = self.since_measure_s.to_le_bytes();
        let [after_low, after_high] = self.transmit_after_s.to_le_bytes();
        let fields = [
            FORMAT | self.refused,
            since_low,
            since_high,
            after_low,
            after_high,
        ];
        let [f0, f1, f2, f3, f4] = fields;
        let [c0, c1, c2, c3, c4] = check(&fields);
        let [mark_low, mark_high] = policy.parts().fingerprint.to_le_bytes();
        [f0, f1, f2, f3, f4, c0, c1, c2, c3, c4, mark_low, mark_high]
    }

    /// The state from a retained copy, or the cold-start state if the copy is not a whole one made under these
    /// constants. Any bytes are allowed.
    ///
    /// ```
    /// use millpond_policy::{Outage, Policy, RETAINED_BYTES, State};
    /// let policy = Policy::EXAMPLE;
    /// let erased = [0xFF; RETAINED_BYTES];
    /// assert_eq!(State::unpack(&policy, &erased, Outage::Unknown), State::cold_start(&policy));
    /// ```
    #[must_use]
    pub fn unpack(policy: &Policy, copy: &[u8], outage: Outage) -> Self {
        let parts = policy.parts();
        let mut state = Self::cold_start(policy);
        let Some(fields) = fields(copy, parts.fingerprint) else {
            return state;
        };
        let [first, since_low, since_high, after_low, after_high] = *fields;
        let transmit_after_s = u16::from_le_bytes([after_low, after_high]);
        if transmit_after_s > parts.spacing_s || first & !REFUSED_BITS != FORMAT {
            return state;
        }
        state.since_measure_s = u16::from_le_bytes([since_low, since_high]);
        state.transmit_after_s = transmit_after_s;
        state.refused = first & REFUSED_BITS;
        match outage {
            Outage::Unknown => state.transmit_after_s = transmit_after_s.max(parts.off_time_s),
            Outage::Seconds(outage_s) => state.advance(outage_s),
        }
        state
    }
}

/// The first bytes of a copy with the right length, fingerprint and check bytes.
fn fields(copy: &[u8], fingerprint: u16) -> Option<&[u8; FIELD_BYTES]> {
    let (fields, rest) = copy.split_first_chunk::<FIELD_BYTES>()?;
    let (check_bytes, mark) = rest.split_first_chunk::<CHECK_BYTES>()?;
    let mut right_bytes = (0_u8..).map(|doublings| value_at(fields, doublings));
    let are_right = check_bytes.iter().all(|byte| Some(*byte) == right_bytes.next());
    let is_whole = *mark == fingerprint.to_le_bytes() && are_right;
    is_whole.then_some(fields)
}

/// The check bytes: the fields as the coefficients of a polynomial, at 1, 2, 4, 8 and 16.
fn check(fields: &[u8; FIELD_BYTES]) -> [u8; CHECK_BYTES] {
    let mut check_bytes = [0; CHECK_BYTES];
    for (doublings, byte) in (0_u8..).zip(&mut check_bytes) {
        *byte = value_at(fields, doublings);
    }
    check_bytes
}

/// The polynomial with these coefficients at two to the power of `doublings`, by Horner's rule.
// Unrolled into the loop above it would take several hundred bytes of a small chip's flash.
#[inline(never)]
fn value_at(coefficients: &[u8], doublings: u8) -> u8 {
    let mut value = 0;
    for coefficient in coefficients {
        for _ in 0..doublings {
            value = doubled(value);
        }
        value ^= coefficient;
    }
    value
}

/// Twice this element of the field.
const fn doubled(element: u8) -> u8 {
    let shifted = element << 1;
    if element & 0x80 == 0 {
        shifted
    } else {
        shifted ^ FIELD_POLYNOMIAL
    }
}

#[cfg(test)]
#[allow(
    clippy::arithmetic_side_effects,
    clippy::indexing_slicing,
    clippy::unwrap_used
)]
mod tests {
    extern crate std;

    use super::*;
    use std::vec::Vec;

    /// ISO/IEC 18004, annex I, symbol 1-M of "01234567": data and error correction codewords.
    const DATA: [u8; 16] = [
        0x10, 0x20, 0x0C, 0x56, 0x61, 0x80, 0xEC, 0x11, 0xEC, 0x11, 0xEC, 0x11, 0xEC, 0x11, 0xEC, 0x11,
    ];
    const CORRECTION: [u8; 10] = [0xA5, 0x24, 0xD4, 0xC1, 0xED, 0x36, 0xC7, 0x87, 0x2C, 0x55];

    /// A product, by doubling.
    fn times(mut a: u8, b: u8) -> u8 {
        let mut product = 0;
        for bit in 0..8 {
            if b >> bit & 1 == 1 {
                product ^= a;
            }
            a = doubled(a);
        }
        product
    }

    fn polynomial_at(coefficients: impl IntoIterator<Item = u8>, point: u8) -> u8 {
        coefficients
            .into_iter()
            .fold(0, |sum, coefficient| times(sum, point) ^ coefficient)
    }

    /// The standard's codewords are a polynomial that is 0 at 1, 2, 4, … 2⁹: another field would not have it so.
    #[test]
    fn the_field_is_that_of_the_standard() {
        let mut point = 1;
        for _ in 0..CORRECTION.len() {
            assert_eq!(polynomial_at(DATA.into_iter().chain(CORRECTION), point), 0);
            point = doubled(point);
        }
        assert_ne!(polynomial_at(DATA.into_iter().chain(CORRECTION), point), 0);
    }

    /// The determinant of a square matrix over the field is not 0, by Gauss's elimination.
    fn is_regular(mut rows: Vec<Vec<u8>>) -> bool {
        let inverse = |a: u8| (1..=u8::MAX).find(|b| times(a, *b) == 1).unwrap();
        for column in 0..rows.len() {
            let Some(pivot) = (column..rows.len()).find(|row| rows[*row][column] != 0) else {
                return false;
            };
            rows.swap(column, pivot);
            let pivot_row = rows[column].clone();
            for row in &mut rows[column + 1..] {
                let factor = times(row[column], inverse(pivot_row[column]));
                for (element, pivot) in row.iter_mut().zip(&pivot_row) {
                    *element ^= times(factor, *pivot);
                }
            }
        }
        true
    }

    /// What the proof at the head of this module rests on, for all 2⁴⁰ fields: each choice of five of the ten bytes is five
    /// linear equations in the five fields, and has one solution.
    #[test]
    fn any_five_of_the_ten_bytes_tell_the_others() {
        let ten_bytes = |fields: [u8; FIELD_BYTES]| [fields, check(&fields)].concat();
        let units: Vec<Vec<u8>> = (0..FIELD_BYTES)
            .map(|place| ten_bytes(core::array::from_fn(|at| u8::from(at == place))))
            .collect();
        let mut choices = 0;
        for chosen in (0_u32..1 << 10).filter(|chosen| chosen.count_ones() == 5) {
            let places = (0..10).filter(|place| chosen >> place & 1 == 1);
            let equations = places.map(|place| units.iter().map(|unit| unit[place]).collect());
            assert!(is_regular(equations.collect()), "bytes {chosen:#012b}");
            choices += 1;
        }
        assert_eq!(choices, 252);
    }

    proptest::proptest! {
        /// The check bytes are linear in the fields.
        #[test]
        fn check_bytes_are_linear(fields: [u8; FIELD_BYTES], factor: u8, others: [u8; FIELD_BYTES]) {
            let combined = core::array::from_fn(|at| times(factor, fields[at]) ^ others[at]);
            let (first, second) = (check(&fields), check(&others));
            let expected: [u8; CHECK_BYTES] = core::array::from_fn(|at| times(factor, first[at]) ^ second[at]);
            proptest::prop_assert_eq!(check(&combined), expected);
        }
    }
}
