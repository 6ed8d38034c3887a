//! What a prototype's log says about its parts, with standard errors, and what is wrong with it.
//!
//! From a node and a log to parameters and findings: readings → actions → points → segments → regression → joint → findings. What
//! each step assumes stands in its file; the equations are 36 to 39 of docs/model.md.

mod actions;
mod counts;
mod described;
mod findings;
mod income;
mod joint;
mod known;
mod load_factor;
mod own;
mod parameters;
mod points;
mod readings;
mod regression;
mod segments;
mod witness;
pub mod write;

pub use counts::Counts;
pub use described::{Described, Work};
pub use findings::{Confidence, Finding};
pub use known::Known;
pub use parameters::{Parameter, Quotient};
pub use regression::HUBER;
pub use witness::{Explained, Exported, Joint, Row};

use crate::log::Log;
use crate::node::Node;

use actions::Actions;
use joint::Parts;
use points::{Point, Purpose};
use readings::Readings;
use regression::Estimate;
use segments::Cut;

/// The dip of a report takes its place in the model where it is known to this part, at least.
const SEEN_DIP: f64 = 0.3;
/// And where it differs by more than this part.
const SAME_DIP: f64 = 0.05;
/// And where it is no larger than so many described ones: an old bank in the cold under a report that costs twice.
const MOST_DIP: f64 = 8.0;
/// Rounds in which it settles.
const DIP_ROUNDS: usize = 3;
/// Dips that are tried where none was seen, over the new bank's: an old one, one in the cold, and either under a report that costs
/// twice; each stands for those around it.
const UNSEEN_DIPS: [f64; 3] = [2.0, 3.5, 6.0];
/// See [`UNSEEN_DIPS`].
const UNSEEN_DIP_DEVIATION: f64 = 0.25;

/// What came of a fit.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The parameters of the contract, in its order.
    pub parameters: Vec<Parameter>,
    /// What the log fixes even where the parameters stay open: parts over the capacitance.
    pub quotients: Vec<Quotient>,
    /// What is wrong.
    pub findings: Vec<Finding>,
    /// What the count alone says; `None` without one.
    pub counts: Option<Counts>,
    /// Root of the mean square of the errors of all readings in use (V); `None` where no model was fitted.
    pub residual_v: Option<f64>,
    /// Readings in use.
    pub rows_used: usize,
    /// Rows that were passed over: of no use, outside any segment, or no readings of storage.
    pub rows_skipped: usize,
    /// Time that was taken as dark (s).
    pub dark_s: f64,
    /// The readings with their model, for pictures: time (s), reading (V), model (V).
    pub curve: Vec<(f64, f64, Option<f64>)>,
    exported: Option<Exported>,
}

/// Everything that the steps found, for those after them.
struct Evidence<'a> {
    node: &'a Node,
    log: &'a Log,
    described: &'a Described,
    readings: &'a Readings,
    actions: &'a Actions,
    points: &'a [Point],
    cut: &'a Cut,
    estimate: Option<&'a Estimate>,
    parts: Option<&'a Parts>,
    known: &'a Known,
}

impl Evidence<'_> {
    /// Whether there is anything that turns what the log fixes over the capacitance into parts of their own.
    fn has_scale(&self) -> bool {
        self.known.is_scale() || self.estimate.is_some_and(parameters::has_scale)
    }
}

impl Fit {
    /// Fits a log of `node`, with what was measured beside it.
    ///
    /// ```no_run
    /// # fn show(node: &millpond_node::node::Node) -> Result<(), millpond_node::input::LoadError> {
    /// use millpond_fit::{fit::{Fit, Known}, log::Log};
    /// let fit = Fit::of(node, &Log::load("bench.csv")?, &Known::NOTHING);
    /// for parameter in &fit.parameters {
    ///     println!("{}: {:?} ± {:?}", parameter.name, parameter.value, parameter.standard_error);
    /// }
    /// # Ok(()) }
    /// ```
    pub fn of(node: &Node, log: &Log, known: &Known) -> Self {
        let mut described = Described::of(node);
        let log = &*own::in_order(log, &described);
        let readings = Readings::of(log, &described);
        let actions = Actions::of(log, &described, readings.noise_v);
        let solve = |described: &Described| {
            let points = points::of(log, described, &readings, &actions, Purpose::Slopes);
            let cut = segments::cut(&points, described, &readings);
            let estimate = regression::solve(&points, &cut.segments, readings.noise_v);
            (points, cut, estimate)
        };
        let (mut points, mut cut, mut estimate) = solve(&described);
        // What a report draws depends on how far it lets the terminal dip: once that was seen it takes the place of the usual dip.
        for _ in 0..DIP_ROUNDS {
            let Some((resistance_ohm, deviation)) = estimate
                .as_ref()
                .and_then(|estimate| seen_dip(estimate, &described))
            else {
                break;
            };
            if (resistance_ohm / described.transmit.resistance_ohm - 1.0).abs() < SAME_DIP {
                break;
            }
            let working_v = described.working_v;
            described
                .transmit
                .stand_behind(resistance_ohm, deviation, working_v);
            (points, cut, estimate) = solve(&described);
        }
        let join = |estimate: &Option<Estimate>, described: &Described| {
            estimate
                .as_ref()
                .and_then(|estimate| joint::parts(estimate, described, known))
        };
        let mut parts = join(&estimate, &described);
        // Where no reading shows the dip, a large one bends the fall over the voltage as leakage would, and even against it.
        if estimate
            .as_ref()
            .is_some_and(|estimate| seen_dip(estimate, &described).is_none())
            && parts.as_ref().is_none_or(Parts::is_strained)
        {
            for dip in UNSEEN_DIPS {
                let mut other = described.clone();
                let resistance_ohm = dip * described.resistance_ohm;
                other
                    .transmit
                    .stand_behind(resistance_ohm, UNSEEN_DIP_DEVIATION, described.working_v);
                let solved = solve(&other);
                let found = join(&solved.2, &other);
                let evidence =
                    |parts: &Option<Parts>| parts.as_ref().map_or(f64::NEG_INFINITY, Parts::evidence);
                if evidence(&found) > evidence(&parts) {
                    (points, cut, estimate) = solved;
                    parts = found;
                    described.transmit = other.transmit;
                }
            }
        }
        let evidence = Evidence {
            node,
            log,
            described: &described,
            readings: &readings,
            actions: &actions,
            points: &points,
            cut: &cut,
            estimate: estimate.as_ref(),
            parts: parts.as_ref(),
            known,
        };
        let (parameters, quotients) = parameters::of(&evidence);
        let counts = counts::of(&evidence);
        let findings = findings::of(&evidence);
        let used = estimate.as_ref().map_or(0, |estimate| {
            estimate
                .used
                .iter()
                .map(|segment| segment.end - segment.first)
                .sum()
        });
        // Neighbours that were drawn together count for all of them.
        let rows_used = (used * readings.count)
            .checked_div(points.len())
            .unwrap_or_default();
        let exported = estimate
            .as_ref()
            .map(|estimate| witness::export(&points, estimate, parts.as_ref(), &described));
        Self {
            curve: curve(&points, estimate.as_ref()),
            residual_v: estimate.as_ref().map(|estimate| estimate.rms_v),
            rows_used,
            rows_skipped: log.skipped + log.len() - rows_used.min(log.len()),
            dark_s: cut.dark_s,
            parameters,
            quotients,
            findings,
            counts,
            exported,
        }
    }

    /// A parameter by its name.
    pub fn parameter(&self, name: &str) -> Option<&Parameter> {
        self.parameters.iter().find(|parameter| parameter.name == name)
    }

    /// The least-squares problem as it was solved, for a witness; `None` where nothing was fitted.
    pub fn exported(&self) -> Option<&Exported> {
        self.exported.as_ref()
    }
}

/// The resistance that makes a report's dip, with the part to which it is known: its current's factor included.
fn seen_dip(estimate: &Estimate, described: &Described) -> Option<(f64, f64)> {
    let (known, error) = estimate.column(points::RESISTANCE);
    let resistance_ohm = estimate.beta[points::RESISTANCE];
    let is_seen = known && error < SEEN_DIP * resistance_ohm;
    (is_seen && resistance_ohm < MOST_DIP * described.resistance_ohm)
        .then(|| (resistance_ohm, error / resistance_ohm))
}

/// Readings and model, point by point.
fn curve(points: &[Point], estimate: Option<&Estimate>) -> Vec<(f64, f64, Option<f64>)> {
    let mut curve: Vec<_> = points
        .iter()
        .map(|point| (point.time_s, point.storage_v, None))
        .collect();
    let Some(estimate) = estimate else { return curve };
    for segment in &estimate.used {
        let errors_v = regression::errors(points, segment, estimate);
        for (place, error_v) in (segment.first..segment.end).zip(errors_v) {
            // An error counts volts below the model.
            curve[place].2 = Some(curve[place].1 + error_v);
        }
    }
    curve
}

#[cfg(test)]
mod tests;
