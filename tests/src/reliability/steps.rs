//! Steps agreed: the decision in C and in Rust on this machine and on each emulated chip that is here.

use rayon::prelude::*;

use super::{Extent, Row};
use crate::chips::{self, ChipsError, Reference, Steps, TARGETS};

pub(super) fn rows(extent: &Extent) -> Result<Vec<Row>, String> {
    let steps = if extent.all_steps {
        Steps::FULL
    } else {
        Steps::QUICK
    };
    let reference = Reference::run(steps.host);
    let asked: Vec<_> = TARGETS
        .par_iter()
        .map(|target| chips::rows(*target, steps, &reference))
        .collect();
    let (mut agreed, mut broke, mut missing) = (0, 0, Vec::new());
    let mut targets = 0;
    for answer in asked {
        match answer {
            Ok(rows) => {
                targets += 1;
                for row in rows {
                    agreed += if row.agree { u64::from(row.steps) } else { 0 };
                    broke += u64::from(!row.agree);
                }
            }
            Err(ChipsError::Missing(what)) => missing.push(what),
            Err(error) => return Err(error.to_string()),
        }
    }
    missing.sort_unstable();
    missing.dedup();
    let mut note = format!("{targets} of {} targets, bit for bit", TARGETS.len());
    if !missing.is_empty() {
        note.push_str(&format!("; missing: {}", missing.join(", ")));
    }
    Ok(vec![Row::counted("steps agreed", agreed, broke, note)])
}
