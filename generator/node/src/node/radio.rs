//! Reads `[transmit.radio]`: modulation, frame and duty limit.

use super::limit::Limit;
use super::missing::RADIO_KEYS;
use super::table::Table;
use super::{BlePhy, Frame, Radio};
use crate::problem::Problem;
use crate::units::*;

/// Largest chirp payload: its length field has eight bits.
const MOST_CHIRP_BYTES: u32 = 255;

/// Largest MAC frame: aMaxPhyPacketSize of IEEE 802.15.4.
const MOST_IEEE802154_BYTES: u32 = 127;

/// Largest legacy advertising data: Bluetooth Core Specification, volume 6, part B, 2.3.1.
const MOST_ADVERTISING_BYTES: u32 = 31;

/// Widest channel that a chirp radio of a small node uses is under 2 MHz.
const MOST_BANDWIDTH_HZ: f64 = 1e7;

/// Preamble counters have sixteen bits.
const MOST_PREAMBLE_SYMBOLS: u32 = 65_535;

/// Longest time between two channels of one advertising event.
const LONGEST_GAP_S: f64 = 0.01;

#[derive(Clone, Copy)]
enum Modulation {
    Chirp,
    Ieee802154,
    BleAdvertising,
}

/// Reads the radio.
pub(super) fn read(mut table: Table<'_>) -> Option<Radio> {
    let modulations = [
        ("chirp", Modulation::Chirp),
        ("ieee802154", Modulation::Ieee802154),
        ("ble_advertising", Modulation::BleAdvertising),
    ];
    let modulation = table.choice("modulation", &modulations, None);
    let duty_stands = table.has("duty_limit");
    let duty_limit = table.optional::<Ratio>("duty_limit", "1 %", Limit::PART);
    let frame = match modulation.map(|given| given.value) {
        None => {
            // Which keys belong is not known; none of them is called unknown.
            RADIO_KEYS.iter().for_each(|key| table.know(key));
            None
        }
        Some(Modulation::Chirp) => read_chirp(&mut table),
        Some(Modulation::Ieee802154) => read_ieee802154(&mut table),
        Some(Modulation::BleAdvertising) => read_ble(&mut table),
    };
    table.finish();
    if duty_stands && duty_limit.is_none() {
        return None;
    }
    Some(Radio {
        frame: frame?,
        duty_limit: duty_limit.map(|given| given.value),
    })
}

fn read_chirp(table: &mut Table<'_>) -> Option<Frame> {
    let spreading_factor = read_spreading_factor(table);
    let bandwidth =
        table.required::<Frequency>("bandwidth", "125 kHz", Limit::POSITIVE.up_to(MOST_BANDWIDTH_HZ));
    let coding_rates = [("4/5", 1), ("4/6", 2), ("4/7", 3), ("4/8", 4)];
    let coding_rate = table.choice("coding_rate", &coding_rates, None);
    let preamble_symbols = table.or("preamble_symbols", "8", 6..=MOST_PREAMBLE_SYMBOLS, 8);
    let explicit_header = table.or("explicit_header", "true", (), true);
    let crc = table.or("crc", "true", (), true);
    let low_data_rate = table.optional::<bool>("low_data_rate", "true", ());
    let payload_bytes = table.required::<u32>("payload_bytes", "21", 0..=MOST_CHIRP_BYTES);
    Some(Frame::Chirp {
        spreading_factor: spreading_factor?,
        bandwidth: bandwidth?.value,
        coding_rate: coding_rate?.value,
        preamble_symbols: preamble_symbols?,
        explicit_header: explicit_header?,
        crc: crc?,
        low_data_rate: low_data_rate.map(|given| given.value),
        payload_bytes: payload_bytes?.value,
    })
}

fn read_spreading_factor(table: &mut Table<'_>) -> Option<u32> {
    let written = table.peek("spreading_factor");
    let short = written.filter(|value| {
        value
            .get_ref()
            .as_integer()
            .is_some_and(|n| matches!(n.as_str(), "5" | "6"))
    });
    let Some(value) = short else {
        return table
            .required::<u32>("spreading_factor", "9", 7..=12)
            .map(|given| given.value);
    };
    table.know("spreading_factor");
    table.note(
        &value.span(),
        "spreading factors 5 and 6 are not covered",
        "7 to 12",
        "their frame is laid out differently, so its airtime would come out wrong: use 7, or give the sending \
         phase a measured `duration` in place of `airtime`",
    );
    None
}

fn read_ieee802154(table: &mut Table<'_>) -> Option<Frame> {
    let payload_bytes = table.required::<u32>("payload_bytes", "64", 1..=MOST_IEEE802154_BYTES);
    let most = table.optional::<u32>("maximum_frame", "127", 1..=MOST_IEEE802154_BYTES);
    let payload_bytes = payload_bytes?;
    let maximum_frame = most.as_ref().map_or(MOST_IEEE802154_BYTES, |given| given.value);
    if payload_bytes.value > maximum_frame {
        let mut problem = Problem::new(
            payload_bytes.span.clone(),
            "`payload_bytes` is more than a frame carries",
            format!("at most {maximum_frame}, the whole MAC frame with its check"),
            "shorten the report, or part it over two frames and describe the sending twice in `phases`",
        );
        if let Some(most) = &most {
            problem = problem.with(&most.span, "largest frame");
        }
        table.log().note(problem);
        return None;
    }
    Some(Frame::Ieee802154 {
        payload_bytes: payload_bytes.value,
        maximum_frame,
    })
}

fn read_ble(table: &mut Table<'_>) -> Option<Frame> {
    let phy = table.choice("phy", &[("1M", BlePhy::OneMegabit)], Some(BlePhy::OneMegabit));
    let payload_bytes = table.required::<u32>("payload_bytes", "24", 0..=MOST_ADVERTISING_BYTES);
    let channels = table.or("channels", "3", 1..=3, 3);
    let gap = table.required::<Time>("gap", "400 us", Limit::NOT_NEGATIVE.up_to(LONGEST_GAP_S));
    Some(Frame::BleAdvertising {
        phy: phy?.value,
        payload_bytes: payload_bytes?.value,
        channels: channels?,
        gap: gap?.value,
    })
}
