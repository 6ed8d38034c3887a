//! Quantities typed by dimension: every physical number on the host is one of these.
//!
//! The types are those of `uom`, under one roof so that a file imports them from one place, with short
//! constructors in SI base units. A sum of a voltage and a current, or a capacitance where an energy is
//! due, does not compile.
//!
//! ```
//! use millpond_numbers::units::*;
//! let charge: Charge = farads(0.5) * volts(2.0);
//! let current: Current = charge / seconds(10.0);
//! assert_eq!(current.get::<ampere>(), 0.1);
//! ```

pub mod system;

pub use system::area::square_meter;
pub use system::capacitance::farad;
pub use system::electric_charge::coulomb;
pub use system::electric_current::ampere;
pub use system::electric_potential::volt;
pub use system::electrical_conductance::siemens;
pub use system::electrical_resistance::ohm;
pub use system::energy::joule;
pub use system::frequency::hertz;
pub use system::heat_flux_density::watt_per_square_meter;
pub use system::illuminance::lux;
pub use system::length::meter;
pub use system::power::watt;
pub use system::ratio::ratio;
pub use system::thermodynamic_temperature::{degree_celsius, kelvin};
pub use system::time::second;

pub use system::f64::{
    Area, Capacitance, Energy, Frequency, Illuminance, Length, Power, Ratio,
    ThermodynamicTemperature as Temperature, Time,
};
/// Electric charge (C).
pub type Charge = system::f64::ElectricCharge;
/// Electric current (A).
pub type Current = system::f64::ElectricCurrent;
/// Electric potential difference (V).
pub type Voltage = system::f64::ElectricPotential;
/// Electrical resistance (ohm).
pub type Resistance = system::f64::ElectricalResistance;
/// Electrical conductance (S).
pub type Conductance = system::f64::ElectricalConductance;
/// Power of a light or heat flow on an area (W/m²).
pub type PowerDensity = system::f64::HeatFluxDensity;
/// Capacitance that rises with voltage (F/V).
pub type CapacitanceSlope = system::f64::CapacitanceSlope;

/// A [`CapacitanceSlope`] from a number of farads per volt.
pub fn farads_per_volt(value: f64) -> CapacitanceSlope {
    farads(value) / volts(1.0)
}

macro_rules! constructors {
    ($($name:ident: $quantity:ident in $unit:ident),* $(,)?) => {$(
        #[doc = concat!("A [`", stringify!($quantity), "`] from a number of ", stringify!($name), ".")]
        pub fn $name(value: f64) -> $quantity {
            $quantity::new::<$unit>(value)
        }
    )*};
}

constructors! {
    volts: Voltage in volt,
    amperes: Current in ampere,
    farads: Capacitance in farad,
    ohms: Resistance in ohm,
    siemenses: Conductance in siemens,
    joules: Energy in joule,
    watts: Power in watt,
    coulombs: Charge in coulomb,
    seconds: Time in second,
    hertzes: Frequency in hertz,
    square_meters: Area in square_meter,
    luxes: Illuminance in lux,
    fraction: Ratio in ratio,
    watts_per_square_meter: PowerDensity in watt_per_square_meter,
    degrees_celsius: Temperature in degree_celsius,
}
