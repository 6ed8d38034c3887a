//! The system of quantities: those of the International System that this project computes with, made by `uom`.
//!
//! `uom` brings more than a hundred quantities in all their units, ready made; only those that are used are built here, as its documentation
//! shows it. Exponents are those of length, mass, time, current, temperature, amount of substance and luminous intensity.

#[macro_use]
/// Length.
pub mod length {
    quantity! {
        /// Length.
        quantity: Length; "length";
        /// Its dimension.
        dimension: ISQ<P1, Z0, Z0, Z0, Z0, Z0, Z0>;
        units {
            @meter: 1.0; "m", "meter", "meters";
        }
    }
}

#[macro_use]
/// Mass.
pub mod mass {
    quantity! {
        /// Mass.
        quantity: Mass; "mass";
        /// Its dimension.
        dimension: ISQ<Z0, P1, Z0, Z0, Z0, Z0, Z0>;
        units {
            @kilogram: 1.0; "kg", "kilogram", "kilograms";
        }
    }
}

#[macro_use]
/// Time.
pub mod time {
    quantity! {
        /// Time.
        quantity: Time; "time";
        /// Its dimension.
        dimension: ISQ<Z0, Z0, P1, Z0, Z0, Z0, Z0>;
        units {
            @second: 1.0; "s", "second", "seconds";
        }
    }
}

#[macro_use]
/// Electric current.
pub mod electric_current {
    quantity! {
        /// Electric current.
        quantity: ElectricCurrent; "electric current";
        /// Its dimension.
        dimension: ISQ<Z0, Z0, Z0, P1, Z0, Z0, Z0>;
        units {
            @ampere: 1.0; "A", "ampere", "amperes";
        }
    }
}

#[macro_use]
/// Thermodynamic temperature.
pub mod thermodynamic_temperature {
    quantity! {
        /// Thermodynamic temperature.
        quantity: ThermodynamicTemperature; "thermodynamic temperature";
        /// Its dimension.
        dimension: ISQ<Z0, Z0, Z0, Z0, P1, Z0, Z0>;
        units {
            @kelvin: 1.0; "K", "kelvin", "kelvins";
            @degree_celsius: 1.0, 273.15; "°C", "degree Celsius", "degrees Celsius";
        }
    }
}

#[macro_use]
/// Amount of substance.
pub mod amount_of_substance {
    quantity! {
        /// Amount of substance.
        quantity: AmountOfSubstance; "amount of substance";
        /// Its dimension.
        dimension: ISQ<Z0, Z0, Z0, Z0, Z0, P1, Z0>;
        units {
            @mole: 1.0; "mol", "mole", "moles";
        }
    }
}

#[macro_use]
/// Luminous intensity.
pub mod luminous_intensity {
    quantity! {
        /// Luminous intensity.
        quantity: LuminousIntensity; "luminous intensity";
        /// Its dimension.
        dimension: ISQ<Z0, Z0, Z0, Z0, Z0, Z0, P1>;
        units {
            @candela: 1.0; "cd", "candela", "candelas";
        }
    }
}

#[macro_use]
/// Area.
pub mod area {
    quantity! {
        /// Area.
        quantity: Area; "area";
        /// Its dimension.
        dimension: ISQ<P2, Z0, Z0, Z0, Z0, Z0, Z0>;
        units {
            @square_meter: 1.0; "m²", "square meter", "square meters";
        }
    }
}

#[macro_use]
/// Capacitance.
pub mod capacitance {
    quantity! {
        /// Capacitance.
        quantity: Capacitance; "capacitance";
        /// Its dimension.
        dimension: ISQ<N2, N1, P4, P2, Z0, Z0, Z0>;
        units {
            @farad: 1.0; "F", "farad", "farads";
        }
    }
}

#[macro_use]
/// Capacitance that rises with voltage.
pub mod capacitance_slope {
    quantity! {
        /// Capacitance that rises with voltage.
        quantity: CapacitanceSlope; "capacitance that rises with voltage";
        /// Its dimension.
        dimension: ISQ<N4, N2, P7, P3, Z0, Z0, Z0>;
        units {
            @farad_per_volt: 1.0; "F/V", "farad per volt", "farads per volt";
        }
    }
}

#[macro_use]
/// Electric charge.
pub mod electric_charge {
    quantity! {
        /// Electric charge.
        quantity: ElectricCharge; "electric charge";
        /// Its dimension.
        dimension: ISQ<Z0, Z0, P1, P1, Z0, Z0, Z0>;
        units {
            @coulomb: 1.0; "C", "coulomb", "coulombs";
        }
    }
}

#[macro_use]
/// Electric potential difference.
pub mod electric_potential {
    quantity! {
        /// Electric potential difference.
        quantity: ElectricPotential; "electric potential difference";
        /// Its dimension.
        dimension: ISQ<P2, P1, N3, N1, Z0, Z0, Z0>;
        units {
            @volt: 1.0; "V", "volt", "volts";
        }
    }
}

#[macro_use]
/// Electrical conductance.
pub mod electrical_conductance {
    quantity! {
        /// Electrical conductance.
        quantity: ElectricalConductance; "electrical conductance";
        /// Its dimension.
        dimension: ISQ<N2, N1, P3, P2, Z0, Z0, Z0>;
        units {
            @siemens: 1.0; "S", "siemens", "siemens";
        }
    }
}

#[macro_use]
/// Electrical resistance.
pub mod electrical_resistance {
    quantity! {
        /// Electrical resistance.
        quantity: ElectricalResistance; "electrical resistance";
        /// Its dimension.
        dimension: ISQ<P2, P1, N3, N2, Z0, Z0, Z0>;
        units {
            @ohm: 1.0; "Ω", "ohm", "ohms";
        }
    }
}

#[macro_use]
/// Energy.
pub mod energy {
    quantity! {
        /// Energy.
        quantity: Energy; "energy";
        /// Its dimension.
        dimension: ISQ<P2, P1, N2, Z0, Z0, Z0, Z0>;
        units {
            @joule: 1.0; "J", "joule", "joules";
        }
    }
}

#[macro_use]
/// Frequency.
pub mod frequency {
    quantity! {
        /// Frequency.
        quantity: Frequency; "frequency";
        /// Its dimension.
        dimension: ISQ<Z0, Z0, N1, Z0, Z0, Z0, Z0>;
        units {
            @hertz: 1.0; "Hz", "hertz", "hertz";
        }
    }
}

#[macro_use]
/// Power of a light or heat flow on an area.
pub mod heat_flux_density {
    quantity! {
        /// Power of a light or heat flow on an area.
        quantity: HeatFluxDensity; "power of a light or heat flow on an area";
        /// Its dimension.
        dimension: ISQ<Z0, P1, N3, Z0, Z0, Z0, Z0>;
        units {
            @watt_per_square_meter: 1.0; "W/m²", "watt per square meter", "watts per square meter";
        }
    }
}

#[macro_use]
/// Illuminance.
pub mod illuminance {
    quantity! {
        /// Illuminance.
        quantity: Illuminance; "illuminance";
        /// Its dimension.
        dimension: ISQ<N2, Z0, Z0, Z0, Z0, Z0, P1>;
        units {
            @lux: 1.0; "lx", "lux", "lux";
        }
    }
}

#[macro_use]
/// Power.
pub mod power {
    quantity! {
        /// Power.
        quantity: Power; "power";
        /// Its dimension.
        dimension: ISQ<P2, P1, N3, Z0, Z0, Z0, Z0>;
        units {
            @watt: 1.0; "W", "watt", "watts";
        }
    }
}

#[macro_use]
/// Quotient of two alike.
pub mod ratio {
    quantity! {
        /// Quotient of two alike.
        quantity: Ratio; "quotient of two alike";
        /// Its dimension.
        dimension: ISQ<Z0, Z0, Z0, Z0, Z0, Z0, Z0>;
        units {
            @ratio: 1.0; "", "", "";
        }
    }
}

system! {
    /// Quantities.
    quantities: ISQ {
        length: meter, L;
        mass: kilogram, M;
        time: second, T;
        electric_current: ampere, I;
        thermodynamic_temperature: kelvin, Th;
        amount_of_substance: mole, N;
        luminous_intensity: candela, J;
    }

    /// Units.
    units: SI {
        mod length::Length,
        mod mass::Mass,
        mod time::Time,
        mod electric_current::ElectricCurrent,
        mod thermodynamic_temperature::ThermodynamicTemperature,
        mod amount_of_substance::AmountOfSubstance,
        mod luminous_intensity::LuminousIntensity,
        mod area::Area,
        mod capacitance::Capacitance,
        mod capacitance_slope::CapacitanceSlope,
        mod electric_charge::ElectricCharge,
        mod electric_potential::ElectricPotential,
        mod electrical_conductance::ElectricalConductance,
        mod electrical_resistance::ElectricalResistance,
        mod energy::Energy,
        mod frequency::Frequency,
        mod heat_flux_density::HeatFluxDensity,
        mod illuminance::Illuminance,
        mod power::Power,
        mod ratio::Ratio,
    }
}

/// The quantities, held in double precision.
pub mod f64 {
    ISQ!(crate::units::system, f64);
}
