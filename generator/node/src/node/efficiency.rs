//! How efficient a switching regulator is between the rows of its table.

use super::Efficiency;
use crate::units::*;

impl Efficiency {
    /// Efficiency at a load current: linear over the logarithm of the current, held flat outside the table.
    ///
    /// A current of 0 takes the first value.
    pub fn at(&self, load: Current) -> Ratio {
        let above = self.points.partition_point(|(current, _)| *current <= load);
        let Some((high_current, high)) = self.points.get(above) else {
            return self
                .points
                .last()
                .map_or(fraction(1.0), |(_, efficiency)| *efficiency);
        };
        if above == 0 {
            return *high;
        }
        let (low_current, low) = self.points[above - 1];
        let above_low = |current: Current| libm::log((current / low_current).get::<ratio>());
        let position = above_low(load) / above_low(*high_current);
        low + (*high - low) * position
    }

    /// Load current over efficiency, and never less than a smaller load takes: between two points the efficiency may rise
    /// faster than the current, and a load margin would then lower what is drawn.
    ///
    /// Between two points i/η falls and then rises, or only rises, where η rises, and only rises where η falls. So no smaller load
    /// takes more than the points below do.
    pub fn input(&self, load: Current) -> Current {
        let below = self.points.iter().filter(|(current, _)| *current <= load);
        below
            .map(|(current, efficiency)| *current / *efficiency)
            .fold(load / self.at(load), Current::max)
    }
}
