//! `millpond simulate`: the policy over time against the physical model.

use std::fs::File;
use std::io::BufWriter;
use std::time::Instant;

use millpond::budget::Budget;
use millpond::files;
use millpond::findings::{self, Finding, Severity};
use millpond::node::{NodeFile, Pace};
use millpond::picture::{Level, Picture};
use millpond::printout::{self, Format};
use millpond::record;
use millpond::simulate::population::{Flashing, Parts};
use millpond::simulate::study::Study;
use millpond::simulate::timeline::{Moment, Timeline, Watch};
use millpond::text::in_days;
use millpond::thresholds::Thresholds;
use millpond::units::*;
use millpond::visible::{self, visible};
use millpond::{policy, simulate};

use crate::cli::Simulate;
use crate::failure::Failure;

/// node file → … → policy → income → run → printout
pub(crate) fn run(arguments: &Simulate) -> Result<(), Failure> {
    let started = Instant::now();
    let mut file = NodeFile::load(&arguments.node)?;
    if let Some(pace) = arguments.pace {
        file.node.policy.pace = pace.into();
    }
    let node = &file.node;
    let thresholds = Thresholds::of(node);
    let findings = findings::of(node, &Budget::of(node), &thresholds);
    // A node that restarts for ever can be run, and the run shows it.
    let is_refused =
        |finding: &Finding| finding.severity == Severity::Error && finding.code != findings::RESTARTS_FOREVER;
    if findings.iter().any(is_refused) {
        return Err(Failure::Refused(printout::findings::text(&findings)));
    }
    let policy = policy::policy(node, &thresholds)
        .map_err(|rejected| Failure::Refused(format!("{}: {}\n", visible(&file.path), rejected.text())))?;
    let trace = super::beside(arguments.trace.as_deref(), record::LIMIT)?;
    let income = super::income(&file, trace.as_ref())?.ok_or_else(|| {
        Failure::Unusable(format!(
            "{} leaves its income to a trace: give one with --trace",
            visible(&file.path)
        ))
    })?;
    let plan = super::plan(&file, &thresholds, &policy)?;
    let course = simulate::course(node, arguments.days);

    let mut seen = Seen {
        picture: Picture::new(course.duration.get::<second>()),
        timeline: timeline(arguments)?,
    };
    let study = Study::of(node, &thresholds, policy, plan, &income, &course, &mut seen);
    // The figures of a long run are shown even where its timeline or picture finds no room.
    let timeline = seen.timeline.zip(arguments.timeline.as_ref());
    let timeline = timeline.map_or(Ok(()), |(timeline, path)| {
        timeline
            .finish()
            .map_err(|error| Failure::Unusable(format!("{} cannot be written: {error}", visible::path(path))))
    });
    let parts = (arguments.parts > 0).then(|| {
        let progress = super::Bar::new(arguments.parts.into(), "units");
        let parts = Parts::of(
            node,
            Flashing {
                policy,
                plan: plan
                    .filter(|_| node.policy.pace == Pace::Planned)
                    .map(|made| made.plan),
            },
            &income,
            &course,
            arguments.parts,
            arguments.seed,
            &progress,
        );
        progress.finish();
        parts
    });

    let own = std::iter::once(&study.outcome).chain(parts.iter().flat_map(|parts| &parts.outcomes));
    let starting = findings::starting(node, &thresholds);
    let looped = findings::restart_loop(own, starting.as_ref());
    let shown: Vec<Finding> = looped.into_iter().chain(starting).collect();

    let levels = Level::of(&thresholds);
    let picture = arguments.picture.as_ref().map_or(Ok(()), |path| {
        let title = format!("{}: storage voltage over {}", node.name, in_days(arguments.days));
        let svg = seen.picture.svg(&title, &levels).map_err(Failure::Unusable)?;
        let written = files::write_all(&[(path.clone(), svg)]);
        written
            .map(drop)
            .map_err(|error| Failure::Unusable(error.to_string()))
    });
    super::print(&match arguments.format.into() {
        Format::Text => format!(
            "{}\n{}",
            printout::simulate::text(node, &study, parts.as_ref(), &shown),
            seen.picture.terminal(&levels)
        ),
        Format::Json => {
            let runtime_s = started.elapsed().as_secs_f64();
            printout::json(&printout::simulate::View::of(
                node,
                &study,
                parts.as_ref(),
                &shown,
                runtime_s,
            ))
        }
    })?;
    timeline.and(picture)?;
    let runs = std::iter::once(&study.outcome)
        .chain(study.paces.iter().map(|(_, outcome)| outcome))
        .chain(study.baselines.iter().map(|(_, outcome)| outcome))
        .chain(parts.iter().flat_map(|parts| &parts.outcomes));
    match runs.filter(|outcome| !outcome.ledger.is_balanced()).count() {
        0 => Ok(()),
        unbalanced => Err(Failure::Refused(format!(
            "the energy of {unbalanced} runs does not balance to 1 ppm\n"
        ))),
    }
}

fn timeline(arguments: &Simulate) -> Result<Option<Timeline<BufWriter<File>>>, Failure> {
    let Some(path) = &arguments.timeline else {
        return Ok(None);
    };
    let unusable = |error: std::io::Error| {
        Failure::Unusable(format!("{} cannot be written: {error}", visible::path(path)))
    };
    let file = files::create(path, arguments.force).map_err(unusable)?;
    Timeline::new(BufWriter::new(file)).map(Some).map_err(unusable)
}

/// Everything that looks at the run.
struct Seen {
    picture: Picture,
    timeline: Option<Timeline<BufWriter<File>>>,
}

impl Watch for Seen {
    fn see(&mut self, moment: &Moment) {
        self.picture.see(moment);
        if let Some(timeline) = &mut self.timeline {
            timeline.see(moment);
        }
    }
}
