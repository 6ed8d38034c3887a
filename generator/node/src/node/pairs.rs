//! Reads a table of figures over figures, such as efficiency over current, whose first figures must rise.

use toml::Spanned;
use toml::de::DeValue;

use super::limit::Limit;
use super::quantity::{Quantity, show};
use super::table::{Given, Table};
use super::value::{Fault, Read, kind};
use crate::problem::Problem;

/// Reads a list of pairs whose first figures rise.
pub(super) fn pairs<A: Quantity + PartialOrd, B: Quantity>(
    table: &Table<'_>,
    key: &str,
    value: &Spanned<DeValue<'_>>,
    first_limit: Limit,
    second_limit: Limit,
    (first_example, second_example): (&str, &str),
) -> Option<Vec<(A, B)>> {
    let expected = format!("a list of pairs such as [\"{first_example}\", \"{second_example}\"]");
    let cure = format!("write {key} = [[\"{first_example}\", \"{second_example}\"]]");
    let Some(items) = value.get_ref().as_array().filter(|items| !items.is_empty()) else {
        let title = match value.get_ref() {
            DeValue::Array(_) => format!("`{key}` is empty"),
            other => format!("`{key}` is {}", kind(other)),
        };
        table.fault(
            value.span(),
            Fault {
                title,
                expected,
                cure,
            },
        );
        return None;
    };
    let mut points: Vec<(Given<A>, B)> = Vec::new();
    let mut sound = true;
    for item in items.iter() {
        let Some([left, right]) = item.get_ref().as_array().map(|pair| &pair[..]) else {
            let title = format!("an entry of `{key}` is not a pair");
            table.fault(
                item.span(),
                Fault {
                    title,
                    expected: expected.clone(),
                    cure: cure.clone(),
                },
            );
            sound = false;
            continue;
        };
        let a = A::read(key, left.get_ref(), &first_limit, first_example);
        let b = B::read(key, right.get_ref(), &second_limit, second_example);
        let a = a.map_err(|fault| table.fault(left.span(), fault)).ok();
        let b = b.map_err(|fault| table.fault(right.span(), fault)).ok();
        let (Some(a), Some(b)) = (a, b) else {
            sound = false;
            continue;
        };
        if let Some((before, _)) = points.last()
            && a <= before.value
        {
            let title = if a == before.value {
                "stands twice in"
            } else {
                "is out of order in"
            };
            table.log().note(
                Problem::new(
                    left.span(),
                    format!("{} {title} `{key}`", show(A::DIMENSION, a.in_base())),
                    "above the one before it",
                    format!("sort the pairs of `{key}` by their first figure and keep each figure once"),
                )
                .with(&before.span, "the one before it"),
            );
            sound = false;
            continue;
        }
        points.push((
            Given {
                value: a,
                span: left.span(),
            },
            b,
        ));
    }
    sound.then(|| points.into_iter().map(|(a, b)| (a.value, b)).collect())
}
