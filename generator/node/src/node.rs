//! The node, as meant: every quantity typed, every key checked, every default filled in.
//!
//! A [`Node`] comes out of [`NodeFile::load`]; nothing after it needs to look at text, units or missing keys.
//!
//! The file is parsed into a tree in which every key and value has its place, and each section is read from the
//! tree by a file of its own. All faults are collected before any is shown. `docs/node-file.md` lists the keys.

mod action;
mod actions;
mod agreement;
mod beside;
pub mod catalogue;
mod comparator;
mod efficiency;
pub mod file;
mod harvest;
mod kinds;
mod limit;
mod missing;
mod nearest_key;
mod pacing;
mod pairs;
mod profile;
mod profiles;
pub mod quantity;
mod radio;
mod records;
mod reduction;
mod regulator;
mod schedule;
mod sense;
mod start;
mod storage;
mod supply;
mod syntax;
mod table;
pub mod unit;
mod unreadable_file;
mod value;

pub use actions::ActionKind;
pub use file::NodeFile;
pub use profiles::Profiles;

use crate::units::*;

/// One battery-free sensor node: its storage, supply, actions, radio, sensing, source and policy.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// Name of the node: lower-case letters, digits and hyphens, starting with a letter.
    pub name: String,
    /// Capacitors that stand in parallel at the storage terminal; at least one.
    pub storage: Vec<Capacitor>,
    /// What stands between the storage terminal and the load.
    pub supply: Supply,
    /// Current of the whole node asleep, at the rail.
    pub sleep_current: Current,
    /// From power-up until the firmware can first ask the policy.
    pub boot: Action,
    /// Taking one sample.
    pub measure: Action,
    /// Sending one report.
    pub transmit: Action,
    /// How a report is keyed; `None` when no phase is timed by airtime.
    pub radio: Option<Radio>,
    /// How the firmware reads the storage voltage.
    pub sense: Sense,
    /// The source and its converter.
    pub harvest: Harvest,
    /// How often to report.
    pub policy: Pacing,
    /// How much to allow for what is not known.
    pub margins: Margins,
    /// What the gate and the overvoltage limit compare with, where it is described; `dividers` alone asks for it.
    pub comparator: Option<Comparator>,
}

/// One kind of capacitor in the storage bank, `series` × `parallel` cells of it. All figures are of one cell.
#[derive(Clone, Debug, PartialEq)]
pub struct Capacitor {
    /// Nominal capacitance of one cell; where it rises with voltage, that at rated voltage.
    pub capacitance: Capacitance,
    /// Rise of one cell's capacitance with its voltage, at least 0; `slope · rated_voltage` is below `capacitance`.
    pub capacitance_slope: CapacitanceSlope,
    /// How far below nominal a delivered part may be, 0 to under 1.
    pub tolerance_low: Ratio,
    /// How far above nominal a delivered part may be, at least 0.
    pub tolerance_high: Ratio,
    /// Largest equivalent series resistance of one cell, new, at room temperature; above 0.
    pub esr: Resistance,
    /// Least series resistance of one cell, 0 to `esr`; 0, as low as can be, when not given.
    pub esr_minimum: Resistance,
    /// Rated voltage of one cell.
    pub rated_voltage: Voltage,
    /// Leakage current of one cell at its rated voltage, soaked, at room temperature.
    pub leakage: Current,
    /// Leakage at the hot end as a fraction of that at room temperature, at least 1, if given.
    pub hot_leakage: Option<Ratio>,
    /// Leakage of a cell that was not yet held at its voltage, as a fraction of that of a soaked one, at least 1, if given.
    pub fresh_leakage: Option<Ratio>,
    /// Cells in series, at least 1.
    pub series: u32,
    /// Strings in parallel, at least 1.
    pub parallel: u32,
    /// Resistor across each cell of a string.
    pub balance_resistor: Option<Resistance>,
    /// Fraction of the capacitance left at the working voltage (ceramics); 1 when not given.
    pub bias_capacitance: Ratio,
    /// Fraction of the capacitance left at the end of life; 1 when not given.
    pub end_of_life_capacitance: Ratio,
    /// Series resistance at the end of life as a fraction of the new one, at least 1.
    pub end_of_life_esr: Ratio,
    /// Fraction of the capacitance left at the cold end; 1 when not given.
    pub cold_capacitance: Ratio,
    /// Series resistance at the cold end as a fraction of that at room temperature, at least 1.
    pub cold_esr: Ratio,
    /// Whether the file says what the cold does to this part: without it nothing is known, which is not the same as no effect.
    pub states_cold: bool,
}

/// What stands between the storage terminal and the load.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// The regulator, or none.
    pub regulator: Regulator,
    /// Comparator that connects the node to storage.
    pub gate: Option<Gate>,
    /// Without a gate: lowest storage voltage at which the node's reset is released, if given; see [`Supply::connects_at`].
    pub starts_at: Option<Voltage>,
}

/// How the rail is made from the storage terminal.
#[derive(Clone, Debug, PartialEq)]
pub enum Regulator {
    /// Storage is the rail.
    Direct {
        /// Lowest storage voltage at which the load works.
        minimum_input: Voltage,
    },
    /// A linear regulator.
    Linear {
        /// Rail voltage.
        rail: Voltage,
        /// Least voltage between terminal and rail at the largest load.
        dropout: Voltage,
        /// Current that the regulator itself draws from the terminal.
        quiescent: Current,
    },
    /// A switching converter.
    Switching {
        /// Rail voltage.
        rail: Voltage,
        /// Storage voltage below which the rail is no longer held.
        minimum_input: Voltage,
        /// Current that the converter itself draws from the terminal.
        quiescent: Current,
        /// Efficiency over load current.
        efficiency: Efficiency,
    },
}

/// Efficiency of a converter over its load current: points with rising current, at least one.
#[derive(Clone, Debug, PartialEq)]
pub struct Efficiency {
    /// Load current and efficiency (above 0, at most 1), in rising order of current.
    pub points: Vec<(Current, Ratio)>,
}

/// Comparator with hysteresis that connects the node to storage.
#[derive(Clone, Debug, PartialEq)]
pub struct Gate {
    /// Storage voltage at which the node is connected.
    pub connect_above: Voltage,
    /// Storage voltage at which it is disconnected.
    pub disconnect_below: Voltage,
    /// Either threshold may be off by this fraction.
    pub tolerance: Ratio,
}

/// Something the node does: phases one after the other, the whole repeated `attempts` times.
#[derive(Clone, Debug, PartialEq)]
pub struct Action {
    /// The phases, in order; at least one.
    pub phases: Vec<Phase>,
    /// How often the phases are run in the worst case (first try and retries); at least 1.
    pub attempts: u32,
}

impl Action {
    /// The same without retries: what happens when the first try succeeds.
    pub fn first_try(&self) -> Self {
        Self {
            attempts: 1,
            ..self.clone()
        }
    }
}

/// A stretch of an action with one current.
#[derive(Clone, Debug, PartialEq)]
pub struct Phase {
    /// Name as the node file has it.
    pub name: String,
    /// Mean current at the rail.
    pub current: Current,
    /// Highest current inside the phase, at the rail: equals `current` unless the phase stands for a stretch
    /// of a measured profile.
    pub peak_current: Current,
    /// How long it lasts.
    pub extent: Extent,
}

/// How long a phase lasts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Extent {
    /// A given time.
    Fixed(Time),
    /// As long as the radio is on the air for one report.
    Airtime,
}

/// The radio's modulation, frame and duty limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Radio {
    /// What goes on the air.
    pub frame: Frame,
    /// Largest fraction of time the transmitter may be on the air, above 0 and at most 1; the user states it
    /// from the local rules.
    pub duty_limit: Option<Ratio>,
}

/// What goes on the air for one attempt.
#[derive(Clone, Debug, PartialEq)]
pub enum Frame {
    /// Chirp spread spectrum.
    Chirp {
        /// 7 to 12.
        spreading_factor: u32,
        /// Bandwidth.
        bandwidth: Frequency,
        /// 1 to 4 for 4/5 to 4/8.
        coding_rate: u32,
        /// Preamble symbols, at least 6.
        preamble_symbols: u32,
        /// Whether the physical header is sent.
        explicit_header: bool,
        /// Whether the payload carries a checksum.
        crc: bool,
        /// Low-data-rate optimisation; `None` means on when a symbol is longer than 16 ms.
        low_data_rate: Option<bool>,
        /// Bytes after the physical header, 0 to 255.
        payload_bytes: u32,
    },
    /// IEEE 802.15.4 at 2.4 GHz, O-QPSK, 250 kb/s.
    Ieee802154 {
        /// The whole MAC frame, frame check included; at most `maximum_frame`.
        payload_bytes: u32,
        /// Largest MAC frame, at most 127.
        maximum_frame: u32,
    },
    /// Bluetooth LE legacy advertising, undirected.
    BleAdvertising {
        /// Bits per second of the physical layer.
        phy: BlePhy,
        /// Advertising data without the 6-byte address, 0 to 31.
        payload_bytes: u32,
        /// Channels used, 1 to 3.
        channels: u32,
        /// Time between the end on one channel and the start on the next.
        gap: Time,
    },
}

/// Physical layer of Bluetooth LE. Legacy advertising exists on 1M alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BlePhy {
    /// 1 Mb/s.
    OneMegabit,
}

/// What the converter compares with what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SenseKind {
    /// The storage voltage, divided, against a fixed reference: the reading rises with storage.
    Divider,
    /// A fixed reference against the supply itself, which is storage: the reading falls as storage rises.
    Reference,
}

/// How the firmware reads the storage voltage.
#[derive(Clone, Debug, PartialEq)]
pub struct Sense {
    /// What is compared with what.
    pub kind: SenseKind,
    /// Resolution of the analogue-to-digital converter, 6 to 16.
    pub bits: u32,
    /// The fixed reference voltage: the input that reads full scale, or with [`SenseKind::Reference`] the input that is read.
    pub reference: Voltage,
    /// The reference may be off by this fraction.
    pub reference_tolerance: Ratio,
    /// Resistor from the terminal to the converter's input; 0 when there is no divider.
    pub divider_top: Resistance,
    /// Resistor from the converter's input to ground.
    pub divider_bottom: Resistance,
    /// Each resistor may be off by this fraction.
    pub divider_tolerance: Ratio,
    /// Whether the divider carries current only while a reading is taken; `true` where there is no divider.
    pub divider_switched: bool,
    /// Capacitance that the input charges for each sample, if given.
    pub sampling_capacitor: Option<Capacitance>,
    /// How long the input is connected for each sample, if given.
    pub sampling_time: Option<Time>,
    /// Largest current into or out of the input; 0 when not given.
    pub input_leakage: Current,
}

/// A comparator: what any of them has, whatever its name. One description serves the gate and the overvoltage limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparator {
    /// Voltage that the input is compared with.
    pub reference: Voltage,
    /// The reference may be off by this fraction.
    pub reference_tolerance: Ratio,
    /// Either trip point may stand this far from where it should, up or down.
    pub offset: Voltage,
    /// The comparator's own hysteresis at its input: half of it above the reference, half below.
    pub hysteresis: Voltage,
    /// Largest current into or out of the input.
    pub input_bias_current: Current,
    /// Output when low.
    pub output_low: Voltage,
    /// Output when high; `None` when it follows storage, from which the comparator is supplied.
    pub output_high: Option<Voltage>,
    /// How the gate gets its two thresholds.
    pub gate_circuit: GateCircuit,
}

/// How a gate gets two thresholds from one reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GateCircuit {
    /// A pair of resistors, and a third from the output back to the input.
    Feedback,
    /// A string of three; the lower tap connects, the upper one disconnects.
    TwoTaps,
    /// A pair; the thresholds are as far apart as the comparator's own hysteresis makes them.
    Pair,
}

/// The source and its harvesting converter.
#[derive(Clone, Debug, PartialEq)]
pub struct Harvest {
    /// Where the power comes from.
    pub source: Source,
    /// Fraction of the offered power that reaches storage.
    pub converter_efficiency: Ratio,
    /// Charging stops at this terminal voltage.
    pub overvoltage: Voltage,
    /// Largest current that the converter pushes into storage.
    pub maximum_current: Current,
    /// Below this terminal voltage the cold-start efficiency holds.
    pub cold_start: Voltage,
    /// Fraction of the offered power that reaches storage below `cold_start`.
    pub cold_start_efficiency: Ratio,
}

impl Harvest {
    /// What of the `offered` power reaches storage at this terminal voltage, above the cold start: after the converter's efficiency, and
    /// no more than its largest current carries (W).
    ///
    /// ```
    /// use millpond_node::node::Node;
    /// use millpond_numbers::units::*;
    /// let node = Node::read(millpond_templates::nodes::PUMP_BEARING)?;
    /// let reaches = node.harvest.at_storage(watts(1e-3), volts(3.6));
    /// assert_eq!(reaches, watts(1e-3) * node.harvest.converter_efficiency);
    /// let most = node.harvest.maximum_current * volts(3.6);
    /// assert_eq!(node.harvest.at_storage(watts(1.0), volts(3.6)), most);
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn at_storage(&self, offered: Power, terminal: Voltage) -> Power {
        (offered * self.converter_efficiency).min(self.maximum_current * terminal)
    }
}

/// Where the power comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// The same power at all times.
    Constant {
        /// Power offered to the converter.
        power: Power,
    },
    /// A solar module outdoors.
    Photovoltaic {
        /// Module area.
        area: Area,
        /// Module efficiency.
        efficiency: Ratio,
        /// Where it stands.
        site: Site,
    },
    /// A solar cell indoors, under a weekly schedule of light.
    Indoor {
        /// Cell area.
        area: Area,
        /// Electrical power density over illuminance, in rising order of illuminance.
        power_density: Vec<(Illuminance, PowerDensity)>,
        /// Time of day from which each illuminance holds, in rising order; the last one runs to the first.
        schedule: Vec<(Time, Illuminance)>,
        /// Days on which it stays dark, Monday = 0.
        closed_days: Vec<u32>,
    },
    /// A recorded trace, given to the simulation.
    Trace,
}

/// Where a solar module stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Site {
    /// Degrees north, −90 to 90.
    pub latitude_deg: f64,
    /// Degrees east, −180 to 180.
    pub longitude_deg: f64,
    /// Fraction of the unshaded horizontal irradiance that reaches the module; 1 when not given.
    pub shade: Ratio,
}

/// How often to report, and what waits until then.
#[derive(Clone, Debug, PartialEq)]
pub struct Pacing {
    /// Least time between reports.
    pub fastest: Time,
    /// Longest time aimed at between reports.
    pub slowest: Time,
    /// What decides between the two.
    pub pace: Pace,
    /// Stored energy is spread over this long without harvest.
    pub dark_horizon: Time,
    /// Sleep that must stay affordable after any action.
    pub reserve: Time,
    /// Samples in one report, 1 to 255.
    pub batch: u32,
    /// Samples that can wait, `batch` to 255.
    pub backlog: u32,
    /// What gives way when the backlog is full.
    pub when_full: WhenFull,
    /// How much higher an action resumes after it was refused; chosen by the generator when not given.
    pub hysteresis: Option<Voltage>,
}

/// What decides how long to wait where storage allows more than one action.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// A table over the storage voltage: what is stored above the reserve, spread evenly over `dark_horizon`. Needs no clock.
    Even,
    /// Plans over two days on what each slot of the day brought before. Needs a clock that runs.
    Planned,
}

impl Pace {
    /// Its word, in node files, on the command line and in what is printed.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Even => "even",
            Self::Planned => "planned",
        }
    }
}

/// What gives way when the backlog is full.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhenFull {
    /// The oldest sample is dropped.
    KeepNewest,
    /// The new sample is dropped.
    KeepOldest,
    /// Every second sample is dropped, then every second new one, and so on.
    ThinEvenly,
}

/// How much to allow for what is not known.
#[derive(Clone, Debug, PartialEq)]
pub struct Margins {
    /// How sensing errors add up.
    pub stack: Stack,
    /// Cold end of the temperature range, if given.
    pub temperature_min: Option<Temperature>,
    /// Hot end of the temperature range, if given.
    pub temperature_max: Option<Temperature>,
    /// Every current of the node may be higher by this fraction.
    pub load: Ratio,
    /// Added last.
    pub extra: Voltage,
}

/// How independent errors add up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stack {
    /// All at their worst at once.
    WorstCase,
    /// Squared, summed, rooted.
    RootSumSquare,
}

/// One of the example nodes, for tests.
///
/// # Panics
///
/// If there is none of that name.
#[cfg(any(test, feature = "testkit"))]
pub fn example(name: &str) -> Node {
    let (_, text) = millpond_templates::nodes::ALL
        .into_iter()
        .find(|(of, _)| *of == name)
        .expect("an example of that name");
    Node::read(text).expect("the examples are valid")
}
