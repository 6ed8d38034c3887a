//! A log that the node wrote itself: its clock counts whole seconds, and it writes no row while it acts.
//!
//! A meter beside the node writes rows while it acts, and their order says nothing. Moved behind the action, a count that does not hold
//! the report yet would tell of one report more than there was.

use std::borrow::Cow;

use super::described::Described;
use crate::log::Log;
use crate::simulate::timeline::Event;

/// Behind the end of an action the next reading is no earlier than this (s): well clear of what the times of events are known to.
const BEHIND_S: f64 = 0.1;
/// In a log of finer times a row that is written while the node acts may fall on the action's own time by chance: it does so less often
/// than behind one action in ten.
const BY_CHANCE: usize = 10;

/// The log with each row behind the action of the row before it, where rows of one time tell that the node wrote them.
pub(super) fn in_order<'a>(log: &'a Log, described: &Described) -> Cow<'a, Log> {
    let busy_s = |row: usize| match log.event(row) {
        Some(Event::Start) => described.boot_s + BEHIND_S,
        Some(Event::Measure) => described.measure.duration_s + BEHIND_S,
        Some(Event::Transmit) => described.transmit.duration_s + BEHIND_S,
        _ => 0.0,
    };
    let behind = |row: &usize| busy_s(row - 1) > 0.0;
    let is_at_once = |row: &usize| log.time_s[*row] == log.time_s[row - 1];
    let all = (1..log.len()).filter(behind).count();
    let at_once = (1..log.len()).filter(behind).filter(is_at_once).count();
    let is_coarse = log.time_s.iter().all(|time_s| time_s.fract() == 0.0);
    let is_own = at_once > 0 && (is_coarse || at_once * BY_CHANCE >= all);
    if !is_own {
        return Cow::Borrowed(log);
    }
    let mut own = log.clone();
    for row in 1..own.len() {
        own.time_s[row] = own.time_s[row].max(own.time_s[row - 1] + busy_s(row - 1));
    }
    Cow::Owned(own)
}
