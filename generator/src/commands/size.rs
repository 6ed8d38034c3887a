//! `millpond size`: which capacitor and which source.

use millpond::income::light::Light;
use millpond::node::NodeFile;
use millpond::node::catalogue::Part;
use millpond::printout::{self, Format};
use millpond::size::{self, Extent, Sized, SizedSource, Sweep};
use millpond::units::*;
use millpond::visible::visible;

use crate::cli::{Range, Size as Arguments, SourceRange};
use crate::failure::Failure;

/// How far capacitances are swept around the node's own when nothing is said: a decade to either side.
const AROUND: f64 = 10.0;
/// The same of the source: five preferred values.
const SOURCES: (f64, f64) = (0.47, 2.2);

/// node file, catalogue → node → thresholds, survival, simulate for each → size → printout
pub(crate) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let node = &file.node;
    let source = &node.harvest.source;
    let light = super::survival::light(node, arguments.light)?.or(Light::typical(source));
    let Some(light) = light else {
        return Err(Failure::Unusable(format!(
            "{} leaves its income to a trace, whose source has no size: declare the source in [harvest]",
            visible(&file.path)
        )));
    };
    let sweep = Sweep {
        parts: parts(arguments, &file)?,
        sources: sources(arguments, &file)?,
        light,
        days: arguments.days,
    };
    let progress = super::Bar::new((sweep.parts.len() * sweep.sources.len()) as u64, "candidates");
    let sized = Sized::of(node, &sweep, &progress);
    progress.finish();
    super::print(&match arguments.format.into() {
        Format::Text => printout::size::text(node, &sweep, &sized),
        Format::Json => printout::json(&printout::size::View::of(node, &sweep, &sized)),
    })?;
    match sized.smallest {
        Some(_) => Ok(()),
        None => Err(Failure::Refused(format!(
            "{}: {}\n",
            visible(&file.path),
            printout::size::nothing(&sweep, &sized)
        ))),
    }
}

/// The parts of the catalogue, or the node's own capacitor in preferred values.
fn parts(arguments: &Arguments, file: &NodeFile) -> Result<Vec<Part>, Failure> {
    let node = &file.node;
    let own = &node.storage[node.largest_kind()];
    let range = arguments.capacitance;
    let within = |capacitance: Capacitance| range.is_none_or(|range| range.holds(capacitance));
    let parts: Vec<Part> = match &arguments.catalogue {
        Some(path) => size::catalogue::load(path, own)?
            .into_iter()
            .filter(|part| within(part.capacitor.capacitance))
            .collect(),
        None => {
            let range = range.unwrap_or(Range {
                low: own.capacitance / AROUND,
                high: own.capacitance * AROUND,
            });
            let (low_f, high_f) = (range.low.get::<farad>(), range.high.get::<farad>());
            let values = if low_f == high_f {
                vec![low_f]
            } else {
                arguments.series.between(low_f, high_f)
            };
            values
                .into_iter()
                .map(|capacitance_f| size::like(own, farads(capacitance_f)))
                .collect()
        }
    };
    if parts.is_empty() {
        return Err(Failure::Unusable(
            "no capacitance of the series or the catalogue lies in --capacitance".to_owned(),
        ));
    }
    Ok(parts)
}

fn sources(arguments: &Arguments, file: &NodeFile) -> Result<Vec<SizedSource>, Failure> {
    let source = &file.node.harvest.source;
    let (low, high) = match arguments.area {
        None => (Extent::Times(SOURCES.0), Extent::Times(SOURCES.1)),
        Some(SourceRange::Area(range)) => (Extent::Area(range.low), Extent::Area(range.high)),
        Some(SourceRange::Times(range)) => (Extent::Times(range.low), Extent::Times(range.high)),
    };
    let sources = SizedSource::between(source, low, high);
    if sources.is_empty() {
        return Err(Failure::Unusable(format!(
            "--area: no preferred value lies in it, or the source of {} has no area: give a factor then, such as 0.5..2",
            file.node.name
        )));
    }
    Ok(sources)
}
