//! One line of the table: a target, a node, whether they agree with the reference, and what they cost.

use std::collections::BTreeSet;

use serde::Serialize;

use super::image::{Image, Sizes};
use super::nodes::Node;
use super::target::{Language, Machine, Target};
use super::transcript::{STEPS_PER_DIGEST, Transcript};

/// How far down the boards in tests/chips paint the stack.
const PAINTED_BYTES: u32 = 512;

/// The most that the policy in C may take on a machine.
struct Goal {
    machine: Machine,
    is_planned: bool,
    flash_bytes: u64,
    state_bytes: u32,
    /// In the machine's unit.
    longest: u32,
}

/// An 8-bit chip with 8 KiB of flash and 512 bytes of memory gives a twelfth of the one and a twentieth of the other, and a
/// millisecond at 1 MHz; the 32-bit chip is held to the same state. With a planner it gives a third of the flash, 64 bytes
/// more, and once an hour a tenth of a second.
const GOALS: [Goal; 4] = [
    Goal {
        machine: Machine::Avr,
        is_planned: false,
        flash_bytes: 700,
        state_bytes: 24,
        longest: 900,
    },
    Goal {
        machine: Machine::CortexM0,
        is_planned: false,
        flash_bytes: 600,
        state_bytes: 24,
        longest: 300,
    },
    Goal {
        machine: Machine::Avr,
        is_planned: true,
        flash_bytes: 2_730,
        state_bytes: 88,
        longest: 100_000,
    },
    Goal {
        machine: Machine::CortexM0,
        is_planned: true,
        flash_bytes: 2_730,
        state_bytes: 88,
        longest: 100_000,
    },
];

/// One target and one node. What is not measured on this machine is `None`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Row {
    /// The machine.
    pub target: &'static str,
    /// Of the policy and of the stream.
    pub language: &'static str,
    /// Name of the node.
    pub node: &'static str,
    /// Steps of the stream.
    pub steps: u32,
    /// Whether every digest is the reference's.
    pub agree: bool,
    /// What the policy adds to the smallest firmware: code and constants (bytes).
    pub flash_bytes: Option<u64>,
    /// State, backlog without its samples, income estimate (bytes).
    pub state_bytes: u32,
    /// What of that is copied to memory at start (bytes).
    pub data_bytes: Option<u64>,
    /// Deepest stack of a decision (bytes).
    pub stack_bytes: Option<u32>,
    /// The longest decision of the stream, in `unit`.
    pub longest: Option<u32>,
    /// The median decision of the stream, in `unit`.
    pub usual: Option<u32>,
    /// An hour with a decision a minute, one of them the longest, in `unit`.
    pub hour: Option<u32>,
    /// Cycles or instructions.
    pub unit: Option<&'static str>,
    /// What differs, and what is linked in that must not be.
    pub problems: Vec<String>,
}

impl Row {
    /// What a run shows beside the reference.
    pub(crate) fn new(
        target: Target,
        node: &'static str,
        steps: u32,
        transcript: &Transcript,
        reference: &Transcript,
    ) -> Self {
        let wrong = disagreement(steps, transcript, reference);
        let mut problems: Vec<String> = wrong.into_iter().collect();
        if target.machine != Machine::Host && transcript.decisions() != steps {
            let seen = transcript.decisions();
            problems.push(format!("{seen} decisions were measured instead of {steps}"));
        }
        if target.machine.unit() == Some("instructions") && transcript.stack_bytes >= Some(PAINTED_BYTES) {
            problems.push("a decision takes more stack than the board can measure".to_owned());
        }
        Self {
            target: target.machine.name(),
            language: target.language.name(),
            node,
            steps,
            agree: disagreement(steps, transcript, reference).is_none(),
            flash_bytes: None,
            state_bytes: transcript.state_bytes,
            data_bytes: None,
            stack_bytes: transcript.stack_bytes,
            longest: transcript.longest(),
            usual: transcript.usual(),
            hour: transcript.hour(),
            unit: target.machine.unit(),
            problems,
        }
    }

    /// Adds what the images show: sizes of the smallest firmware with the policy and without it, symbols of that and of the
    /// stream.
    pub(crate) fn with_images(mut self, target: Target, node: &Node, stream: &Image, sizes: &Sizes) -> Self {
        self.flash_bytes = Some(sizes.flash_bytes);
        self.data_bytes = Some(sizes.data_bytes);
        let found = sizes.forbidden.iter().chain(&stream.forbidden);
        let found: BTreeSet<String> = found.map(|symbol| format!("links {symbol}")).collect();
        self.problems.extend(found);
        if target.language == Language::C && !node.is_own() {
            self.judge_size(target.machine, node.is_planned);
        }
        self
    }

    fn judge_size(&mut self, machine: Machine, is_planned: bool) {
        let mut most = vec![("data_bytes", self.data_bytes, 0)];
        let mut goals = GOALS.iter();
        if let Some(goal) = goals.find(|goal| goal.machine == machine && goal.is_planned == is_planned) {
            most.push(("flash_bytes", self.flash_bytes, goal.flash_bytes));
            most.push((
                "state_bytes",
                Some(self.state_bytes.into()),
                goal.state_bytes.into(),
            ));
            most.push(("longest", self.longest.map(u64::from), goal.longest.into()));
        }
        for (what, value, most) in most {
            if value.is_none_or(|value| value > most) {
                let value = value.map_or("nothing".to_owned(), |value| value.to_string());
                self.problems
                    .push(format!("{what} is {value}, at most {most} is the goal"));
            }
        }
    }
}

/// The first thousand steps whose digest is another one, if any.
fn disagreement(steps: u32, transcript: &Transcript, reference: &Transcript) -> Option<String> {
    let expected = reference.digests.iter().take((steps / STEPS_PER_DIGEST) as usize);
    let count = expected.len();
    if let Some(first) = expected
        .zip(&transcript.digests)
        .position(|(want, got)| want != got)
    {
        let from = first as u32 * STEPS_PER_DIGEST;
        return Some(format!(
            "differs in steps {from} to {}: want digest {:08x}, got {:08x}",
            from + STEPS_PER_DIGEST,
            reference.digests[first],
            transcript.digests[first],
        ));
    }
    let got = transcript.digests.len();
    (got != count || count == 0).then(|| format!("{got} digests instead of {count}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(digests: &[u32]) -> Transcript {
        Transcript {
            digests: digests.to_vec(),
            ..Transcript::default()
        }
    }

    #[test]
    fn what_is_too_large_or_not_measured_is_a_problem() {
        let target = Target {
            machine: Machine::Avr,
            language: Language::C,
        };
        let mut row = Row::new(target, "node", 0, &Transcript::default(), &Transcript::default());
        row.problems.clear();
        (row.flash_bytes, row.data_bytes, row.state_bytes) = (Some(701), Some(0), 24);
        row.judge_size(Machine::Avr, false);
        assert_eq!(
            row.problems,
            [
                "flash_bytes is 701, at most 700 is the goal",
                "longest is nothing, at most 900 is the goal"
            ]
        );
    }

    #[test]
    fn only_equal_digests_of_the_same_count_agree() {
        let reference = run(&[1, 2, 3]);
        assert_eq!(disagreement(2_000, &run(&[1, 2]), &reference), None);
        assert!(
            disagreement(2_000, &run(&[1, 4]), &reference).is_some_and(|text| text.contains("1000 to 2000"))
        );
        assert!(disagreement(2_000, &run(&[1]), &reference).is_some());
        assert!(disagreement(2_000, &run(&[1, 2, 3]), &reference).is_some());
        assert!(disagreement(0, &run(&[]), &reference).is_some());
    }
}
