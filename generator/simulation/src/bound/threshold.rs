//! What a storage keeps that starts nothing below a threshold: a floor that sinks with sleep and rises again with income.

use super::Stretch;

/// A part of a stretch over which the floor is a straight line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Part {
    pub(super) stretch: Stretch,
    /// The floor at its end, at least 0.
    pub(super) floor_end_j: f64,
}

/// The floor over `stretches`: `kept_j` less what sleep took since most had come in, and never below 0.
pub(super) fn floors(stretches: &[Stretch], kept_j: f64) -> Vec<Part> {
    let mut parts = Vec::with_capacity(stretches.len());
    let mut owed_j = 0.0_f64;
    for stretch in stretches {
        let Stretch { length_s, net_w } = *stretch;
        let end_j = (owed_j - net_w * length_s).max(0.0);
        let mut from_s = 0.0;
        if kept_j > 0.0 {
            // Where the line bends: nothing is kept any more, or again; nothing is owed any more.
            let mut bends_s = [(owed_j - kept_j) / net_w, owed_j / net_w];
            bends_s.sort_by(f64::total_cmp);
            for bend_s in bends_s {
                if bend_s > from_s && bend_s < length_s {
                    let bend_owed_j = (owed_j - net_w * bend_s).max(0.0);
                    parts.push(part(bend_s - from_s, net_w, kept_j - bend_owed_j));
                    from_s = bend_s;
                }
            }
        }
        parts.push(part(length_s - from_s, net_w, kept_j - end_j));
        owed_j = end_j;
    }
    parts
}

fn part(length_s: f64, net_w: f64, floor_j: f64) -> Part {
    Part {
        stretch: Stretch { length_s, net_w },
        floor_end_j: floor_j.max(0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 3 J are kept; a night takes 2 J and then 4 J, by day 1 W brings them back.
    #[test]
    fn the_floor_sinks_with_sleep_and_comes_back() {
        let stretch = |length_s: f64, net_w: f64| Stretch { length_s, net_w };
        let found = floors(&[stretch(2.0, -1.0), stretch(4.0, -1.0), stretch(10.0, 1.0)], 3.0);
        let corners: Vec<(f64, f64)> = found
            .iter()
            .map(|part| (part.stretch.length_s, part.floor_end_j))
            .collect();
        // Nothing is kept after 3 s of night, and again after 3 s of day; nothing is owed after 6 s of day.
        assert_eq!(
            corners,
            [
                (2.0, 1.0),
                (1.0, 0.0),
                (3.0, 0.0),
                (3.0, 0.0),
                (3.0, 3.0),
                (4.0, 3.0)
            ]
        );
        assert_eq!(floors(&[stretch(2.0, -1.0)], -1.0).len(), 1);
        assert_eq!(floors(&[stretch(2.0, 0.0)], 1.0)[0].floor_end_j, 1.0);
    }
}
