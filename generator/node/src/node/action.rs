//! Reads `[boot]`, `[measure]` and `[transmit]`: what the node does, phase by phase.

use std::ops::Range;

use super::limit::Limit;
use super::profile;
use super::profiles::Profiles;
use super::table::Table;
use super::{Action, Extent, Phase};
use crate::problem::Problem;
use crate::units::*;

/// More attempts than this are not one action any more.
const MOST_ATTEMPTS: u32 = 255;

/// An action that lasts longer than this is not one that waits for stored energy.
const LONGEST_PHASE_S: f64 = 86_400.0;

const PHASES_EXAMPLE: &str = "phases = [{ name = \"convert\", current = \"5 mA\", duration = \"25 ms\" }]";

/// An action with what later checks point at.
pub(super) struct ActionRead<'a> {
    pub(super) action: Option<Action>,
    /// Where a phase asks for the airtime.
    pub(super) airtime: Option<Range<usize>>,
    /// The table itself, for keys that only one action has.
    pub(super) table: Option<Table<'a>>,
}

/// Reads one action; `repeats` says whether it may be tried again.
pub(super) fn read<'a>(
    root: &mut Table<'a>,
    key: &'static str,
    repeats: bool,
    profiles: Profiles<'_>,
) -> ActionRead<'a> {
    let Some(mut table) = root.table(key) else {
        return ActionRead {
            action: None,
            airtime: None,
            table: None,
        };
    };
    let attempts = if repeats {
        table.or::<u32>("attempts", "3", 1..=MOST_ATTEMPTS, 1)
    } else {
        table.foreign(&["attempts"], "only `transmit` is tried again");
        table.foreign(&["radio"], "only `transmit` has a radio");
        Some(1)
    };
    let mut airtime = None;
    let profile = table.optional::<String>("profile", "boot.csv", ());
    let phases = if let Some(profile) = profile {
        if table.has("phases") {
            table.note(
                &profile.span,
                format!("`{key}` has both `profile` and `phases`"),
                "one of the two",
                "remove `phases` to use the measured profile, or remove `profile`",
            );
            table.know("phases");
        }
        profile::read(&table, profiles, &profile)
    } else if table.has("profile") {
        table.know("phases");
        None
    } else {
        read_phases(&mut table, repeats, &mut airtime)
    };
    let action = phases
        .zip(attempts)
        .map(|(phases, attempts)| Action { phases, attempts });
    ActionRead {
        action,
        airtime,
        table: Some(table),
    }
}

fn read_phases(
    table: &mut Table<'_>,
    may_send: bool,
    airtime: &mut Option<Range<usize>>,
) -> Option<Vec<Phase>> {
    let mut sound = true;
    let mut phases = Vec::new();
    for phase in table.tables("phases", PHASES_EXAMPLE) {
        match read_phase(phase, may_send, airtime) {
            Some(phase) => phases.push(phase),
            None => sound = false,
        }
    }
    Some(phases).filter(|phases| sound && !phases.is_empty())
}

fn read_phase(mut table: Table<'_>, may_send: bool, airtime: &mut Option<Range<usize>>) -> Option<Phase> {
    let name = table.required::<String>("name", "convert", ());
    let current = table.required::<Current>("current", "5 mA", Limit::NOT_NEGATIVE);
    let timed = table.has("duration");
    let on_air = table.optional::<bool>("airtime", "true", ());
    let extent = match on_air {
        Some(given) if given.value && !may_send => {
            table.know("duration");
            table.note(
                &given.span,
                "only a phase of `transmit` can last as long as the airtime",
                "a `duration` instead",
                "write for example duration = \"25 ms\"",
            );
            None
        }
        Some(given) if given.value => {
            if let Some(duration) = table.raw("duration", None) {
                table.log().note(
                    Problem::new(
                        duration.span(),
                        "a phase has both `duration` and `airtime`",
                        "one of the two",
                        "remove `duration`: the airtime is worked out from [transmit.radio]",
                    )
                    .with(&given.span, "lasts as long as the frame"),
                );
            }
            airtime.get_or_insert(given.span);
            Some(Extent::Airtime).filter(|_| !timed)
        }
        _ => table
            .required::<Time>("duration", "25 ms", Limit::POSITIVE.up_to(LONGEST_PHASE_S))
            .map(|given| Extent::Fixed(given.value)),
    };
    table.finish();
    let current = current?.value;
    Some(Phase {
        name: name?.value,
        current,
        peak_current: current,
        extent: extent?,
    })
}
