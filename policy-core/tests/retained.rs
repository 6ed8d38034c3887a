//! Power loss: a copy is whole, or it gives the cold-start state; and no copy opens the radio early.

mod common;

use common::{any_policy, any_state, packed, with_check};
use millpond_policy::{Decision, Outage, Policy, RETAINED_BYTES, Reading, State, decide};
use proptest::prelude::*;

/// Promise 6: the most that a packed state may take.
const LARGEST_COPY_BYTES: usize = 16;
/// The state and its check bytes: what the proof of the page speaks of.
const TEN_BYTES: usize = 10;
/// As many wrong bytes of them are always found.
const WRONG_BYTES: usize = 5;
/// A burst of so many bits touches no more bytes than that, wherever it begins.
const BURST_BITS: usize = 8 * (WRONG_BYTES - 1) + 1;

const POLICY: Policy = Policy::EXAMPLE;

fn sample_copies() -> Vec<[u8; RETAINED_BYTES]> {
    let mark = POLICY.parts().fingerprint;
    [(0, 0, 0), (65_535, 20, 0), (60, 7, 3), (0x1234, 13, 2)]
        .into_iter()
        .map(|(since_s, after_s, refused)| packed(mark, since_s, after_s, refused))
        .collect()
}

fn is_cold(copy: &[u8]) -> bool {
    // The samples are not the cold-start state in both fields under `Seconds(1)`: it would read 65535 and 19.
    State::unpack(&POLICY, copy, Outage::Seconds(1)) == State::cold_start(&POLICY)
}

/// The mixture of two copies that has the new one's bytes where `chosen` has a bit.
fn mixed(new: &[u8], old: &[u8], chosen: u32) -> [u8; RETAINED_BYTES] {
    std::array::from_fn(|place| {
        if chosen >> place & 1 == 1 {
            new[place]
        } else {
            old[place]
        }
    })
}

/// Constants under which every state of 34 bits may be packed, and each other than its cold start.
fn widest() -> Policy {
    let mut parts = *POLICY.parts();
    parts.spacing_s = u16::MAX;
    parts.off_time_s = u16::MAX - 1;
    Policy::new(parts).expect("these constants keep every rule")
}

/// Whether a copy is taken for whole: it gives another state than the cold start, which is no sample here.
fn is_taken(policy: &Policy, copy: [u8; RETAINED_BYTES]) -> bool {
    State::unpack(policy, &copy, Outage::Seconds(0)) != State::cold_start(policy)
}

/// States about which a silence turns: each combination of few and many seconds, low and high bytes apart, and refusals.
fn many_states() -> Vec<(u16, u16, u8)> {
    let times = [0, 255, 279, 340, 0x8000, u16::MAX];
    let mut states = Vec::new();
    for since_s in times {
        for after_s in times {
            states.extend([0, 1, 3].map(|refused| (since_s, after_s, refused)));
        }
    }
    states
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

/// By hand: format 8, a measurement refused, 0x0201 s since the last one, 3 s until the next report.
#[test]
fn a_copy_has_the_bytes_of_the_page() {
    let copy = State::unpack(&POLICY, &packed(0, 0, 0, 0), Outage::Seconds(0));
    assert_eq!(copy, State::cold_start(&POLICY), "of other constants");
    let mark = POLICY.parts().fingerprint;
    let copy = packed(mark, 0x0201, 3, 1);
    let state = State::unpack(&POLICY, &copy, Outage::Seconds(0));
    assert_eq!((state.since_measure_s(), state.transmit_after_s()), (0x0201, 3));
    assert!(state.measure_refused() && !state.transmit_refused());
    // 9·1 + 1 + 2 + 3 + 0; and 9·16 + 1·8 + 2·4 + 3·2 + 0, all sums without carry.
    assert_eq!(copy[..7], [9, 1, 2, 3, 0, 9 ^ 1 ^ 2 ^ 3, 144 ^ 8 ^ 8 ^ 6]);
    assert_eq!(copy[10..], mark.to_le_bytes());
}

/// The proof of the page, by looking at the copies themselves: the bytes of any five places tell the state, as no two of the
/// 2³⁴ states share them. The copies are linear in the bits of the state, so that it is enough that the differences which
/// single bits make are independent there.
#[test]
fn any_five_bytes_tell_the_whole_copy() {
    let policy = widest();
    let mark = policy.parts().fingerprint;
    let zero = packed(mark, 0, 0, 0);
    let of_bit = |bit: u32| match bit {
        0..16 => packed(mark, 1 << bit, 0, 0),
        16..32 => packed(mark, 0, 1 << (bit - 16), 0),
        _ => packed(mark, 0, 0, 1 << (bit - 32)),
    };
    let copies: Vec<_> = (0..34).map(of_bit).collect();
    for chosen in (0_u32..1 << TEN_BYTES).filter(|chosen| chosen.count_ones() == 5) {
        let mut independent: Vec<u128> = Vec::new();
        for copy in &copies {
            assert!(is_taken(&policy, *copy));
            let bytes = mixed(copy, &zero, chosen);
            let changed = u128::from_le_bytes(std::array::from_fn(|place| {
                if place < RETAINED_BYTES {
                    bytes[place] ^ zero[place]
                } else {
                    0
                }
            }));
            let left = independent
                .iter()
                .fold(changed, |left, other| left.min(left ^ other));
            assert_ne!(left, 0, "two states share the bytes {chosen:#012b}");
            independent.push(left);
            independent.sort_unstable_by(|a, b| b.cmp(a));
        }
    }
}

/// Every pair of many states, new over old, torn into every mixture of their bytes: what is taken is one of the two.
#[test]
fn a_copy_torn_in_any_order_is_the_new_the_old_or_none() {
    let policy = widest();
    let mark = policy.parts().fingerprint;
    let copies: Vec<_> = many_states()
        .into_iter()
        .map(|(since_s, after_s, refused)| packed(mark, since_s, after_s, refused))
        .filter(|copy| *copy != State::cold_start(&policy).pack(&policy))
        .collect();
    let mut taken = 0_u64;
    for new in &copies {
        for old in copies.iter().filter(|old| *old != new) {
            for chosen in 0..1 << TEN_BYTES {
                let copy = mixed(new, old, chosen);
                if is_taken(&policy, copy) {
                    assert!(copy == *new || copy == *old, "{new:?} over {old:?} as {copy:?}");
                    taken += 1;
                }
            }
        }
    }
    assert!(taken >= 2 * (copies.len() * (copies.len() - 1)) as u64);
}

/// Written from the first byte to the last. The bytes of both times together differ in the second pair as the polynomial of a
/// 16-bit checksum, x¹⁶ + x¹² + x⁵ + 1 (0x00 0x01 0x10 0x21), which therefore could not tell new times from old ones.
#[test]
fn times_that_differ_by_a_checksum_polynomial_are_told_apart() {
    let policy = widest();
    let mark = policy.parts().fingerprint;
    for (new, old) in [
        ((60, 340, 0), (60, 279, 1)),
        ((60, 340, 0), (60 ^ 0x0100, 340 ^ 0x2110, 1)),
    ] {
        let [new, old] =
            [new, old].map(|(since_s, after_s, refused)| packed(mark, since_s, after_s, refused));
        for written in 1..RETAINED_BYTES {
            let copy = mixed(&new, &old, (1 << written) - 1);
            assert_eq!(
                is_taken(&policy, copy),
                copy == new || copy == old,
                "{written} bytes written"
            );
        }
    }
}

/// Every choice of one to three bits, the fingerprint's among them.
#[test]
fn up_to_three_wrong_bits_give_a_cold_start() {
    const BITS: usize = RETAINED_BYTES * 8;
    let flipped = |copy: [u8; RETAINED_BYTES], bits: &[usize]| {
        let mut copy = copy;
        for bit in bits {
            copy[bit / 8] ^= 1 << (bit % 8);
        }
        copy
    };
    for copy in sample_copies() {
        for first in 0..BITS {
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
    for first in (0..=u8::MAX).filter(|first| !(8..12).contains(first)) {
        let mut copy = good;
        copy[0] = first;
        assert!(is_cold(&with_check(copy)));
    }
    let mark = POLICY.parts().fingerprint;
    assert!(!is_cold(&packed(mark, 60, POLICY.parts().spacing_s, 0)));
    assert!(is_cold(&packed(mark, 60, POLICY.parts().spacing_s + 1, 0)));
    for other in (0..=u16::MAX).filter(|other| *other != mark) {
        assert!(is_cold(&packed(other, 60, 7, 0)));
    }
}

/// The layout before this one: ten bytes that began with 1. Whatever stands behind them.
#[test]
fn a_copy_of_the_former_layout_gives_a_cold_start() {
    let mut copy = [0; RETAINED_BYTES];
    copy[..8].copy_from_slice(&[1, 0xEF, 0xBE, 60, 0, 7, 0, 3]);
    for behind in 0..=u16::MAX {
        copy[10..].copy_from_slice(&behind.to_le_bytes());
        assert!(is_cold(&copy) && is_cold(&with_check(copy)));
    }
}

/// A life with power losses anywhere, and a copy on a clock's back-up supply: the radio keeps its silence although every
/// second write of the copy is cut off, in any order, with a byte half written.
#[derive(Clone, Copy, Debug)]
struct Loss {
    sleep_s: u32,
    /// Bytes of the cut-off copy that are the new ones; all of them where the power fails after the writing.
    written: u32,
    /// The byte that is half written, and what it is then.
    half: Option<(usize, u8)>,
    outage_s: u32,
    is_whole: bool,
    storage_mv: u16,
}

fn any_loss() -> impl Strategy<Value = Loss> {
    let half = prop_oneof![Just(None), (0..RETAINED_BYTES, any::<u8>()).prop_map(Some)];
    let times = (prop_oneof![0_u32..30, 0_u32..1_000], 0_u32..20, any::<bool>());
    let storage_mv = prop_oneof![3 => 4_000_u16..5_300, 1 => 2_000_u16..4_000];
    (times, 0_u32..1 << RETAINED_BYTES, half, storage_mv).prop_map(
        |((sleep_s, outage_s, is_whole), written, half, storage_mv)| Loss {
            sleep_s,
            written,
            half,
            outage_s,
            is_whole,
            storage_mv,
        },
    )
}

proptest! {
    /// One write of two is cut off, and what is in memory after it is left there when the node comes back: a cut-off write
    /// is always over a whole copy, as the policy writes one whole before the next loss.
    #[test]
    fn a_silence_outlives_torn_copies_with_a_trusted_clock(losses in prop::collection::vec(any_loss(), 1..200)) {
        let mut parts = *POLICY.parts();
        (parts.off_time_s, parts.spacing_s) = (340, 340);
        let policy = Policy::new(parts).expect("these constants keep every rule");
        let mut state = State::cold_start(&policy);
        let mut memory = state.pack(&policy);
        let mut silent_s = 0_u64;
        for loss in losses {
            silent_s += u64::from(loss.sleep_s);
            let reading = Reading { storage_mv: loss.storage_mv, elapsed_s: loss.sleep_s, waiting: 1 };
            let decision = decide(&policy, &mut state, reading);
            if loss.is_whole {
                memory = state.pack(&policy);
                if decision == Decision::Transmit {
                    prop_assert!(silent_s >= 340, "sent after {} s", silent_s);
                    silent_s = 0;
                }
            } else {
                let (new, old) = (state.pack(&policy), memory);
                let mut torn = mixed(&new, &old, loss.written);
                if let Some((place, byte)) = loss.half {
                    torn[place] = byte;
                }
                silent_s += u64::from(loss.outage_s);
                let outage = Outage::Seconds(loss.outage_s);
                state = State::unpack(&policy, &torn, outage);
                let cold = State::cold_start(&policy);
                let [after_new, after_old] = [new, old].map(|copy| State::unpack(&policy, &copy, outage));
                prop_assert!([cold, after_new, after_old].contains(&state));
                // The first copy after the restart is written whole: the next test has it otherwise.
                memory = state.pack(&policy);
            }
        }
    }

    /// Firmware that spoils the last byte before its first copy after a restart and writes from first to last: any number of
    /// cut-off writes in a row, over any bytes, give a whole copy of the last writes, or none.
    #[test]
    fn writes_cut_off_in_a_row_give_a_whole_copy_or_none(
        (policy, states) in any_policy()
            .prop_flat_map(|policy| (Just(policy), prop::collection::vec(any_state(policy), 1..6))),
        noise: [u8; RETAINED_BYTES], is_sealed: bool, cuts in prop::collection::vec((0..=RETAINED_BYTES, any::<u8>()), 6),
    ) {
        let mut memory = if is_sealed { with_check(noise) } else { noise };
        for (state, (written, half)) in states.iter().zip(cuts) {
            let new = state.pack(&policy);
            memory[RETAINED_BYTES - 1] = !new[RETAINED_BYTES - 1];
            memory[..written].copy_from_slice(&new[..written]);
            // The last byte half written is that byte or another: where it is that byte the copy is whole.
            if written < RETAINED_BYTES {
                memory[written] = half;
            }
            let cold = State::cold_start(&policy);
            let restored = State::unpack(&policy, &memory, Outage::Seconds(0));
            prop_assert!(memory == new || restored == cold);
        }
    }

    /// Written from the first byte to the last over a copy of other constants.
    #[test]
    fn a_copy_torn_over_one_of_other_constants_is_whole_or_none(
        (policy, new, old) in any_policy()
            .prop_flat_map(|policy| (Just(policy), any_state(policy), any_state(policy))),
        other: u16, written in 0..=RETAINED_BYTES,
    ) {
        let mark = policy.parts().fingerprint;
        prop_assume!(other != mark);
        let mut old = old.pack(&policy);
        old[10..].copy_from_slice(&other.to_le_bytes());
        let new = new.pack(&policy);
        let copy = mixed(&new, &old, (1 << written) - 1);
        let restored = State::unpack(&policy, &copy, Outage::Seconds(0));
        prop_assert!(copy == new || restored == State::cold_start(&policy));
    }

    /// Up to five wrong bytes among the ten, in any bits, and any burst that touches no more.
    #[test]
    fn up_to_five_wrong_bytes_give_a_cold_start(
        (policy, state) in any_policy().prop_flat_map(|policy| (Just(policy), any_state(policy))),
        wrong in prop::collection::vec((0..TEN_BYTES, 1_u8..), 1..=WRONG_BYTES),
        start in 0..=TEN_BYTES * 8 - BURST_BITS, burst in 1_u64..1 << BURST_BITS, mark in 1_u16..,
    ) {
        let copy = state.pack(&policy);
        let mut bytes = copy;
        for (place, flips) in wrong {
            bytes[place] = copy[place] ^ flips;
        }
        let in_a_burst = (u128::from_le_bytes(std::array::from_fn(|place| copy.get(place).copied().unwrap_or(0)))
            ^ u128::from(burst) << start).to_le_bytes();
        let mut of_others = copy;
        of_others[10..].copy_from_slice(&(policy.parts().fingerprint ^ mark).to_le_bytes());
        for damaged in [&bytes[..], &in_a_burst[..RETAINED_BYTES], &of_others] {
            prop_assert_ne!(damaged, &copy[..]);
            prop_assert_eq!(State::unpack(&policy, damaged, Outage::Seconds(1)), State::cold_start(&policy));
        }
    }

    /// The bytes are those of the page for every state, with check bytes by another way of computing them.
    #[test]
    fn the_bytes_are_those_of_the_page(
        (policy, state) in any_policy().prop_flat_map(|policy| (Just(policy), any_state(policy))),
    ) {
        let refused = u8::from(state.measure_refused()) | u8::from(state.transmit_refused()) << 1;
        let mark = policy.parts().fingerprint;
        prop_assert_eq!(
            state.pack(&policy),
            packed(mark, state.since_measure_s(), state.transmit_after_s(), refused)
        );
    }

    /// Without a clock the off-time counts anew, whatever is in memory.
    #[test]
    fn a_torn_copy_never_permits_an_early_transmission(
        (policy, old, new) in any_policy()
            .prop_flat_map(|policy| (Just(policy), any_state(policy), any_state(policy))),
        written in 0..=RETAINED_BYTES,
    ) {
        let copy = mixed(&new.pack(&policy), &old.pack(&policy), (1 << written) - 1);
        let state = State::unpack(&policy, &copy, Outage::Unknown);
        prop_assert!(state.transmit_after_s() >= policy.parts().off_time_s);
        prop_assert!(state.transmit_after_s() <= policy.parts().spacing_s.max(policy.parts().off_time_s));
    }

    /// Any bytes at all, even with check bytes that fit.
    #[test]
    fn any_bytes_leave_the_off_time_standing(
        policy in any_policy(), bytes: [u8; RETAINED_BYTES], is_marked: bool,
    ) {
        let mut copy = bytes;
        if is_marked {
            copy[0] = 8 | copy[0] & 3;
            copy[10..].copy_from_slice(&policy.parts().fingerprint.to_le_bytes());
        }
        for copy in [copy, with_check(copy)] {
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
