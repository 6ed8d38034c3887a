//! Whether a run shows a node that starts and falls.

use super::{Finding, Severity};
use crate::simulate::run::Outcome;

/// Starts that lost their supply before firmware could first ask, in any of these runs; nothing where there were none. A node that falls to
/// its floor at night and starts in the morning has none. `starting` is what is known of the start without a run: it has the cures.
pub fn restart_loop<'a>(
    outcomes: impl Iterator<Item = &'a Outcome>,
    starting: Option<&Finding>,
) -> Option<Finding> {
    let (starts, failed) = outcomes.fold((0, 0), |(starts, failed), outcome| {
        (starts + outcome.starts, failed + outcome.failed_starts)
    });
    (failed > 0).then(|| Finding {
        code: "restart-loop",
        severity: Severity::Error,
        text: format!(
            "{failed} of {starts} starts lost their supply during the start-up, before firmware could ask the policy"
        ),
        cure: starting.map_or_else(
            || {
                "a higher supply.starts_at or supply.gate.connect_above, a larger bank, or a shorter start-up"
                    .to_owned()
            },
            |finding| finding.cure.clone(),
        ),
    })
}
