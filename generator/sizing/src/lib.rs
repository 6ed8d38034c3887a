//! Energy budget, voltage thresholds and integer policy of a battery-free sensor node.
#![forbid(unsafe_code)]

pub mod budget;
pub mod outlook;
pub mod policy;
pub mod rounding;
pub mod thresholds;

use millpond_model::model;
use millpond_node::node;
use millpond_numbers::units;
