//! Reads `[supply]`: the regulator, its efficiency, and the gate.

use super::limit::Limit;
use super::pairs::pairs;
use super::quantity::{Quantity, show};
use super::table::{Given, Table};
use super::unit::Dimension;
use super::value::{Read, kind};
use super::{Efficiency, Gate, Regulator, Supply};
use crate::problem::Problem;
use crate::units::*;
use toml::Spanned;
use toml::de::DeValue;

/// Where one efficiency stands for all currents, it is noted at this current; any other would do as well.
const SINGLE_POINT_CURRENT_A: f64 = 1e-3;

#[derive(Clone, Copy)]
enum Kind {
    Direct,
    Linear,
    Switching,
}

/// The supply with what later checks point at.
pub(super) struct SupplyRead {
    pub(super) supply: Option<Supply>,
    /// Storage voltage below which the rail is lost, where that is written, and the key or keys that say so.
    pub(super) floor: Option<(Given<Voltage>, &'static str)>,
}

/// Reads the supply.
pub(super) fn read(root: &mut Table<'_>) -> SupplyRead {
    let Some(mut table) = root.table("supply") else {
        return SupplyRead {
            supply: None,
            floor: None,
        };
    };
    let kinds = [
        ("direct", Kind::Direct),
        ("linear", Kind::Linear),
        ("switching", Kind::Switching),
    ];
    let kind = table.choice("kind", &kinds, None);
    let gate = table.optional_table("gate");
    let gate_stands = gate.is_some() || table.has("gate");
    let gate = gate.and_then(read_gate);
    let starts_at = table.optional::<Voltage>("starts_at", "2.4 V", Limit::POSITIVE);
    if let (Some(given), true) = (&starts_at, gate_stands) {
        table.note(
            &given.span,
            "`starts_at` beside a gate",
            "goes with a node without [supply.gate]",
            "remove `starts_at`: the gate's `connect_above` is where such a node starts",
        );
    }
    let mut floor = None;
    let regulator = match kind.map(|kind| kind.value) {
        None => {
            // Which keys belong is not known; none of them is called unknown.
            let known = ["rail", "dropout", "minimum_input", "quiescent", "efficiency"];
            known.iter().for_each(|key| table.know(key));
            None
        }
        Some(Kind::Direct) => {
            table.foreign(
                &["rail", "dropout", "quiescent", "efficiency"],
                "with kind = \"direct\" storage itself is the rail",
            );
            let minimum_input = table.required::<Voltage>("minimum_input", "1.8 V", Limit::POSITIVE);
            floor = minimum_input.clone().map(|given| (given, "`minimum_input`"));
            minimum_input.map(|given| Regulator::Direct {
                minimum_input: given.value,
            })
        }
        Some(Kind::Linear) => {
            table.foreign(
                &["minimum_input"],
                "a linear supply needs rail + dropout at its input",
            );
            table.foreign(
                &["efficiency"],
                "a linear regulator passes the load's current through",
            );
            let rail = table.required::<Voltage>("rail", "2.5 V", Limit::POSITIVE);
            let dropout = table.required::<Voltage>("dropout", "120 mV", Limit::NOT_NEGATIVE);
            let quiescent = table.required::<Current>("quiescent", "1.2 uA", Limit::NOT_NEGATIVE);
            if let (Some(rail), Some(dropout)) = (&rail, &dropout) {
                let least = Given {
                    value: rail.value + dropout.value,
                    span: rail.span.clone(),
                };
                floor = Some((least, "`rail` and `dropout` together"));
            }
            (|| {
                Some(Regulator::Linear {
                    rail: rail?.value,
                    dropout: dropout?.value,
                    quiescent: quiescent?.value,
                })
            })()
        }
        Some(Kind::Switching) => {
            table.foreign(&["dropout"], "a switching supply has `minimum_input` instead");
            let rail = table.required::<Voltage>("rail", "3.0 V", Limit::POSITIVE);
            let minimum_input = table.required::<Voltage>("minimum_input", "2.2 V", Limit::POSITIVE);
            let quiescent = table.required::<Current>("quiescent", "0.6 uA", Limit::NOT_NEGATIVE);
            let example = "[[\"10 uA\", \"72 %\"], [\"50 mA\", \"90 %\"]]";
            let efficiency = table
                .raw("efficiency", Some(example))
                .and_then(|value| read_efficiency(&table, value));
            floor = minimum_input.clone().map(|given| (given, "`minimum_input`"));
            (|| {
                Some(Regulator::Switching {
                    rail: rail?.value,
                    minimum_input: minimum_input?.value,
                    quiescent: quiescent?.value,
                    efficiency: efficiency?,
                })
            })()
        }
    };
    if let (Some(starts_at), Some((floor, keys))) = (&starts_at, &floor)
        && starts_at.value < floor.value
    {
        let least = show(Dimension::Voltage, floor.value.in_base());
        table.log().note(
            Problem::new(
                starts_at.span.clone(),
                "the node would start below the voltage that its supply needs",
                format!("at least {least}, from {keys}"),
                "write the lowest storage voltage at which the reset circuit releases the node; a circuit that releases it \
                 below what the supply needs has to be changed",
            )
            .with(&floor.span, "needed here"),
        );
    }
    table.finish();
    let supply = regulator
        .filter(|_| gate.is_some() || !gate_stands)
        .map(|regulator| Supply {
            regulator,
            gate,
            starts_at: starts_at.map(|given| given.value),
        });
    SupplyRead { supply, floor }
}

fn read_gate(mut table: Table<'_>) -> Option<Gate> {
    let connect = table.required::<Voltage>("connect_above", "4.0 V", Limit::POSITIVE);
    let disconnect = table.required::<Voltage>("disconnect_below", "2.3 V", Limit::POSITIVE);
    let tolerance = table.required::<Ratio>("tolerance", "2 %", Limit::TOLERANCE);
    if let (Some(connect), Some(disconnect), Some(tolerance)) = (&connect, &disconnect, &tolerance) {
        let lowest_connect = connect.value * (1.0 - tolerance.value.in_base());
        let highest_disconnect = disconnect.value * (1.0 + tolerance.value.in_base());
        if connect.value <= disconnect.value {
            table.log().note(
                Problem::new(
                    connect.span.clone(),
                    "the gate connects at or below the voltage at which it disconnects",
                    "above `disconnect_below`",
                    "exchange the two, or raise `connect_above`: the node must be able to start in between",
                )
                .with(&disconnect.span, "disconnects here"),
            );
        } else if lowest_connect <= highest_disconnect {
            table.log().note(
                Problem::new(
                    tolerance.span.clone(),
                    "the gate's two thresholds overlap within their tolerance",
                    "small enough to keep the thresholds apart",
                    "part the thresholds further, or use a comparator with a closer tolerance",
                )
                .with(&connect.span, "may be lower by the tolerance")
                .with(&disconnect.span, "may be higher by the tolerance"),
            );
        }
    }
    table.finish();
    Some(Gate {
        connect_above: connect?.value,
        disconnect_below: disconnect?.value,
        tolerance: tolerance?.value,
    })
}

fn read_efficiency(table: &Table<'_>, value: &Spanned<DeValue<'_>>) -> Option<Efficiency> {
    if value.get_ref().is_str() {
        return match Ratio::read("efficiency", value.get_ref(), &Limit::PART, "85 %") {
            Ok(share) => Some(Efficiency {
                points: vec![(amperes(SINGLE_POINT_CURRENT_A), share)],
            }),
            Err(fault) => {
                table.fault(value.span(), fault);
                None
            }
        };
    }
    if !value.get_ref().is_array() {
        table.note(
            &value.span(),
            format!("`efficiency` is {}", kind(value.get_ref())),
            "a percentage in quotes, or a list of pairs of load current and percentage",
            "write \"85 %\", or for example [[\"10 uA\", \"72 %\"], [\"50 mA\", \"90 %\"]]",
        );
        return None;
    }
    let example = ("1 mA", "88 %");
    let points = pairs(table, "efficiency", value, Limit::POSITIVE, Limit::PART, example);
    points.map(|points| Efficiency { points })
}
