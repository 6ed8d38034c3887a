//! The bank as a sum of exponentials, for a recording of many rows: one step for each row, however fast the bank answers
//! (docs/model.md, equations 59 to 61).
//!
//! With constant capacitances the branches are a linear system, driven by the current i that is drawn at the terminal:
//!
//! ```text
//! C_k·du_k/dt = (v − u_k)·g_k        v = (Σ g_k·u_k − i)/S        S = Σ g_k + G        i = I + P/v
//! ```
//!
//! Its modes z_m decay by themselves, dz_m/dt = −λ_m·z_m − β_m·i with v = Σ β_m·z_m − i/S. Each λ is a root of
//! λ·Σ g_k/(d_k − λ) = G with d_k = g_k/C_k: one below all d_k, one between each two (a diagonal matrix less a product of a vector
//! with itself: the secular equation, as in LAPACK's DLAED4). Each is sought as its distance from the nearer d_k, so that a slow mode
//! is as exact as if no fast one were there.
//!
//! Over a row the current is taken as constant at its mean, i = I + P/v̄, where v̄ is the mean of v over the row under that current. What
//! leaves the bank is then right to the square of the part by which v changes in the row, and a fast branch is off at its end by
//! its own drop times the part by which v stands away from v̄ there. A row is halved until both are below [`MOST_CHANGE`] and
//! [`MOST_AWAY`], and where v turns inside it.

use crate::halving::halved;
use crate::model::bank::Bank;
use crate::model::branches::Drawn;
use crate::model::stretch::{Discharged, Stretch};
use crate::model::terminal;
use crate::units::*;

/// The terminal changes by less than this part of itself in a row: the drawn charge is right to a twelfth of its square, 5e-6.
const MOST_CHANGE: f64 = 8e-3;
/// At the end of a row the terminal stands away from its mean by less than this part of itself: of a drop of 20 mV in a fast branch
/// 40 µV, which die away with it.
const MOST_AWAY: f64 = 2e-3;
/// A terminal that turns inside a row is looked at more closely where it may fall by more than this on the way (V).
const MOST_TURN_V: f64 = 1e-5;
/// A row is not halved more often: what changes in a millionth of it is a collapse.
const MOST_HALVINGS: u32 = 20;
/// Two branches with time constants closer than this part stand apart by it, which moves a capacitance by as much.
const APART: f64 = 1e-9;
/// Below this part of a time constant the exponential is its series: the next term is 1e-13 of what is left.
const SHORT: f64 = 1e-6;
/// Halvings of a range that leave no digit open.
const HALVINGS: u32 = 1100;
/// Durations that are kept with their exponentials; a recording has few different ones.
const KEPT: usize = 256;
/// Bits by which two durations of a recording may differ, as differences of times in decimals do: a part of 1e-9.
const LAST_BITS: u32 = 22;

/// The modes of a bank of exactly `N` branches.
#[derive(Clone, Debug)]
pub(crate) struct Modes<const N: usize> {
    /// λ of each mode (1/s).
    rate_per_s: [f64; N],
    /// β of each mode: what it gives to the terminal, and by how much the current moves it.
    reach: [f64; N],
    /// Modes from the voltages behind the resistances, and back.
    from_inner: [[f64; N]; N],
    to_inner: [[f64; N]; N],
    /// S: all conductances and leakage.
    total_s: f64,
    /// What durations do, each in the place that its bits tell.
    kept: Vec<Option<Decay<N>>>,
}

/// What a duration does to the modes.
#[derive(Clone, Copy, Debug)]
struct Decay<const N: usize> {
    duration_s: f64,
    /// e^(−λ·t).
    left: [f64; N],
    /// β·(1 − e^(−λ·t))/λ: what a constant ampere moves each mode by.
    moved: [f64; N],
    /// Mean over the duration of what each volt of a mode gives to the terminal.
    mean: [f64; N],
    /// Amperes that take a volt of the terminal's mean over the duration.
    mean_s: f64,
}

/// The terminal at one moment.
#[derive(Clone, Copy, Debug)]
struct Point {
    terminal_v: f64,
    /// How fast it moves under the current that flows at that moment (V/s).
    slope_v_per_s: f64,
}

impl<const N: usize> Modes<N> {
    /// The modes of `bank`; `None` where a capacitance changes with voltage or a branch is missing.
    pub(crate) fn of(bank: &Bank) -> Option<Self> {
        let is_linear = bank
            .branches
            .iter()
            .all(|branch| branch.slope == farads_per_volt(0.0));
        if bank.branches.len() != N || !is_linear {
            return None;
        }
        let leakage_s = bank.leakage.get::<siemens>();
        let mut order: [usize; N] = std::array::from_fn(|k| k);
        let conductance_s: [f64; N] =
            std::array::from_fn(|k| bank.branches[k].resistance.get::<ohm>().recip());
        let capacitance_f: [f64; N] = std::array::from_fn(|k| bank.branches[k].capacitance.get::<farad>());
        let mut pole: [f64; N] = std::array::from_fn(|k| conductance_s[k] / capacitance_f[k]);
        order.sort_by(|a, b| pole[*a].total_cmp(&pole[*b]));
        for pair in order.windows(2) {
            let (slower, faster) = (pair[0], pair[1]);
            pole[faster] = pole[faster].max(pole[slower] * (1.0 + APART));
        }
        let total_s = conductance_s.iter().sum::<f64>() + leakage_s;
        let mut modes = Self {
            rate_per_s: [0.0; N],
            reach: [0.0; N],
            from_inner: [[0.0; N]; N],
            to_inner: [[0.0; N]; N],
            total_s,
            kept: vec![None; KEPT],
        };
        for mode in 0..N {
            let below = mode.checked_sub(1).map(|slower| order[slower]);
            let (rate_per_s, away) = root(&conductance_s, &pole, leakage_s, below, order[mode]);
            modes.rate_per_s[mode] = rate_per_s;
            // The mode over the roots of the capacitances, of length 1.
            let own: [f64; N] =
                std::array::from_fn(|k| conductance_s[k] / (capacitance_f[k].sqrt() * away[k]));
            let length = own.iter().map(|part| part * part).sum::<f64>().sqrt();
            for k in 0..N {
                let part = own[k] / length;
                modes.from_inner[mode][k] = part * capacitance_f[k].sqrt();
                modes.to_inner[k][mode] = part / capacitance_f[k].sqrt();
                modes.reach[mode] += part * conductance_s[k] / capacitance_f[k].sqrt() / total_s;
            }
        }
        Some(modes)
    }

    /// As [`discharge`](crate::model::discharge::discharge).
    pub(crate) fn discharge(&mut self, inner_v: &[f64], stretches: &[Stretch]) -> Option<Discharged> {
        let mut state: [f64; N] = std::array::from_fn(|mode| {
            self.from_inner[mode]
                .iter()
                .zip(inner_v)
                .map(|(t, u)| t * u)
                .sum()
        });
        let mut lowest_v = f64::INFINITY;
        for stretch in stretches {
            let (drawn, peak) = (Drawn::from(&stretch.drain), Drawn::from(&stretch.peak));
            let first = self.point(&state, drawn)?;
            if peak != drawn {
                lowest_v = lowest_v.min(self.point(&state, peak)?.terminal_v);
            }
            let duration_s = stretch.duration.get::<second>();
            lowest_v = lowest_v.min(self.row(&mut state, first, drawn, duration_s, 0)?);
            if peak != drawn {
                lowest_v = lowest_v.min(self.point(&state, peak)?.terminal_v);
            }
        }
        let inner_v = (0..N).map(|k| self.to_inner[k].iter().zip(&state).map(|(t, z)| t * z).sum());
        Some(Discharged {
            inner_v: inner_v.collect(),
            lowest: volts(lowest_v),
        })
    }

    /// Advances `state` over a row, at the start of which the terminal is `first`, and returns its lowest (V).
    fn row(
        &mut self,
        state: &mut [f64; N],
        first: Point,
        drawn: Drawn,
        duration_s: f64,
        halvings: u32,
    ) -> Option<f64> {
        let whole = self.step(state, drawn, duration_s);
        if let Some((next, mean_v, last)) = whole {
            let is_small = (last.terminal_v - first.terminal_v).abs() <= MOST_CHANGE * last.terminal_v
                && (last.terminal_v - mean_v).abs() <= MOST_AWAY * last.terminal_v;
            let turns = first.slope_v_per_s < 0.0 && last.slope_v_per_s > 0.0;
            let turn_v = duration_s * first.slope_v_per_s.abs().min(last.slope_v_per_s);
            let is_done = is_small && (!turns || turn_v <= MOST_TURN_V);
            if is_done || halvings >= MOST_HALVINGS {
                *state = next;
                return Some(first.terminal_v.min(last.terminal_v));
            }
        }
        if halvings >= MOST_HALVINGS {
            return None;
        }
        let half_s = duration_s / 2.0;
        let early_v = self.row(state, first, drawn, half_s, halvings + 1)?;
        let middle = self.point(state, drawn)?;
        let late_v = self.row(state, middle, drawn, half_s, halvings + 1)?;
        Some(early_v.min(late_v))
    }

    /// One step at the mean current: the state after it, the mean of the terminal, and the terminal after it. `None` where storage
    /// cannot carry what is drawn.
    fn step(&mut self, state: &[f64; N], drawn: Drawn, duration_s: f64) -> Option<([f64; N], f64, Point)> {
        let decay = self.decay(duration_s);
        let (mean_v, current_a) = carried(&decay.mean, state, decay.mean_s, drawn)?;
        let next: [f64; N] =
            std::array::from_fn(|mode| state[mode] * decay.left[mode] - decay.moved[mode] * current_a);
        let last = self.point(&next, drawn)?;
        Some((next, mean_v, last))
    }

    /// The terminal in a state; `None` where storage cannot carry what is drawn.
    fn point(&self, state: &[f64; N], drawn: Drawn) -> Option<Point> {
        let (terminal_v, current_a) = carried(&self.reach, state, self.total_s, drawn)?;
        let falling = |mode: usize| {
            self.reach[mode] * (self.rate_per_s[mode] * state[mode] + self.reach[mode] * current_a)
        };
        Some(Point {
            terminal_v,
            slope_v_per_s: -(0..N).map(falling).sum::<f64>(),
        })
    }

    /// What a duration does, rounded by its last bits.
    fn decay(&mut self, duration_s: f64) -> &Decay<N> {
        let first_bits = (duration_s.to_bits() + (1 << (LAST_BITS - 1))) >> LAST_BITS;
        // Knuth, The Art of Computer Programming 3, section 6.4: the highest bits of the product with 2^64 over the golden ratio.
        let place = (first_bits.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 32) as usize % KEPT;
        let duration_s = f64::from_bits(first_bits << LAST_BITS);
        let kept = &mut self.kept[place];
        if kept.is_some_and(|decay| decay.duration_s != duration_s) {
            *kept = None;
        }
        kept.get_or_insert_with(|| Decay::of(&self.rate_per_s, &self.reach, self.total_s, duration_s))
    }
}

impl<const N: usize> Decay<N> {
    fn of(rate_per_s: &[f64; N], reach: &[f64; N], total_s: f64, duration_s: f64) -> Self {
        let mut decay = Self {
            duration_s,
            left: [0.0; N],
            moved: [0.0; N],
            mean: [0.0; N],
            mean_s: 0.0,
        };
        let mut mean_ohm = total_s.recip();
        for (mode, (rate_per_s, reach)) in rate_per_s.iter().zip(reach).enumerate() {
            let constants = rate_per_s * duration_s;
            // (1 − e^(−x))/x, and (1 − that)/x.
            let (gone, late) = if constants < SHORT {
                (1.0 - constants / 2.0, 0.5 - constants / 6.0)
            } else {
                let gone = -libm::expm1(-constants) / constants;
                (gone, (1.0 - gone) / constants)
            };
            decay.left[mode] = 1.0 - gone * constants;
            decay.moved[mode] = reach * gone * duration_s;
            decay.mean[mode] = reach * gone;
            mean_ohm += reach * reach * late * duration_s;
        }
        decay.mean_s = mean_ohm.recip();
        decay
    }
}

/// The terminal's equation for the modes, of a moment or of the means over a row: the voltage behind the conductance `total_s` to which
/// each volt of a mode gives `reach`, and the current that is drawn. `None` where storage cannot carry it.
fn carried<const N: usize>(
    reach: &[f64; N],
    state: &[f64; N],
    total_s: f64,
    drawn: Drawn,
) -> Option<(f64, f64)> {
    let open_v: f64 = reach.iter().zip(state).map(|(reach, z)| reach * z).sum();
    let terminal_v = terminal::voltage_v(total_s, open_v * total_s, drawn.power_w, drawn.current_a)?;
    // Without power 0/0 would not be 0 at 0 V.
    let by_power_a = if drawn.power_w == 0.0 {
        0.0
    } else {
        drawn.power_w / terminal_v
    };
    Some((terminal_v, drawn.current_a + by_power_a))
}

/// The rate of the mode between the poles of `below` and `above`, or below the first one, and of each branch d_k less that rate.
fn root<const N: usize>(
    conductance_s: &[f64; N],
    pole: &[f64; N],
    leakage_s: f64,
    below: Option<usize>,
    above: usize,
) -> (f64, [f64; N]) {
    // λ·Σ g/(d − λ) − G rises from one pole to the next; by the distance μ from `origin`, λ = origin + μ.
    let excess = |origin: f64, distance: f64| -> f64 {
        let terms = conductance_s.iter().zip(pole);
        (origin + distance) * terms.map(|(g, d)| g / ((d - origin) - distance)).sum::<f64>() - leakage_s
    };
    let low = below.map_or(0.0, |below| pole[below]);
    let high = pole[above];
    let middle = (high - low) / 2.0;
    let is_low = excess(low, middle) >= 0.0;
    let origin = if is_low { low } else { high };
    let (_, farther) = halved(0.0, middle, HALVINGS, |distance| {
        if is_low {
            excess(origin, distance) >= 0.0
        } else {
            excess(origin, -distance) < 0.0
        }
    });
    let distance = if is_low { farther } else { -farther };
    // Without leakage the first rate is nothing: all branches alike.
    let distance = if below.is_none() && leakage_s == 0.0 {
        0.0 - origin
    } else {
        distance
    };
    let away = std::array::from_fn(|k| (pole[k] - origin) - distance);
    (origin + distance, away)
}

#[cfg(test)]
mod tests;
