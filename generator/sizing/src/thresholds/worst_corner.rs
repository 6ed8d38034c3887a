//! Where each part of the bank stands inside its range when an action needs the highest start: the corner that wins.
//!
//! For one branch alone the least capacitance and the most resistance are the worst. Beside others they need not be: a small branch
//! behind little resistance is emptied early and gives nothing to a later peak, and a large one recovers more slowly between two.
//! So the ends of all resistances are tried in all combinations, then points between the ends and the other end of each
//! capacitance, and the cold end beside the hot one (docs/model.md, "Corners").
//!
//! A corner is tried with one discharge from the highest start found so far: most hold, and only one that does not is searched.

use crate::model::bank::{Bank, Branch, Wear};
use crate::model::discharge::{Stretch, discharge};
use crate::node::{Capacitor, Node};
use crate::thresholds::start::{start_above, start_near};
use crate::units::*;

/// A resistance of which the file states no least goes down to this part of its most: a microvolt for a volt.
const AS_LOW_AS_CAN_BE: f64 = 1e-6;
/// Up to so many branches, all combinations of their ends are tried: 16.
const MOST_COMBINED: usize = 4;
/// Steps from a resistance's least to its most, even over the logarithm: two in each decade where no least is stated.
const RESISTANCE_STEPS: u32 = 12;
/// Steps from a capacitance's least to its most, which are a factor of two or three apart.
const CAPACITANCE_STEPS: u32 = 4;
/// Rounds of a search over one branch after another: a stop, not a tuning; two or three are usual.
const ROUNDS: u32 = 8;
/// Thirds cut from the range around the worst point between the ends: 2/3 to the sixteenth leaves a part in 600 of two steps.
const THIRDS: u32 = 16;
/// A corner that lies below the floor by less than this is not searched (V): the width of a search's bracket.
const SAME_V: f64 = 1e-7;

/// The end of the temperature range at which the bank stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The cold end: least capacitance, highest resistance.
    Cold,
    /// The hot end: most leakage.
    Hot,
}

/// Where every part of a bank stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Corner {
    /// At which end of the temperature range.
    pub end: End,
    /// Of each branch, where its series resistance stands over the logarithm: 0 at its least, 1 at its most.
    pub resistance: Vec<f64>,
    /// Of each branch, where its capacitance stands over the logarithm: 0 at its least, 1 at its most, as delivered and warm.
    pub capacitance: Vec<f64>,
}

/// The highest start over all corners.
#[derive(Clone, Debug, PartialEq)]
pub struct Highest {
    /// The start in the corner that was tried first, that of the largest resistances.
    pub first: Voltage,
    /// The corner that wins.
    pub corner: Corner,
    /// Its bank.
    pub bank: Bank,
    /// Voltage behind the resistances, bank at rest, from which it just carries the stretches.
    pub start: Voltage,
}

impl Corner {
    /// The largest resistances at the cold end.
    pub fn largest(branches: usize) -> Self {
        Self {
            end: End::Cold,
            resistance: vec![1.0; branches],
            capacitance: vec![0.0; branches],
        }
    }

    /// The bank of `node` in this corner.
    pub fn bank(&self, node: &Node) -> Bank {
        let wear = match self.end {
            End::Cold => Wear::WORST,
            End::Hot => Wear::HOT,
        };
        let mut bank = Bank::of_node(node, wear);
        for ((branch, part), share) in bank.branches.iter_mut().zip(&node.storage).zip(&self.resistance) {
            branch.resistance = between(part, branch, *share);
        }
        if self.capacitance.iter().any(|share| *share > 0.0) {
            let new = Bank::of_node(node, Wear::NONE);
            let places = bank.branches.iter_mut().zip(&new.branches).zip(&node.storage);
            for (((branch, new), part), share) in places.zip(&self.capacitance) {
                let most = new.capacitance * (fraction(1.0) + part.tolerance_high);
                let grown = libm::pow((most / branch.capacitance).get::<ratio>(), *share);
                (branch.capacitance, branch.slope) = (branch.capacitance * grown, branch.slope * grown);
            }
        }
        bank
    }

    /// Words for where the resistances of the branches stand.
    pub fn resistance_words(&self) -> Vec<&'static str> {
        self.resistance.iter().map(|share| word(*share)).collect()
    }

    /// Words for where the capacitances of the branches stand.
    pub fn capacitance_words(&self) -> Vec<&'static str> {
        self.capacitance.iter().map(|share| word(*share)).collect()
    }

    /// The same with one figure of one branch elsewhere.
    fn with(&self, axis: Axis, branch: usize, share: f64) -> Self {
        let mut corner = self.clone();
        let shares = match axis {
            Axis::Resistance => &mut corner.resistance,
            Axis::Capacitance => &mut corner.capacitance,
        };
        if let Some(place) = shares.get_mut(branch) {
            *place = share;
        }
        corner
    }

    /// Where one figure of one branch stands.
    fn stands(&self, axis: Axis, branch: usize) -> f64 {
        let shares = match axis {
            Axis::Resistance => &self.resistance,
            Axis::Capacitance => &self.capacitance,
        };
        shares.get(branch).copied().unwrap_or_default()
    }
}

/// What of a branch is moved.
#[derive(Clone, Copy, Debug)]
enum Axis {
    Resistance,
    Capacitance,
}

impl Axis {
    /// Points that are tried, both ends included.
    fn steps(self) -> u32 {
        match self {
            Self::Resistance => RESISTANCE_STEPS,
            Self::Capacitance => CAPACITANCE_STEPS,
        }
    }
}

fn word(share: f64) -> &'static str {
    match share {
        0.0 => "low",
        1.0 => "high",
        _ => "between",
    }
}

/// The resistance of `branch`, which stands at its most, at the part `share` of the way from its least over the logarithm.
fn between(part: &Capacitor, branch: &Branch, share: f64) -> Resistance {
    let most = branch.resistance;
    let strings = f64::from(part.series) / f64::from(part.parallel);
    let least = (part.esr_minimum * strings).max(most * AS_LOW_AS_CAN_BE);
    most * libm::pow((least / most).get::<ratio>(), 1.0 - share)
}

/// The highest start over the corners of the bank of `node`, at which it carries `stretches` with its terminal never below `floor`.
///
/// ```
/// use millpond_model::model::load::Load;
/// use millpond_node::node::Node;
/// use millpond_sizing::thresholds;
/// use millpond_numbers::units::*;
/// let node = Node::read(millpond_templates::nodes::CRACK_GAUGE)?;
/// let load = Load::of(&node.supply.regulator, &node.transmit, node.radio.as_ref(), node.margins.load);
/// let highest = thresholds::highest_start(&node, thresholds::floor(&node), &load.stretches);
/// // One kind of capacitor: its largest resistance is the worst.
/// assert_eq!(highest.corner.resistance, [1.0]);
/// # Ok::<(), millpond_node::problem::Problems>(())
/// ```
pub fn highest_start(node: &Node, floor: Voltage, stretches: &[Stretch]) -> Highest {
    highest_near(node, floor, stretches, Corner::largest(node.storage.len()), floor)
}

/// The same where `corner` is tried first, and its start is likely to be near `guess`, which is at or above the floor.
pub(super) fn highest_near(
    node: &Node,
    floor: Voltage,
    stretches: &[Stretch],
    corner: Corner,
    guess: Voltage,
) -> Highest {
    let mut search = Search::near(node, floor, stretches, corner, guess);
    search.ends();
    search.between();
    search.highest
}

/// The same over two corners alone: that of the largest resistances and `other`.
pub(super) fn highest_of_two(
    node: &Node,
    floor: Voltage,
    stretches: &[Stretch],
    other: &Corner,
    guess: Voltage,
) -> Highest {
    let largest = Corner::largest(node.storage.len());
    let mut search = Search::near(node, floor, stretches, largest, guess);
    search.attempt(other.clone());
    search.highest
}

/// The corner with the highest start so far, and what it is asked about.
struct Search<'a> {
    node: &'a Node,
    floor: Voltage,
    stretches: &'a [Stretch],
    highest: Highest,
}

impl<'a> Search<'a> {
    /// Only `corner` was tried, whose start is likely to be near `guess`.
    fn near(
        node: &'a Node,
        floor: Voltage,
        stretches: &'a [Stretch],
        corner: Corner,
        guess: Voltage,
    ) -> Self {
        let bank = corner.bank(node);
        let start = start_near(&bank, floor, stretches, guess);
        Self {
            node,
            floor,
            stretches,
            highest: Highest {
                first: start,
                corner,
                bank,
                start,
            },
        }
    }

    /// Tries the ends of all resistances, and the hot end where leakage is known to rise there.
    fn ends(&mut self) {
        let count = self.node.storage.len();
        let ends: &[End] = if self.node.states_heat() {
            &[End::Cold, End::Hot]
        } else {
            &[End::Cold]
        };
        if count == 1 {
            // Alone, a smaller resistance leaves more at the terminal and loses less.
            for end in ends {
                self.attempt(Corner {
                    end: *end,
                    ..Corner::largest(1)
                });
            }
            return;
        }
        for end in ends {
            if count <= MOST_COMBINED {
                for ends in 0..1_u32 << count {
                    let resistance = (0..count).map(|branch| f64::from(ends >> branch & 1)).collect();
                    self.attempt(Corner {
                        end: *end,
                        resistance,
                        ..Corner::largest(count)
                    });
                }
            } else {
                self.attempt(Corner {
                    end: *end,
                    ..self.highest.corner.clone()
                });
                self.turned_one_by_one();
            }
        }
    }

    /// Turns the resistance of one branch after another to its other end for as long as a start rises.
    fn turned_one_by_one(&mut self) {
        for _ in 0..ROUNDS {
            let mut is_higher = false;
            for branch in 0..self.node.storage.len() {
                let other = 1.0 - self.highest.corner.stands(Axis::Resistance, branch);
                let corner = self.highest.corner.with(Axis::Resistance, branch, other);
                is_higher |= self.attempt(corner);
            }
            if !is_higher {
                break;
            }
        }
    }

    /// Moves the capacitance and the resistance of one branch after another to the worst place from end to end.
    fn between(&mut self) {
        let count = self.node.storage.len();
        if count == 1 {
            return;
        }
        for _ in 0..ROUNDS {
            let mut is_higher = false;
            for branch in 0..count {
                for axis in [Axis::Capacitance, Axis::Resistance] {
                    let steps = axis.steps();
                    for step in 0..=steps {
                        let share = f64::from(step) / f64::from(steps);
                        let corner = self.highest.corner.with(axis, branch, share);
                        is_higher |= self.attempt(corner);
                    }
                    let stands = self.highest.corner.stands(axis, branch);
                    if stands > 0.0 && stands < 1.0 {
                        self.narrowed(axis, branch, stands);
                    }
                }
            }
            if !is_higher {
                break;
            }
        }
    }

    /// Looks closer around a point between the ends.
    fn narrowed(&mut self, axis: Axis, branch: usize, stands: f64) {
        let step = 1.0 / f64::from(axis.steps());
        let (mut low, mut high) = ((stands - step).max(0.0), (stands + step).min(1.0));
        for _ in 0..THIRDS {
            let third = (high - low) / 3.0;
            let clearance = |share: f64| {
                let corner = self.highest.corner.with(axis, branch, share);
                self.clearance_v(&corner.bank(self.node))
            };
            if clearance(low + third) < clearance(high - third) {
                high -= third;
            } else {
                low += third;
            }
        }
        let corner = self.highest.corner.with(axis, branch, low.midpoint(high));
        self.attempt(corner);
    }

    /// Takes `corner` in place of the highest one where its start is higher.
    fn attempt(&mut self, mut corner: Corner) -> bool {
        for (share, part) in corner.resistance.iter_mut().zip(&self.node.storage) {
            // A resistance without a range stands at its most.
            if part.esr_minimum >= part.esr * part.end_of_life_esr * part.cold_esr {
                *share = 1.0;
            }
        }
        if corner == self.highest.corner {
            return false;
        }
        let bank = corner.bank(self.node);
        if self.clearance_v(&bank) >= -SAME_V {
            return false;
        }
        let start = start_above(&bank, self.floor, self.stretches, self.highest.start);
        self.highest = Highest {
            first: self.highest.first,
            corner,
            bank,
            start,
        };
        true
    }

    /// How far the terminal of `bank`, started at the highest start so far, stays above the floor; −∞ where it collapses (V).
    fn clearance_v(&self, bank: &Bank) -> f64 {
        let rest = vec![self.highest.start.get::<volt>(); bank.branches.len()];
        discharge(bank, &rest, self.stretches)
            .map_or(f64::NEG_INFINITY, |end| (end.lowest - self.floor).get::<volt>())
    }
}

#[cfg(test)]
mod tests;
