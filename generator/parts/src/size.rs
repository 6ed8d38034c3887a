//! Which capacitor and which source, over a sweep of both.
//!
//! From a node, the parts to try and the sizes of its source to what would come of each: closed forms first ([`crate::thresholds`],
//! [`crate::survival`]), a simulated stretch of time for those that pass. A candidate *meets the policy* of the node when
//!
//! 1. no finding on it is an error: every action fits in the worst corner, and the gate lets it start;
//! 2. full and in the dark, its worst unit goes on reporting at `policy.slowest` for `policy.dark_horizon`;
//! 3. in the light that is looked at, a typical unit comes from empty to its first report;
//! 4. a typical unit never loses its supply in the simulated time;
//! 5. and after the first day is never silent for longer than `policy.slowest`, by more than a hundredth.
//!
//! The simulated time begins where the gate connects, in the middle of a night: that this first night is silent says where it began and
//! not how the parts are sized.
//!
//! A part takes the place of the node's largest kind of capacitor; the others stay. Candidates stand in the order of the parts,
//! within a part in that of the sources, whatever core was done first.

pub mod catalogue;
mod limit;
mod sources;

pub use limit::Limit;
pub use sources::{Extent, SizedSource};

use rayon::prelude::*;

use crate::budget::Budget;
use crate::findings::{self, Finding, Severity};
use crate::income::light::Light;
use crate::node::catalogue::Part;
use crate::node::{Capacitor, Node, Pace};
use crate::plan::made::Made;
use crate::policy;
use crate::progress::Progress;
use crate::simulate;
use crate::simulate::rule::{Flashed, Planned};
use crate::simulate::run::{Outcome, run};
use crate::simulate::timeline::Blind;
use crate::simulate::unit::Part as Unit;
use crate::survival::{Dark, Recharge};
use crate::thresholds::Thresholds;
use crate::units::*;

/// What is swept, and how long each candidate that passes is simulated.
#[derive(Clone, Debug)]
pub struct Sweep {
    /// The parts.
    pub parts: Vec<Part>,
    /// The sizes of the source, each with what it offers.
    pub sources: Vec<SizedSource>,
    /// Light for coming back from empty, at the source.
    pub light: Light,
    /// Simulated time of each candidate that passes the closed forms (d).
    pub days: f64,
}

/// What would come of one part with one size of the source.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Its place among [`Sweep::parts`].
    pub part: usize,
    /// Its place among [`Sweep::sources`].
    pub source: usize,
    /// What firmware would have to read for a report (V).
    pub transmit: Voltage,
    /// Full and in the dark, reporting at the slowest pace, its worst unit.
    pub dark: Option<Dark>,
    /// Coming back, a typical unit.
    pub recharge: Option<Recharge>,
    /// What came of the simulated time.
    pub outcome: Option<Outcome>,
    /// Why it does not meet the policy; `None` when it does.
    pub limit: Option<Limit>,
    /// What asks for care.
    pub cautions: Vec<Finding>,
}

/// All candidates, and which stand out.
#[derive(Clone, Debug)]
pub struct Sized {
    /// Place of the swept kind of capacitor in the node.
    pub branch: usize,
    /// The candidates, parts first.
    pub candidates: Vec<Candidate>,
    /// The smallest that meets the policy.
    pub smallest: Option<usize>,
    /// The cheapest that meets it, where parts have prices.
    pub cheapest: Option<usize>,
    /// The one that misses by the least, where none meets it.
    pub closest: Option<usize>,
    /// Those that meet it and are beaten by no other in capacitance, source and mean age at once.
    pub pareto: Vec<usize>,
}

/// The node's own capacitor with another capacitance: so many of it side by side. Leakage grows with the capacitance,
/// resistance falls with it.
pub fn like(own: &Capacitor, capacitance: Capacitance) -> Part {
    let times: Ratio = capacitance / own.capacitance;
    Part {
        name: String::new(),
        capacitor: Capacitor {
            capacitance,
            capacitance_slope: own.capacitance_slope * times,
            esr: own.esr / times,
            leakage: own.leakage * times,
            ..own.clone()
        },
        price: None,
        height: None,
        footprint: None,
    }
}

impl Sized {
    /// Tries every part of `sweep` with every source in `node`; `progress` counts candidates.
    pub fn of(node: &Node, sweep: &Sweep, progress: &dyn Progress) -> Self {
        let branch = node.largest_kind();
        let count = sweep.parts.len() * sweep.sources.len();
        let candidates: Vec<Candidate> = (0..count)
            .into_par_iter()
            .map(|place| {
                let (part, source) = (place / sweep.sources.len(), place % sweep.sources.len());
                candidate(node, branch, sweep, part, source)
            })
            .inspect(|_| progress.step())
            .collect();
        let meets = |place: &usize| candidates[*place].limit.is_none();
        let all = 0..candidates.len();
        let smallest = all
            .clone()
            .filter(meets)
            .min_by(|a, b| size(sweep, &candidates[*a]).total_cmp_with(&size(sweep, &candidates[*b])));
        let cheapest = all
            .clone()
            .filter(meets)
            .filter_map(|place| Some((place, price(&sweep.parts[candidates[place].part])?)))
            .min_by(|(a, price_a), (b, price_b)| {
                let in_size = size(sweep, &candidates[*a]).total_cmp_with(&size(sweep, &candidates[*b]));
                price_a.total_cmp(price_b).then(in_size)
            })
            .map(|(place, _)| place);
        let closest = match smallest {
            Some(_) => None,
            None => all.clone().min_by(|a, b| {
                let miss = |place: usize| candidates[place].limit.as_ref().map_or((0, 0.0), Limit::distance);
                let ((rank_a, miss_a), (rank_b, miss_b)) = (miss(*a), miss(*b));
                rank_a.cmp(&rank_b).then(miss_a.total_cmp(&miss_b))
            }),
        };
        let pareto = all
            .clone()
            .filter(meets)
            .filter(|a| {
                !all.clone()
                    .filter(meets)
                    .any(|b| beats(sweep, &candidates[b], &candidates[*a]))
            })
            .collect();
        Self {
            branch,
            smallest,
            cheapest,
            closest,
            pareto,
            candidates,
        }
    }
}

/// What makes a part small: its volume, or its height, or the capacitance of all its cells, as far as every part has one; then
/// the source.
struct Size([f64; 3]);

impl Size {
    fn total_cmp_with(&self, other: &Self) -> std::cmp::Ordering {
        let pairs = self.0.iter().zip(&other.0);
        pairs.fold(std::cmp::Ordering::Equal, |order, (a, b)| {
            order.then(a.total_cmp(b))
        })
    }
}

fn size(sweep: &Sweep, candidate: &Candidate) -> Size {
    let part = &sweep.parts[candidate.part];
    let by = |of: fn(&Part) -> Option<f64>| -> Option<f64> {
        sweep
            .parts
            .iter()
            .all(|part| of(part).is_some())
            .then(|| of(part))
            .flatten()
    };
    let first = by(volume_m3)
        .or_else(|| by(|part| part.height.map(|height| height.get::<meter>())))
        .unwrap_or(0.0);
    let source = sweep.sources[candidate.source].relative();
    Size([first, part.capacitor.whole().get::<farad>(), source])
}

/// Volume of all cells.
fn volume_m3(part: &Part) -> Option<f64> {
    let one = part.height?.get::<meter>() * part.footprint?.get::<square_meter>();
    Some(one * cells(part))
}

fn cells(part: &Part) -> f64 {
    f64::from(part.capacitor.series) * f64::from(part.capacitor.parallel)
}

/// Price of all cells.
pub fn price(part: &Part) -> Option<f64> {
    part.price.map(|one| one * cells(part))
}

/// Whether `better` is in nothing worse than `other`, and in something better.
fn beats(sweep: &Sweep, better: &Candidate, other: &Candidate) -> bool {
    let figures = |candidate: &Candidate| {
        [
            sweep.parts[candidate.part].capacitor.whole().get::<farad>(),
            sweep.sources[candidate.source].relative(),
            candidate
                .outcome
                .as_ref()
                .map_or(f64::INFINITY, Outcome::mean_age_s),
        ]
    };
    let (better, other) = (figures(better), figures(other));
    let pairs = || better.iter().zip(&other);
    pairs().all(|(a, b)| a <= b) && pairs().any(|(a, b)| a < b)
}

/// One part with one source in the place of the node's own.
fn candidate(node: &Node, branch: usize, sweep: &Sweep, part: usize, source: usize) -> Candidate {
    let sized = &sweep.sources[source];
    let mut node = node.clone();
    node.storage[branch] = sweep.parts[part].capacitor.clone();
    node.harvest.source = sized.source.clone();
    let thresholds = Thresholds::of(&node);
    let mut candidate = Candidate {
        part,
        source,
        transmit: crate::rounding::from_millivolts(thresholds.transmit.decide_mv),
        dark: None,
        recharge: None,
        outcome: None,
        limit: None,
        cautions: Vec::new(),
    };
    candidate.limit = judge(&node, &thresholds, sweep, sized, &mut candidate);
    candidate
}

/// Fills in what is known of the candidate, as far as it gets.
fn judge(
    node: &Node,
    thresholds: &Thresholds,
    sweep: &Sweep,
    source: &SizedSource,
    candidate: &mut Candidate,
) -> Option<Limit> {
    if let Some(limit) = Limit::of_rating(node) {
        return Some(limit);
    }
    let found = findings::without_cures(node, &Budget::of(node), thresholds);
    let (errors, cautions): (Vec<_>, Vec<_>) = found
        .into_iter()
        .partition(|finding| finding.severity == Severity::Error);
    candidate.cautions = cautions;
    if let Some(error) = errors.into_iter().next() {
        return Some(Limit::of_action(node, thresholds).unwrap_or(Limit::Finding(error.text)));
    }
    candidate.dark = Some(Dark::reporting(node, thresholds));
    candidate.recharge = Recharge::of(node, thresholds, sweep.light);
    let acting = candidate.dark.map_or(seconds(0.0), |dark| dark.acting);
    if acting < node.policy.dark_horizon {
        return Some(Limit::Dark {
            acting,
            horizon: node.policy.dark_horizon,
        });
    }
    if candidate
        .recharge
        .is_none_or(|recharge| recharge.first_report.is_none())
    {
        return Some(Limit::NeverStarts(sweep.light));
    }
    let outcome = match simulated(node, thresholds, source, sweep.days) {
        Ok(outcome) => outcome,
        Err(limit) => return Some(limit),
    };
    candidate.outcome = Some(outcome);
    Limit::of_outcome(&outcome, node.policy.slowest)
}

/// A typical unit over the sweep's time. A pace that plans has the usual settings: tuning takes seconds for each candidate.
fn simulated(
    node: &Node,
    thresholds: &Thresholds,
    source: &SizedSource,
    days: f64,
) -> Result<Outcome, Limit> {
    let policy =
        policy::policy(node, thresholds).map_err(|rejected| Limit::Finding(rejected.text().to_owned()))?;
    let part = Unit::nominal(node);
    let course = simulate::course(node, days);
    let made = match node.policy.pace {
        Pace::Even => None,
        Pace::Planned => Made::usual(node, thresholds),
    };
    Ok(match made {
        Some(made) => run(
            &part,
            &source.income,
            &mut Planned::new(policy, made.plan),
            &course,
            &mut Blind,
        ),
        None => run(
            &part,
            &source.income,
            &mut Flashed::new(policy),
            &course,
            &mut Blind,
        ),
    })
}

#[cfg(test)]
mod tests;
