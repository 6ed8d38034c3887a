//! What a target prints: a line each with a letter and two hexadecimal numbers.
//!
//! | letter | numbers |
//! | --- | --- |
//! | `z` | bytes of the state, of the backlog without its samples |
//! | `i` | bytes of the income estimate |
//! | `p` | bytes of the planner, where there is one |
//! | `d` | digest after another thousand steps |
//! | `c` | a cost of a decision, how many cost that; the last may stand for others between it and the one before |
//! | `s` | deepest stack of a decision in bytes |

use super::ChipsError;

/// Steps from one digest to the next.
pub(crate) const STEPS_PER_DIGEST: u32 = 1_000;

/// One a minute.
const DECISIONS_AN_HOUR: u32 = 60;

/// One run of the stream.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Transcript {
    pub(crate) digests: Vec<u32>,
    pub(crate) state_bytes: u32,
    pub(crate) stack_bytes: Option<u32>,
    /// Costs and how many decisions had them, in rising order.
    pub(crate) costs: Vec<(u32, u32)>,
}

impl Transcript {
    /// Reads the lines that are meant here, and passes over what an emulator adds.
    pub(crate) fn parse(text: &str) -> Result<Self, ChipsError> {
        let mut transcript = Self::default();
        for line in text.lines() {
            let words: Vec<&str> = line.split(' ').collect();
            let &[what, first, second] = words.as_slice() else {
                continue;
            };
            let (Ok(first), Ok(second)) = (u32::from_str_radix(first, 16), u32::from_str_radix(second, 16))
            else {
                continue;
            };
            match what {
                "z" => transcript.state_bytes += first + second,
                "i" | "p" => transcript.state_bytes += first,
                "d" => transcript.digests.push(first),
                "c" => transcript.costs.push((first, second)),
                "s" => transcript.stack_bytes = Some(first),
                _ => {}
            }
        }
        if transcript.state_bytes == 0 {
            return Err(ChipsError::Strange(format!("a run printed no sizes:\n{text}")));
        }
        Ok(transcript)
    }

    /// The highest cost.
    pub(crate) fn longest(&self) -> Option<u32> {
        self.costs.last().map(|(cost, _)| *cost)
    }

    /// The median cost: half of the decisions cost as much or less.
    pub(crate) fn usual(&self) -> Option<u32> {
        let mut left = self.decisions().div_ceil(2);
        self.costs
            .iter()
            .find(|(_, count)| {
                left = left.saturating_sub(*count);
                left == 0
            })
            .map(|(cost, _)| *cost)
    }

    /// What an hour with a decision a minute costs: one of them is the longest, with a plan where there are plans.
    pub(crate) fn hour(&self) -> Option<u32> {
        Some(self.longest()? + (DECISIONS_AN_HOUR - 1) * self.usual()?)
    }

    /// Decisions that were measured.
    pub(crate) fn decisions(&self) -> u32 {
        self.costs.iter().map(|(_, count)| count).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RUN: &str =
        "Loaded 8560 .text at address 0x0\nz 5 6\ni 9 0\nd bf38be87 0\nc 5f 2\nc b3 2\nc b4 1\ns 6 0\n";

    #[test]
    fn a_run_is_read_back() {
        let transcript = Transcript::parse(RUN).expect("a good run");
        assert_eq!(transcript.digests, [0xbf38_be87]);
        assert_eq!(transcript.state_bytes, 20);
        assert_eq!(transcript.stack_bytes, Some(6));
        assert_eq!(transcript.decisions(), 5);
    }

    /// Five decisions: the third in order is the median.
    #[test]
    fn the_usual_decision_is_the_median() {
        let transcript = Transcript::parse(RUN).expect("a good run");
        assert_eq!(
            (transcript.usual(), transcript.longest()),
            (Some(0xb3), Some(0xb4))
        );
        assert_eq!(transcript.hour(), Some(0xb4 + 59 * 0xb3));
        assert_eq!(Transcript::default().usual(), None);
    }

    #[test]
    fn a_run_that_stopped_before_its_first_line_is_an_error() {
        assert!(Transcript::parse("qemu: could not load\n").is_err());
    }
}
