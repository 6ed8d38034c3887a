//! Power loss: a copy is whole, or it gives the cold-start state; and no copy opens the radio early.

mod common;

use common::{any_policy, any_state, packed, with_checksum};
use millpond_policy::{Outage, Policy, RETAINED_BYTES, State};
use proptest::prelude::*;

/// Promise 6: the most that a packed state may take.
const LARGEST_COPY_BYTES: usize = 16;
const COPY_BITS: usize = RETAINED_BYTES * 8;
/// Longest burst that a 16-bit checksum always finds: its own width.
const BURST_BITS: usize = 16;

const POLICY: Policy = Policy::EXAMPLE;

fn sample_copies() -> Vec<[u8; RETAINED_BYTES]> {
    let mark = POLICY.parts().fingerprint;
    [(0, 0, 0), (65_535, 20, 0), (60, 7, 3), (0x1234, 13, 2)]
        .into_iter()
        .map(|(since_s, after_s, refused)| packed(mark, since_s, after_s, refused))
        .collect()
}

fn flipped(copy: [u8; RETAINED_BYTES], bits: &[usize]) -> [u8; RETAINED_BYTES] {
    let mut copy = copy;
    for bit in bits {
        copy[bit / 8] ^= 1 << (bit % 8);
    }
    copy
}

fn is_cold(copy: &[u8]) -> bool {
    // The samples are not the cold-start state in both fields under `Seconds(1)`: it would read 65535 and 19.
    State::unpack(&POLICY, copy, Outage::Seconds(1)) == State::cold_start(&POLICY)
}

#[test]
fn a_copy_is_small_and_whole_copies_come_back() {
    const { assert!(RETAINED_BYTES <= LARGEST_COPY_BYTES) };
    for copy in sample_copies() {
        assert!(!is_cold(&copy));
        assert_eq!(
            State::unpack(&POLICY, &copy, Outage::Seconds(0)).pack(&POLICY),
            copy
        );
    }
}

#[test]
fn up_to_three_wrong_bits_give_a_cold_start() {
    for copy in sample_copies() {
        for first in 0..COPY_BITS {
            assert!(is_cold(&flipped(copy, &[first])));
            for second in 0..first {
                assert!(is_cold(&flipped(copy, &[first, second])));
                for third in 0..second {
                    assert!(is_cold(&flipped(copy, &[first, second, third])));
                }
            }
        }
    }
}

#[test]
fn a_wrong_burst_gives_a_cold_start() {
    for copy in sample_copies() {
        for start in 0..=COPY_BITS - BURST_BITS {
            for pattern in 1..=u16::MAX {
                let mut bits = copy;
                let mask = u128::from(pattern) << start;
                for (byte, flip) in bits.iter_mut().zip(mask.to_le_bytes()) {
                    *byte ^= flip;
                }
                assert!(is_cold(&bits), "{pattern:#x} from bit {start}");
            }
        }
    }
}

#[test]
fn a_wrong_length_gives_a_cold_start() {
    let copy = sample_copies()[0];
    let mut long = copy.to_vec();
    for length in 0..RETAINED_BYTES {
        assert!(is_cold(&copy[..length]));
    }
    long.push(0);
    assert!(is_cold(&long));
}

#[test]
fn a_copy_of_other_format_or_range_gives_a_cold_start() {
    let good = sample_copies()[2];
    for format in (0..=u8::MAX).filter(|format| *format != 1) {
        let mut copy = good;
        copy[0] = format;
        assert!(is_cold(&with_checksum(copy)));
    }
    let mark = POLICY.parts().fingerprint;
    assert!(!is_cold(&packed(mark, 60, POLICY.parts().spacing_s, 0)));
    assert!(is_cold(&packed(mark, 60, POLICY.parts().spacing_s + 1, 0)));
    for refused in 4..=u8::MAX {
        assert!(is_cold(&packed(mark, 60, 7, refused)));
    }
    for other in (0..=u16::MAX).filter(|other| *other != mark) {
        assert!(is_cold(&packed(other, 60, 7, 0)));
    }
}

proptest! {
    /// A power loss in the middle of writing leaves the first bytes of the new copy and the last of the old.
    #[test]
    fn a_torn_copy_never_permits_an_early_transmission(
        (policy, old, new) in any_policy()
            .prop_flat_map(|policy| (Just(policy), any_state(policy), any_state(policy))),
        written in 0..=RETAINED_BYTES,
    ) {
        let mut copy = old.pack(&policy);
        copy[..written].copy_from_slice(&new.pack(&policy)[..written]);
        let state = State::unpack(&policy, &copy, Outage::Unknown);
        prop_assert!(state.transmit_after_s() >= policy.parts().off_time_s);
        prop_assert!(state.transmit_after_s() <= policy.parts().spacing_s.max(policy.parts().off_time_s));
    }

    /// Any bytes at all, even with a checksum that fits.
    #[test]
    fn any_bytes_leave_the_off_time_standing(
        policy in any_policy(), bytes: [u8; RETAINED_BYTES], is_marked: bool,
    ) {
        let mut copy = bytes;
        if is_marked {
            copy[0] = 1;
            copy[1..3].copy_from_slice(&policy.parts().fingerprint.to_le_bytes());
        }
        for copy in [copy, with_checksum(copy)] {
            let state = State::unpack(&policy, &copy, Outage::Unknown);
            prop_assert!(state.transmit_after_s() >= policy.parts().off_time_s);
        }
    }

    /// With a clock that ran on, the outage counts like sleep.
    #[test]
    fn a_known_outage_counts_like_sleep(
        (policy, state) in any_policy().prop_flat_map(|policy| (Just(policy), any_state(policy))), outage_s: u32,
    ) {
        let restored = State::unpack(&policy, &state.pack(&policy), Outage::Seconds(outage_s));
        let since_s = (u64::from(state.since_measure_s()) + u64::from(outage_s)).min(65_535);
        prop_assert_eq!(u64::from(restored.since_measure_s()), since_s);
        prop_assert_eq!(u32::from(restored.transmit_after_s()), u32::from(state.transmit_after_s()).saturating_sub(outage_s));
        prop_assert_eq!(restored.measure_refused(), state.measure_refused());
        prop_assert_eq!(restored.transmit_refused(), state.transmit_refused());
    }
}
