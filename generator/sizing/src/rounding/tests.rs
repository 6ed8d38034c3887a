use super::*;
use crate::model::given::against_supply;
use crate::model::reading::{Converter, Scale};
use crate::node::{Sense, SenseKind};
use millpond_policy::{Policy, PolicyParts};
use proptest::prelude::*;

/// A converter with no divider before it, of that many volts a count.
fn direct(count_v: f64, bits: u32) -> Sense {
    Sense {
        kind: SenseKind::Divider,
        ..against_supply(bits, count_v * f64::from(1u32 << bits), 0.0)
    }
}

#[test]
fn each_conversion_goes_to_its_side() {
    assert_eq!(millivolts_up(volts(1.0001)), 1001);
    assert_eq!(millivolts_down(volts(1.0009)), 1000);
    assert_eq!(microjoules_up(joules(1.0000001)), 1_000_001);
    assert_eq!(microwatts_up(watts(7.0000001e-6)), 8);
    assert_eq!(seconds_up(seconds(18.3)), 19);
    assert_eq!(seconds_up(seconds(1e9)), u16::MAX);
    // 0.1 + 0.2 is a little above 0.3 in doubles and still 300 mV.
    assert_eq!(millivolts_up(volts(0.1 + 0.2)), 300);
}

/// A limit of 1 % on 185.344 ms: 18.35 s, in whole seconds 19, and the one that the counter may hide.
#[test]
fn silence_allows_for_the_counter() {
    assert_eq!(silence_up(seconds(18.349)), 20);
    assert_eq!(silence_up(seconds(0.0)), 0);
    assert_eq!(silence_up(seconds(1e9)), u16::MAX - 1);
}

/// Published: a reference of 1.1 V in 10 bits read as 470 is a supply of 2.39 V, as 375 one of 3.00 V. Source: tutorial "Measure the
/// supply over the reference in battery-powered devices", which cuts the third decimal.
#[test]
fn a_supply_read_by_its_reference_equals_the_published_example() {
    let scale = CountScale::of(&Scale::of(&against_supply(10, 1.1, 0.0)));
    assert_eq!(scale.millivolts(470) / 10, 239);
    assert_eq!(scale.millivolts(375) / 10, 300);
}

proptest! {
    /// A count never reads above the converter's true step, nor more than 2^-15 of itself and a millivolt below.
    #[test]
    fn counts_read_at_most_the_truth(count_v in 1e-5..0.05f64, bits in 6..=16u32, share in 0.0..1.0f64) {
        let sense = direct(count_v, bits);
        prop_assume!(sense.reference < volts(65.0));
        let border = CountScale::of(&Scale::of(&sense));
        let maximum_count = border.maximum_count;
        let count = (share * f64::from(maximum_count)) as u32;
        let truth_mv = f64::from(count) * count_v * 1e3;
        let read_mv = f64::from(border.millivolts(count));
        prop_assert!(read_mv <= truth_mv + SLACK_MV);
        prop_assert!(read_mv > truth_mv * (1.0 - 2f64.powi(-15)) - 1.0);
    }

    /// Every energy that 32 bits of microjoules hold has a scale, and no other.
    ///
    /// Firmware's energy never stands above the truth, whatever part of a millivolt the limits are at. At the full reading it stands
    /// within a part in 2^13 below it, three roundings of 15 bits and more each, and the two millivolts that the limits moved.
    #[test]
    fn stored_energy_is_never_above_the_truth(exponent in -3.0..3.0f64, floor_v in 1.0..3.0f64, room_v in 0.5..3.0f64, at in 0.0..1.0f64) {
        let (c, full_v) = (10f64.powf(exponent), floor_v + room_v);
        let squares_mv2 = (full_v * 1e3).floor().powi(2) - (floor_v * 1e3).ceil().powi(2);
        let whole_uj = c / 2.0 * squares_mv2;
        let Some(scale) = EnergyScale::of(farads(c), volts(floor_v), volts(full_v)) else {
            prop_assert!(whole_uj > f64::from(u32::MAX), "{whole_uj} uJ have no scale");
            return Ok(());
        };
        // Both factors are rounded down, by a part in 2^14 at most.
        prop_assert!(whole_uj < f64::from(u32::MAX) * (1.0 + 2f64.powi(-13)));
        let truth_uj = |v: f64| c / 2.0 * (v * v - floor_v * floor_v) * 1e6;
        let slack_uj = c * full_v * SLACK_MV * 1e3;
        let mv = ((floor_v + at * room_v) * 1e3).ceil() as u16;
        for (mv, read_v) in [(mv, f64::from(mv) / 1e3), (u16::MAX, full_v)] {
            let most_uj = truth_uj(read_v.min(full_v)) * (1.0 + 1e-12) + slack_uj;
            prop_assert!(f64::from(scale.microjoules(mv)) <= most_uj);
            // Nor above that of the whole millivolts, a bound without what the limits moved.
            let square = |mv: u16| f64::from(mv).powi(2);
            let counted_uj = c / 2.0 * (square(mv.min(scale.full_mv)) - square(scale.floor_mv)).max(0.0);
            prop_assert!(f64::from(scale.microjoules(mv)) <= counted_uj * (1.0 + 1e-12));
        }
        let full = f64::from(scale.microjoules(u16::MAX));
        let moved_uj = c * (floor_v + full_v) * 1e3;
        prop_assert!(full >= truth_uj(full_v) * (1.0 - 2f64.powi(-13)) - moved_uj - 1.0, "{full} {}", truth_uj(full_v));
        prop_assert_eq!(scale.microjoules((floor_v * 1e3) as u16), 0);
        prop_assert_eq!(scale.microjoules((full_v * 1e3).ceil() as u16), scale.microjoules(u16::MAX));
    }

    /// The emitted count is the first that reads the threshold: its neighbour below does not.
    #[test]
    fn the_count_of_a_threshold_is_the_first(count_v in 1e-4..0.01f64, bits in 8..=12u32, threshold_mv in 500u32..6000) {
        let border = CountScale::of(&Scale::of(&direct(count_v, bits)));
        let counts = border.decide(threshold_mv);
        prop_assert!(counts.is_none_or(|counts| border.millivolts(counts) >= threshold_mv));
        let below = counts.unwrap_or(border.beyond()).checked_sub(1);
        prop_assert!(below.is_none_or(|counts| border.millivolts(counts) < threshold_mv));
    }

    /// Against the supply the emitted count is the last: of all counts, exactly those down from it that a converter delivers below
    /// 65.536 V read the threshold.
    #[test]
    fn the_count_of_a_threshold_is_the_last_against_the_supply(reference_v in 0.4..3.0f64, bits in 6..=16u32, threshold_mv in 500u32..6000) {
        let sense = Sense { kind: SenseKind::Reference, reference: volts(reference_v), ..direct(1.0, bits) };
        let border = CountScale::of(&Scale::of(&sense));
        let decide = border.decide(threshold_mv);
        let least = (border.scale >> 16) + 1;
        for counts in 0..=border.maximum_count {
            let permits = decide.is_some_and(|last| (least..=last).contains(&counts));
            prop_assert_eq!(border.millivolts(counts) >= threshold_mv, permits, "{} of {:?}", counts, decide);
        }
    }

    /// The host's conversion is the firmware's, at every count that 16 bits hold.
    #[test]
    fn the_firmware_converts_the_same(reference_v in 0.4..6.0f64, bits in 6..=16u32, against_the_supply in any::<bool>()) {
        let kind = if against_the_supply { SenseKind::Reference } else { SenseKind::Divider };
        let sense = Sense { kind, reference: volts(reference_v), ..direct(1.0, bits) };
        let border = CountScale::of(&Scale::of(&sense));
        let policy = Policy::new(PolicyParts { sense: border.into(), ..*Policy::EXAMPLE.parts() }).expect("sound constants");
        for counts in 0..=u16::MAX {
            prop_assert_eq!(u32::from(policy.storage_mv_from_counts(counts)), border.millivolts(counts.into()));
        }
    }

    /// The same against the supply, through the converter of the simulation and the conversion of the firmware.
    #[test]
    fn no_unit_reads_outside_against_the_supply(
        reference_v in 0.5..1.5f64, tolerance in 0.0..0.1f64, part in -1.0..1.0f64, truth_v in 1.7..6.0f64, bits in 6..=16u32,
    ) {
        let sense = against_supply(bits, reference_v, tolerance);
        let scale = Scale::of(&sense);
        let own = against_supply(bits, reference_v * (1.0 + part * tolerance), 0.0);
        let count = Converter::of(&own, amperes(0.0)).count(truth_v);
        let read_v = f64::from(CountScale::of(&scale).millivolts(count)) / 1e3;
        let errors = scale.errors(volts(truth_v));
        prop_assert!(read_v <= truth_v + (errors.reference + errors.count).value + 1e-9, "{read_v} {errors:?}");
        prop_assert!(read_v >= scale.lowest_reading(volts(truth_v)).value - 1e-9, "{read_v}");
    }
}
