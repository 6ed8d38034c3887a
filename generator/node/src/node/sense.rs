//! Reads `[sense]`: how the firmware reads the storage voltage.

use super::limit::Limit;
use super::table::{Given, Table};
use super::{Sense, SenseKind};
use crate::units::*;

/// Part tolerances beyond this are not ones that anyone measures with.
const MOST_TOLERANCE: f64 = 0.5;

/// The converter with what later checks point at.
pub(super) struct SenseRead {
    pub(super) sense: Option<Sense>,
    /// What is compared with what, where it is written.
    pub(super) kind: Option<Given<SenseKind>>,
    /// The resistor from the terminal to the converter's input, where it is written.
    pub(super) top: Option<Given<Resistance>>,
    /// The reference voltage, where it is written.
    pub(super) reference: Option<Given<Voltage>>,
}

/// Reads the sensing.
pub(super) fn read(root: &mut Table<'_>) -> SenseRead {
    let Some(mut table) = root.table("sense") else {
        return SenseRead {
            sense: None,
            kind: None,
            top: None,
            reference: None,
        };
    };
    let tolerance = Limit::NOT_NEGATIVE.up_to(MOST_TOLERANCE);
    let kinds = [
        ("divider", SenseKind::Divider),
        ("reference", SenseKind::Reference),
    ];
    let given_kind = table.choice("kind", &kinds, Some(SenseKind::Divider));
    let kind = given_kind
        .as_ref()
        .map_or(SenseKind::Divider, |given| given.value);
    let bits = table.required::<u32>("bits", "12", 6..=16);
    let reference = table.required::<Voltage>("reference", "1.2 V", Limit::POSITIVE);
    let reference_tolerance = table.required::<Ratio>("reference_tolerance", "2 %", tolerance);
    let divider_keys = ["divider_top", "divider_bottom", "divider_tolerance"];
    if kind == SenseKind::Reference {
        table.foreign(
            &["divider_top", "divider_bottom", "divider_tolerance", "divider_switched", "input_leakage"],
            "with kind = \"reference\" the converter compares its supply with the reference, and no divider stands in between",
        );
    }
    let divided = kind == SenseKind::Divider && divider_keys.iter().any(|key| table.has(key));
    let (top, bottom, divider_tolerance);
    if divided {
        top = table.required::<Resistance>("divider_top", "3.0 Mohm", Limit::NOT_NEGATIVE);
        bottom = table.required::<Resistance>("divider_bottom", "1.0 Mohm", Limit::POSITIVE);
        divider_tolerance = table.required::<Ratio>("divider_tolerance", "1 %", tolerance);
    } else {
        divider_keys.iter().for_each(|key| table.know(key));
        // Without a divider the input is the terminal itself: nothing on top, and any resistor below.
        top = Some(Given {
            value: ohms(0.0),
            span: table.span.clone(),
        });
        bottom = Some(Given {
            value: ohms(1.0),
            span: table.span.clone(),
        });
        divider_tolerance = Some(Given {
            value: fraction(0.0),
            span: table.span.clone(),
        });
    }
    let sampling_capacitor = table.optional::<Capacitance>("sampling_capacitor", "10 pF", Limit::POSITIVE);
    let sampling_time = table.optional::<Time>("sampling_time", "20 us", Limit::POSITIVE);
    let input_leakage = table.or::<Current>("input_leakage", "50 nA", Limit::NOT_NEGATIVE, amperes(0.0));
    let divider_switched = if divided {
        table.or::<bool>("divider_switched", "true", (), false)
    } else {
        if kind == SenseKind::Divider {
            table.foreign(
                &["divider_switched"],
                "without divider_top and divider_bottom the terminal itself is read, and there is nothing to switch",
            );
        }
        // Nothing that draws current.
        Some(true)
    };
    table.finish();
    let sense = (|| {
        Some(Sense {
            kind,
            bits: bits?.value,
            reference: reference.as_ref()?.value,
            reference_tolerance: reference_tolerance?.value,
            divider_top: top.as_ref()?.value,
            divider_bottom: bottom?.value,
            divider_tolerance: divider_tolerance?.value,
            divider_switched: divider_switched?,
            sampling_capacitor: sampling_capacitor.map(|given| given.value),
            sampling_time: sampling_time.map(|given| given.value),
            input_leakage: input_leakage?,
        })
    })();
    SenseRead {
        sense,
        kind: given_kind,
        top: top.filter(|_| divided),
        reference,
    }
}
