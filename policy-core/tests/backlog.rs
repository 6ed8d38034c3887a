//! Promise 7: the backlog against a plain list of what each rule should keep.

use millpond_policy::{Backlog, WhenFull};
use proptest::prelude::*;

const CAPACITY: usize = 7;
const EVEN_CAPACITY: usize = 8;
const RULES: [WhenFull; 3] = [WhenFull::KeepNewest, WhenFull::KeepOldest, WhenFull::ThinEvenly];

fn filled<const N: usize>(rule: WhenFull, samples: u32) -> Backlog<u32, N> {
    let mut backlog = Backlog::new(rule);
    for sample in 0..samples {
        backlog.push(sample);
    }
    backlog
}

#[test]
fn only_a_new_backlog_is_empty() {
    assert!(filled::<CAPACITY>(WhenFull::KeepNewest, 0).is_empty());
    assert!(!filled::<CAPACITY>(WhenFull::KeepNewest, 1).is_empty());
}

#[test]
fn the_simple_rules_keep_an_end() {
    for samples in 0..40_u32 {
        let kept = samples.min(CAPACITY as u32);
        let newest = filled::<CAPACITY>(WhenFull::KeepNewest, samples);
        assert!(newest.iter().copied().eq(samples - kept..samples));
        let oldest = filled::<CAPACITY>(WhenFull::KeepOldest, samples);
        assert!(oldest.iter().copied().eq(0..kept));
    }
}

/// After any number of samples what is left is evenly spaced, spans the time up to one stride from the newest,
/// and never thins below half of the places.
fn assert_even<const N: usize>(samples: u32) {
    let backlog = filled::<N>(WhenFull::ThinEvenly, samples);
    let kept: Vec<u32> = backlog.iter().copied().collect();
    let steps: Vec<u32> = kept.windows(2).map(|pair| pair[1] - pair[0]).collect();
    assert!(steps.iter().all(|step| *step == steps[0]), "{samples}: {kept:?}");
    let Some(stride) = steps.first() else { return };
    assert!(stride.is_power_of_two());
    assert!(
        samples - 1 - kept[kept.len() - 1] < *stride,
        "{samples}: {kept:?}"
    );
    assert!(kept[0] < *stride * 2, "{samples}: {kept:?}");
    assert!(samples as usize <= N || kept.len() > N / 2, "{samples}: {kept:?}");
}

#[test]
fn thinning_leaves_an_even_grid() {
    // Up to the widest stride of 128 the grid is exact.
    for samples in 0..=128 * EVEN_CAPACITY as u32 {
        assert_even::<EVEN_CAPACITY>(samples);
        assert_even::<CAPACITY>(samples.min(128 * CAPACITY as u32));
    }
}

#[test]
fn an_emptied_backlog_takes_every_sample_again() {
    let mut backlog = filled::<CAPACITY>(WhenFull::ThinEvenly, 1_000);
    while backlog.pop().is_some() {}
    for sample in 0..CAPACITY as u32 {
        backlog.push(sample);
    }
    assert!(backlog.iter().copied().eq(0..CAPACITY as u32));
}

#[test]
fn the_count_of_dropped_samples_stops_at_its_end() {
    for rule in RULES {
        let backlog = filled::<1>(rule, 70_000);
        assert_eq!(backlog.dropped(), u16::MAX);
    }
}

proptest! {
    /// What was pushed is in the backlog, was taken, or was counted as dropped; and stays in order.
    #[test]
    fn no_sample_is_lost_without_being_counted(
        rule in prop::sample::select(RULES.to_vec()), pushes in prop::collection::vec(any::<bool>(), 0..2_000),
    ) {
        let mut backlog: Backlog<u32, CAPACITY> = Backlog::new(rule);
        let (mut pushed, mut taken, mut counted) = (0_u32, Vec::new(), 0_u32);
        for is_push in pushes {
            if is_push || pushed % 3 != 0 {
                backlog.push(pushed);
                pushed += 1;
            } else {
                counted += u32::from(backlog.take_dropped());
                taken.extend(backlog.pop());
                pushed += 1;
                counted += 1;
            }
            prop_assert!(usize::from(backlog.len()) <= CAPACITY);
            prop_assert_eq!(usize::from(backlog.len()), backlog.iter().count());
        }
        counted += u32::from(backlog.dropped());
        prop_assert_eq!(pushed, u32::from(backlog.len()) + taken.len() as u32 + counted);
        taken.extend(backlog.iter());
        prop_assert!(taken.is_sorted_by(|earlier, later| earlier < later));
    }
}
