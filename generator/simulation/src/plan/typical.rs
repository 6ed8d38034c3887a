//! What a plan knows of the nominal unit: its energies and costs, as the firmware and as a drill have them.

use millpond_policy::{Costs, EnergyModel, Plan, PlanParts, Rejected, SLOT_S};

use crate::model::bank::{Bank, Wear};
use crate::model::load::Load;
use crate::node::{Action, Node};
use crate::plan::settings::{Name, Settings};
use crate::rounding::{self, EnergyScale, EnergyUnit};
use crate::thresholds::Thresholds;
use crate::units::*;

/// The constants of a plan that follow from the node.
#[derive(Clone, Copy, Debug)]
pub struct Typical {
    energy: EnergyModel,
    costs: Costs,
    unit: EnergyUnit,
    /// Stored above the floor when full.
    full: Energy,
    /// Stored above the floor at the higher of the two thresholds.
    decide: Energy,
    /// Asleep, leakage included.
    sleep: Power,
    sample: Energy,
    full_reading_mv: u16,
    fastest_s: u16,
    slowest_s: u16,
    store: Store,
}

/// The storage and the costs as plain numbers (J, W), for a drill.
#[derive(Clone, Copy, Debug)]
pub struct Store {
    /// Above the floor, full.
    pub full_j: f64,
    /// The same at the higher of the two thresholds.
    pub decide_j: f64,
    pub(super) connect_j: f64,
    pub(super) cold_j: f64,
    /// Efficiency of a cold start over the usual one.
    pub(super) cold_part: f64,
    /// Asleep at the middle voltage, leakage included.
    pub sleep_w: f64,
    /// Leakage as a conductance (S).
    leakage_s: f64,
    middle_v2: f64,
    /// One report with its samples.
    pub report_j: f64,
    /// Samples in a report.
    pub batch: f64,
    floor_v2: f64,
    v2_per_j: f64,
}

impl Store {
    /// What the sleeping node loses (W): leakage grows with the square of the voltage.
    pub fn asleep_w(&self, stored_j: f64) -> f64 {
        let terminal_v2 = self.floor_v2 + stored_j * self.v2_per_j;
        self.sleep_w + self.leakage_s * (terminal_v2 - self.middle_v2)
    }

    /// What an ideal reading shows.
    pub fn reading_mv(&self, stored_j: f64) -> u16 {
        ((self.floor_v2 + stored_j * self.v2_per_j).sqrt() * 1e3) as u16
    }
}

impl Typical {
    /// The figures of the nominal unit of `node`; `None` if they do not fit into 31 bits of microjoules.
    ///
    /// Constant currents cost by the voltage: they are taken at the middle between the threshold and the overvoltage limit.
    pub fn of(node: &Node, thresholds: &Thresholds) -> Option<Self> {
        let bank = Bank::of_node(node, Wear::NONE);
        let stored = |at: Voltage| bank.stored_at_rest(at);
        let floor = thresholds.floor;
        let overvoltage = thresholds.overvoltage;
        let full = stored(overvoltage) - stored(floor);
        let unit = EnergyUnit::of(full)?;
        // The capacitance that holds as much between floor and overvoltage as the bank does.
        let squares = overvoltage * overvoltage - floor * floor;
        let capacitance: Capacitance = full * 2.0 / squares;
        let scale = EnergyScale::of(capacitance, floor, overvoltage)?;
        let decide_mv = thresholds.highest_decide_mv();
        let decide = rounding::from_millivolts(decide_mv).min(overvoltage);
        let middle = (decide + overvoltage) / 2.0;
        let nothing = fraction(0.0);
        let regulator = &node.supply.regulator;
        let energy = |action: &Action| {
            Load::of(regulator, &action.first_try(), node.radio.as_ref(), nothing).energy_at(middle)
        };
        let (measure, transmit) = (energy(&node.measure), energy(&node.transmit));
        let asleep = Load::node_asleep(node, node.sleep_current, seconds(1.0), nothing);
        let sleep = asleep.drain.power_at(middle) + middle * (bank.leakage * middle);
        let batch = f64::from(node.policy.batch);
        let connect = match &node.supply.gate {
            Some(gate) => gate.connect_above,
            None => decide,
        };
        let above_j = |at: Voltage| (stored(at) - stored(floor)).get::<joule>();
        let store = Store {
            full_j: full.get::<joule>(),
            decide_j: above_j(decide),
            connect_j: above_j(connect.min(overvoltage)),
            cold_j: above_j(node.harvest.cold_start).max(0.0),
            cold_part: (node.harvest.cold_start_efficiency / node.harvest.converter_efficiency)
                .get::<ratio>(),
            sleep_w: sleep.get::<watt>(),
            leakage_s: bank.leakage.get::<siemens>(),
            middle_v2: middle.get::<volt>() * middle.get::<volt>(),
            report_j: (transmit + measure * batch).get::<joule>(),
            batch,
            floor_v2: floor.get::<volt>() * floor.get::<volt>(),
            v2_per_j: 2.0 / capacitance.get::<farad>(),
        };
        Some(Self {
            store,
            energy: scale.into(),
            costs: Costs {
                measure_uj: rounding::microjoules_nearest(measure),
                transmit_uj: rounding::microjoules_nearest(transmit),
                sleep_uw: rounding::microwatts_nearest(sleep),
            },
            unit,
            full,
            decide: stored(decide) - stored(floor),
            sleep,
            sample: measure + transmit / batch,
            full_reading_mv: full_reading_mv(thresholds),
            fastest_s: rounding::seconds_up(node.policy.fastest / batch),
            slowest_s: rounding::seconds_up(node.policy.slowest / batch),
        })
    }

    /// The storage and the costs as plain numbers.
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// The plan under these settings.
    ///
    /// # Errors
    ///
    /// The rule that the constants break.
    pub fn plan(&self, settings: &Settings) -> Result<Plan, Rejected> {
        let room = self.full - self.decide;
        let units = |energy: Energy| u16::try_from(self.unit.nearest(energy)).unwrap_or(u16::MAX);
        let slot = seconds(f64::from(SLOT_S));
        Plan::new(PlanParts {
            energy: self.energy,
            costs: self.costs,
            unit_shift: self.unit.shift,
            full_units: units(self.full),
            sleep_units: units(self.sleep * slot),
            sample_unit_s: self.unit.nearest_times(self.sample, slot).max(1),
            reserve_units: units(self.decide + room * settings.reserve()),
            target_units: units(self.decide + room * settings.target()),
            full_reading_mv: self.full_reading_mv,
            caution: settings.caution(),
            slot_kept: settings.slot_kept(),
            ratio_kept: settings.ratio_kept(),
            ratio_fading: settings.ratio_fading(),
            growth: settings.growth(),
            fastest_s: self.fastest_s,
            slowest_s: self.slowest_s,
        })
    }

    /// Asleep at the middle voltage, leakage included.
    pub fn sleep(&self) -> Power {
        self.sleep
    }

    /// The settings that come before all tuning: a reserve that, with what lies between the threshold and the floor, lets the node
    /// lose as much as `lost` in the worst dark stretch, at most half of what a reserve may be.
    pub fn least_settings(&self, lost: Energy) -> Settings {
        // From the threshold down to the floor the node goes on sleeping.
        let lost = (lost - self.decide).max(joules(0.0));
        let share = (lost / (self.full - self.decide)).get::<ratio>() * 256.0;
        let mut least = Settings::least();
        least[Name::Reserve] = (share.ceil() as i32).clamp(0, Name::Reserve.setting().most / 2);
        least
    }
}

/// The lowest reading at which a converter that has stopped charging may stand: the overvoltage limit, read as low as the
/// tolerances of sensing allow, less one count.
fn full_reading_mv(thresholds: &Thresholds) -> u16 {
    let lowest = thresholds.scale.lowest_reading(thresholds.overvoltage);
    u16::try_from(rounding::millivolts_down(lowest.max(volts(0.0)))).unwrap_or(u16::MAX)
}
