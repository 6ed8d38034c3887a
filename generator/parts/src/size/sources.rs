//! The sizes of a source: its area, or where it has none, so many of it.

use crate::income::Income;
use crate::node::Source;
use crate::units::*;

use crate::dividers::series::Series;

/// How large a source is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Extent {
    /// Area of the module or cell.
    Area(Area),
    /// So many of the node's own source.
    Times(f64),
}

/// A source of one size, with what it offers over time.
#[derive(Clone, Debug, PartialEq)]
pub struct SizedSource {
    /// How large.
    pub extent: Extent,
    /// The source.
    pub source: Source,
    /// What it offers.
    pub income: Income,
}

impl SizedSource {
    /// The source of a node at another size; `None` for a trace, of which nothing more is known, and where an area is given to a
    /// source that has none.
    ///
    /// ```
    /// use millpond_node::node::Source;
    /// use millpond_parts::size::*;
    /// use millpond_numbers::units::*;
    /// let source = Source::Constant { power: watts(900e-6) };
    /// let twice = SizedSource::of(&source, Extent::Times(2.0)).unwrap();
    /// assert_eq!(twice.source, Source::Constant { power: watts(1.8e-3) });
    /// assert!(SizedSource::of(&source, Extent::Area(square_meters(1e-3))).is_none());
    /// ```
    pub fn of(source: &Source, extent: Extent) -> Option<Self> {
        let mut source = source.clone();
        let extent = match (&mut source, extent) {
            (Source::Constant { power }, Extent::Times(times)) => {
                *power *= times;
                extent
            }
            (Source::Photovoltaic { area, .. } | Source::Indoor { area, .. }, _) => {
                match extent {
                    Extent::Area(given) => *area = given,
                    Extent::Times(times) => *area *= times,
                }
                Extent::Area(*area)
            }
            (Source::Constant { .. }, Extent::Area(_)) | (Source::Trace, _) => return None,
        };
        let income = Income::of(&source)?;
        Some(Self {
            extent,
            source,
            income,
        })
    }

    /// The sizes in preferred values (E6) from `low` to `high`; only that one where they are equal. Empty where [`Self::of`] has none.
    pub fn between(source: &Source, low: Extent, high: Extent) -> Vec<Self> {
        // Preferred in the unit in which areas are written.
        let extents: Vec<Extent> = match (low, high) {
            (low, high) if low == high => vec![low],
            (Extent::Area(low), Extent::Area(high)) => Series::E6
                .between(low.get::<square_meter>(), high.get::<square_meter>())
                .into_iter()
                .map(|area_m2| Extent::Area(square_meters(area_m2)))
                .collect(),
            (Extent::Times(low), Extent::Times(high)) => Series::E6
                .between(low, high)
                .into_iter()
                .map(Extent::Times)
                .collect(),
            _ => Vec::new(),
        };
        extents
            .into_iter()
            .filter_map(|extent| Self::of(source, extent))
            .collect()
    }

    /// A number that rises with the size.
    pub(super) fn relative(&self) -> f64 {
        match self.extent {
            Extent::Area(area) => area.get::<square_meter>(),
            Extent::Times(times) => times,
        }
    }
}
