//! The state in memory that outlives a power loss.
//!
//! | byte | holds |
//! | --- | --- |
//! | 0 | format, 1 |
//! | 1, 2 | fingerprint of the constants, low byte first |
//! | 3, 4 | `since_measure_s`, low byte first |
//! | 5, 6 | `transmit_after_s`, low byte first |
//! | 7 | refused actions |
//! | 8, 9 | CRC-16 of bytes 0 to 7, low byte first |
//!
//! The checksum is CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, not reflected. At this length it finds every
//! error of up to three bits and every burst of up to 16 bits.
//!
//! # Why a restored state never opens the radio early
//!
//! The firmware packs after [`decide`](crate::decide) and before it acts, so no transmission happens that the
//! copy does not know of. If the clock was lost ([`Outage::Unknown`]) the off-time counts anew from the
//! restart, whatever the copy says, so that even an older copy made under the same constants cannot shorten
//! the silence. With [`Outage::Seconds`] the silence goes on from where the copy stood: only for the newest copy.
//! A copy that is torn, of another format or of other constants gives the cold-start state. The thresholds
//! are compared with the reading, never with the copy, so that no copy at all can grant an action below them.

use crate::policy::Policy;
use crate::state::{REFUSED_BITS, State};

/// Bytes of a packed state.
pub const RETAINED_BYTES: usize = 10;

/// Bytes before the checksum.
const BODY_BYTES: usize = RETAINED_BYTES - 2;
/// First byte of a packed state; changes whenever the layout does.
const FORMAT: u8 = 1;
/// Start value of CRC-16/IBM-3740.
const CRC_START: [u8; 2] = [0xFF; 2];

/// How long the power was away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outage {
    /// No clock ran on, or it cannot be trusted.
    Unknown,
    /// A clock ran on: seconds from the packing of this copy, which is the newest, to the restart (s).
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
    #[must_use]
    pub fn pack(&self, policy: &Policy) -> [u8; RETAINED_BYTES] {
        let [mark_low, mark_high] = policy.parts().fingerprint.to_le_bytes();
        let [since_low, since_high] = self.since_measure_s.to_le_bytes();
        let [after_low, after_high] = self.transmit_after_s.to_le_bytes();
        let body = [
            FORMAT,
            mark_low,
            mark_high,
            since_low,
            since_high,
            after_low,
            after_high,
            self.refused,
        ];
        let [crc_low, crc_high] = crc(&body).to_le_bytes();
        let [b0, b1, b2, b3, b4, b5, b6, b7] = body;
        [b0, b1, b2, b3, b4, b5, b6, b7, crc_low, crc_high]
    }

    /// The state from a retained copy, or the cold-start state if the copy is not a whole one made under these
    /// constants. Any bytes are allowed.
    ///
    /// ```
    /// use millpond_policy::{Outage, Policy, State};
    /// let policy = Policy::EXAMPLE;
    /// let erased = [0xFF; 10];
    /// assert_eq!(State::unpack(&policy, &erased, Outage::Unknown), State::cold_start(&policy));
    /// ```
    #[must_use]
    pub fn unpack(policy: &Policy, copy: &[u8], outage: Outage) -> Self {
        let parts = policy.parts();
        let mut state = Self::cold_start(policy);
        let Some(fields) = fields(copy, parts.fingerprint) else {
            return state;
        };
        let [since_low, since_high, after_low, after_high, refused] = fields;
        let transmit_after_s = u16::from_le_bytes([after_low, after_high]);
        if transmit_after_s > parts.spacing_s || refused & !REFUSED_BITS != 0 {
            return state;
        }
        state.since_measure_s = u16::from_le_bytes([since_low, since_high]);
        state.transmit_after_s = transmit_after_s;
        state.refused = refused;
        match outage {
            Outage::Unknown => state.transmit_after_s = transmit_after_s.max(parts.off_time_s),
            Outage::Seconds(outage_s) => state.advance(outage_s),
        }
        state
    }
}

/// The state's bytes in a copy with the right length, format, fingerprint and checksum.
fn fields(copy: &[u8], fingerprint: u16) -> Option<[u8; 5]> {
    let (body, checksum) = copy.split_first_chunk::<BODY_BYTES>()?;
    let [format, mark_low, mark_high, fields @ ..] = *body;
    let is_whole = format == FORMAT
        && u16::from_le_bytes([mark_low, mark_high]) == fingerprint
        && *checksum == crc(body).to_le_bytes();
    is_whole.then_some(fields)
}

/// CRC-16/IBM-3740, a byte at a time without a table: eight steps of the polynomial x¹⁶ + x¹² + x⁵ + 1 at once, in halves
/// of 8 bits for chips that have no wider register.
fn crc(bytes: &[u8]) -> u16 {
    let [high, low] = bytes.iter().fold(CRC_START, |[high, low], byte| {
        let mixed = high ^ byte;
        let mixed = mixed ^ (mixed >> 4);
        [low ^ (mixed << 4) ^ (mixed >> 3), mixed ^ (mixed << 5)]
    });
    u16::from_be_bytes([high, low])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of CRC-16/IBM-3740 for "123456789", from the catalogue of parametrised CRC algorithms.
    const CHECK_VALUE: u16 = 0x29B1;

    #[test]
    fn checksum_gives_the_published_check_value() {
        assert_eq!(crc(b"123456789"), CHECK_VALUE);
        assert_eq!(crc(b""), u16::from_be_bytes(CRC_START));
    }

    proptest::proptest! {
        #[test]
        fn checksum_agrees_with_the_crc_library(bytes in proptest::collection::vec(0_u8.., 0..40)) {
            let reference = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740);
            proptest::prop_assert_eq!(crc(&bytes), reference.checksum(&bytes));
        }
    }
}
