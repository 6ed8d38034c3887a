//! By which factor the currents of a load go so that the node draws what was fitted.
//!
//! What is fitted is drawn at the storage terminal. The regulator's own current is part of it and not of the load, and the
//! efficiency of a switching regulator changes with the current (docs/model.md, equations 1 to 3). So what is drawn is not in
//! proportion to the load's currents, and the factor is searched: a table of efficiencies has no closed form.

use crate::halving::halved;

/// From step to step outwards: closer than the currents of a table of efficiencies stand.
const STEP: f64 = 1.1;
/// Steps outwards, to eight powers of ten: nothing further off is the load that was described.
const MOST_STEPS: usize = 200;
/// Halvings of one step: down to the last bit of a factor.
const HALVINGS: u32 = 52;

/// What a value is multiplied by, and its standard error as a part of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Change {
    pub(super) factor: f64,
    pub(super) spread: f64,
}

/// Why no factor on the currents of a load gives what was fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Unreached {
    /// What was fitted is no more than this, which is drawn without any load.
    WithoutLoad(f64),
    /// The load draws nothing as described.
    NoLoad,
}

/// The change of a load's currents with which `drawn`, a function of their factor, is `fitted`.
pub(super) fn change(
    fitted: f64,
    standard_error: f64,
    drawn: impl Fn(f64) -> f64,
) -> Result<Change, Unreached> {
    let factor = factor(fitted, &drawn)?;
    // Downwards there may be nothing left of the load.
    let above = self::factor(fitted + standard_error, &drawn)?;
    Ok(Change {
        factor,
        spread: above / factor - 1.0,
    })
}

fn factor(wanted: f64, drawn: &impl Fn(f64) -> f64) -> Result<f64, Unreached> {
    let without_load = drawn(0.0);
    if drawn(1.0) <= without_load {
        return Err(Unreached::NoLoad);
    }
    // From 1 outwards: where the efficiency rises steeply several loads draw the same, and the nearest is meant.
    let (mut low, mut high) = (1.0, 1.0);
    for _ in 0..MOST_STEPS {
        if drawn(high) < wanted {
            (low, high) = (high, STEP * high);
        } else if drawn(low) > wanted {
            (low, high) = (low / STEP, low);
        }
    }
    if drawn(low) > wanted {
        return Err(Unreached::WithoutLoad(without_load));
    } else if drawn(high) < wanted {
        return Err(Unreached::NoLoad);
    }
    let (_, high) = halved(low, high, HALVINGS, |factor| drawn(factor) >= wanted);
    Ok(high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A straight line is solved in one step, but for rounding.
    const ROUNDING: f64 = 1e-12;

    /// By hand: 2 of the load and 1 beside it are 3; 5 are 4 and 1, and an error of 0.4 of 5 is one of 0.4 of 4.
    #[test]
    fn what_is_drawn_beside_the_load_stays() {
        let found = change(5.0, 0.4, |times| 2.0 * times + 1.0).expect("a change");
        assert!((found.factor - 2.0).abs() < ROUNDING, "{found:?}");
        assert!((found.spread - 0.1).abs() < ROUNDING, "{found:?}");
    }

    #[test]
    fn what_no_load_gives_is_said() {
        let linear = |times: f64| 2.0 * times + 1.0;
        assert_eq!(change(1.0, 0.1, linear), Err(Unreached::WithoutLoad(1.0)));
        assert_eq!(change(0.2, 0.1, linear), Err(Unreached::WithoutLoad(1.0)));
        assert_eq!(change(5.0, 0.1, |_| 1.0), Err(Unreached::NoLoad));
        assert_eq!(change(f64::MAX, 0.1, linear), Err(Unreached::NoLoad));
    }

    /// A drain that is reached at several factors; it falls in between, so that they stand apart.
    #[test]
    fn the_nearest_of_several_factors_is_taken() {
        let drawn = |times: f64| {
            if times < 1.9 {
                times
            } else {
                (times / 2.0 - 0.4).max(0.5)
            }
        };
        for wanted in [0.8, 1.0, 1.2] {
            let found = change(wanted, 1e-6, drawn).expect("a change");
            assert!((found.factor - wanted).abs() < ROUNDING, "{found:?}");
        }
    }
}
