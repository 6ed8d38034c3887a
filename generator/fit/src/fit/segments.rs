//! Cuts a log into segments: dark ones, in which the store falls as fast as it ever does, and short ones in the light.
//!
//! Nothing in a log says that it is dark. The store falls fastest where nothing comes in; windows whose fall agrees with the
//! fastest ones, and whose neighbours do, are taken as dark. An income that never ends is not seen by this: it counts as less
//! sleeping current, and the report says so.

use super::described::Described;
use super::points::{LEAKAGE, MEASURE, Point, RESISTANCE, SLEEP, TRANSMIT};
use super::readings::Readings;
use super::regression::{self, Estimate, Segment};

/// A short window holds so many reports, and at least so many points.
const WINDOW_REPORTS: usize = 8;
const WINDOW_POINTS: usize = 12;
/// A window in the light holds no more points: a straight line stands for its income.
const MOST_WINDOW_POINTS: usize = 600;
/// The fall of a long window is to be known to this part of the described one.
const FALL_ERROR: f64 = 0.1;
/// A log is cut into at least so many long windows.
const LONG_WINDOWS: f64 = 24.0;
/// A long window holds at least so many points.
const LONG_POINTS: usize = 8;
/// A window belongs to the dark ones when its fall is within so many of its standard errors of theirs.
const NEAR_ERRORS: f64 = 3.5;
/// Or within this part of it: temperature, and a sample that no row tells of, move a fall by as much.
const NEAR_PART: f64 = 0.15;
/// The level has settled when a round moves it by less than this part: far below what any reading shows.
const SETTLED: f64 = 1e-9;
/// The fastest part of the falling windows in which the search for the dark ones begins.
const FASTEST_PART: f64 = 0.5;
/// Blocks for the standard errors: a dark stretch has about so many.
const BLOCKS: usize = 24;

/// A long window and how fast the store falls in it, in units of the described fall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Window {
    pub(super) first: usize,
    pub(super) end: usize,
    pub(super) fall: f64,
    pub(super) error: f64,
    pub(super) is_dark: bool,
}

/// The segments of a log.
#[derive(Clone, Debug, Default)]
pub(super) struct Cut {
    pub(super) segments: Vec<Segment>,
    pub(super) windows: Vec<Window>,
    /// Time in the dark (s).
    pub(super) dark_s: f64,
}

/// Cuts a log.
pub(super) fn cut(points: &[Point], described: &Described, readings: &Readings) -> Cut {
    let runs = runs(points);
    let short = short_windows(points, &runs);
    // First the steps alone, each window with a trend of its own.
    let steps = regression::solve(points, &short, readings.noise_v);
    let steps = steps.map_or([1.0; 5], |estimate| plausible(&estimate));
    let mut windows = long_windows(points, &runs, described, readings, &steps);
    find_dark(&mut windows);
    erode(&mut windows);
    let mut segments: Vec<Segment> = Vec::new();
    let mut dark_s = 0.0;
    let mut is_dark = vec![false; points.len()];
    let mut at = 0;
    while at < windows.len() {
        let window = windows[at];
        let mut end = window.end;
        at += 1;
        if !window.is_dark {
            continue;
        }
        // Between two runs something happened that no row tells of: each has a level of its own.
        let run = points[window.first].run;
        while windows
            .get(at)
            .is_some_and(|next| next.is_dark && next.first == end && points[next.first].run == run)
        {
            end = windows[at].end;
            at += 1;
        }
        dark_s += points[end - 1].time_s - points[window.first].time_s;
        is_dark[window.first..end]
            .iter_mut()
            .for_each(|place| *place = true);
        segments.push(Segment {
            first: window.first,
            end,
            is_dark: true,
            block: ((end - window.first) / BLOCKS).max(WINDOW_POINTS),
            spread: 1.0,
        });
    }
    segments.extend(
        short
            .into_iter()
            .filter(|segment| !is_dark[segment.first..segment.end].iter().any(|dark| *dark)),
    );
    segments.sort_by_key(|segment| segment.first);
    Cut {
        segments,
        windows,
        dark_s,
    }
}

/// Stretches of points of one run.
fn runs(points: &[Point]) -> Vec<(usize, usize)> {
    let mut found = Vec::new();
    let mut first = 0;
    for place in 1..=points.len() {
        if place == points.len() || points[place].run != points[first].run {
            found.push((first, place));
            first = place;
        }
    }
    found
}

/// The factors of samples and reports where they are known at all; as described elsewhere.
fn plausible(estimate: &Estimate) -> [f64; 5] {
    let mut factors = [1.0; 5];
    for column in [MEASURE, TRANSMIT] {
        let (known, error) = estimate.column(column);
        if known && error < 0.5 {
            factors[column] = estimate.beta[column];
        }
    }
    factors[RESISTANCE] = estimate.beta[RESISTANCE];
    factors
}

/// Windows of a few reports each, for the steps; those without one are left out.
fn short_windows(points: &[Point], runs: &[(usize, usize)]) -> Vec<Segment> {
    let mut found = Vec::new();
    for (first, end) in runs {
        let mut start = *first;
        let mut reports = 0;
        for place in *first + 1..=*end {
            let is_last = place == *end;
            if !is_last && points[place].x[TRANSMIT] > points[place - 1].x[TRANSMIT] {
                reports += 1;
            }
            let length = place - start;
            let is_full =
                (reports >= WINDOW_REPORTS && length >= WINDOW_POINTS) || length >= MOST_WINDOW_POINTS;
            if is_full || is_last {
                if length >= WINDOW_POINTS && reports > 0 {
                    found.push(Segment {
                        first: start,
                        end: place,
                        is_dark: false,
                        block: length,
                        spread: 1.0,
                    });
                }
                (start, reports) = (place, 0);
            }
        }
    }
    found
}

/// Windows long enough for their fall to be known, each with it.
fn long_windows(
    points: &[Point],
    runs: &[(usize, usize)],
    described: &Described,
    readings: &Readings,
    factors: &[f64; 5],
) -> Vec<Window> {
    let (Some(start), Some(last)) = (points.first(), points.last()) else {
        return Vec::new();
    };
    let whole_s = last.time_s - start.time_s;
    let step_s = whole_s / points.len() as f64;
    // The error of a slope: σ·√12/(T·√n), n = T/step.
    let wanted = FALL_ERROR * described.sleep_rate_v_per_s(described.working_v);
    let length_s = (12.0 * (readings.noise_v / wanted).powi(2) * step_s).cbrt();
    let length_s = length_s
        .min(whole_s / LONG_WINDOWS)
        .max(LONG_POINTS as f64 * step_s);
    let mut found = Vec::new();
    for (first, end) in runs {
        let run_s = points[*end - 1].time_s - points[*first].time_s;
        let count = (run_s / length_s).floor().max(1.0);
        let own_s = run_s / count;
        let begin_s = points[*first].time_s;
        let mut from = *first;
        for number in 1..=count as usize {
            let until = if number == count as usize {
                *end
            } else {
                from + points[from..*end]
                    .partition_point(|point| point.time_s < begin_s + own_s * number as f64)
            };
            if until - from >= LONG_POINTS {
                found.extend(fall(points, from, until, readings.noise_v, factors));
            }
            from = until;
        }
    }
    found
}

/// The fall of a window in units of the described one, by least squares.
fn fall(points: &[Point], first: usize, end: usize, noise_v: f64, factors: &[f64; 5]) -> Option<Window> {
    let own = &points[first..end];
    let count = own.len() as f64;
    let row = |point: &Point| {
        let steps: f64 = [MEASURE, TRANSMIT, RESISTANCE]
            .iter()
            .map(|column| factors[*column] * (point.x[*column]))
            .sum();
        (point.x[SLEEP] + point.x[LEAKAGE], -point.storage_v - steps)
    };
    let (mean_x, mean_y) = own
        .iter()
        .map(row)
        .fold((0.0, 0.0), |(a, b), (x, y)| (a + x / count, b + y / count));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (x, y) in own.iter().map(row) {
        let (x, y) = (x - mean_x, y - mean_y);
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    if xx <= 0.0 {
        return None;
    }
    let fall = xy / xx;
    let left_v = ((yy - fall * xy).max(0.0) / count).sqrt();
    Some(Window {
        first,
        end,
        fall,
        error: left_v.max(noise_v) / xx.sqrt(),
        is_dark: false,
    })
}

/// Marks the windows that fall as fast as the store ever does.
fn find_dark(windows: &mut [Window]) {
    let mut falling: Vec<Window> = windows
        .iter()
        .copied()
        .filter(|window| window.fall > window.error)
        .collect();
    if falling.is_empty() {
        return;
    }
    falling.sort_by(|a, b| b.fall.total_cmp(&a.fall));
    let fastest = ((falling.len() as f64 * FASTEST_PART).ceil() as usize).clamp(1, falling.len());
    // The median of the fastest half: nonsense in a few windows does not move it far.
    let mut level = falling[fastest / 2].fall;
    for _ in 0..20 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for window in falling.iter().filter(|window| is_near(window, level)) {
            let weight = window.error.powi(-2);
            sum += window.fall * weight;
            weights += weight;
        }
        if weights == 0.0 || (sum / weights - level).abs() < SETTLED * level {
            break;
        }
        level = sum / weights;
    }
    for window in windows {
        window.is_dark = is_near(window, level);
    }
}

fn is_near(window: &Window, level: f64) -> bool {
    (window.fall - level).abs()
        <= (NEAR_ERRORS * window.error)
            .max(NEAR_PART * level)
            .min(0.5 * level)
}

/// A dark window beside a lit one may hold some dusk: it goes where its stretch has others.
fn erode(windows: &mut [Window]) {
    let before = windows.to_vec();
    let joined = |a: usize, b: usize| before[a].end == before[b].first;
    for at in 0..before.len() {
        if !before[at].is_dark {
            continue;
        }
        let lit_before = at > 0 && joined(at - 1, at) && !before[at - 1].is_dark;
        let lit_after = at + 1 < before.len() && joined(at, at + 1) && !before[at + 1].is_dark;
        let dark_before = at > 0 && joined(at - 1, at) && before[at - 1].is_dark;
        let dark_after = at + 1 < before.len() && joined(at, at + 1) && before[at + 1].is_dark;
        let deeper = (lit_before && dark_after) || (lit_after && dark_before);
        windows[at].is_dark = !(deeper || lit_before && lit_after);
    }
    if windows.iter().all(|window| !window.is_dark) {
        windows.copy_from_slice(&before);
    }
}
