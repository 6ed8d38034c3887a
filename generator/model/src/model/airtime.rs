//! How long a frame is on the air, from the modulation's own symbol count.
//!
//! Symbols and bytes are counted in integers; one multiplication by the symbol time makes seconds of them.
//! A payload is always what follows the physical header: addresses, counters and checks of the layers above
//! are part of it.

use crate::node::{Extent, Frame, Phase, Radio};
use crate::units::*;

/// Low-data-rate optimisation is on for symbols longer than this [ms] (chirp modem data sheet, "Time on
/// air").
const LONG_SYMBOL_MS: f64 = 16.0;
/// Quarters of a symbol that a chirp preamble lasts beyond its programmed symbols: 4.25 symbols of sync word
/// and start of frame.
const SYNC_QUARTERS: u32 = 17;
/// Symbols of a chirp frame's first block, which is always sent.
const FIRST_BLOCK_SYMBOLS: u32 = 8;
/// Preamble (4), delimiter (1) and length (1) before the MAC frame of IEEE 802.15.4 [bytes].
const IEEE802154_OVERHEAD_BYTES: u32 = 6;
/// One byte is two symbols of 16 us (IEEE 802.15.4, O-QPSK at 2.4 GHz, 62.5 ksymbol/s) [us].
const IEEE802154_BYTE_US: u32 = 32;
/// aTurnaroundTime: 12 symbols of 16 us between the end of a frame and its acknowledgement [us].
const IEEE802154_TURNAROUND_US: u32 = 192;
/// Frame control (2), sequence number (1), frame check (2): an acknowledgement's MAC frame [bytes].
const ACKNOWLEDGEMENT_BYTES: u32 = 5;
/// Preamble (1), access address (4), header (2), advertiser's address (6), check (3) of a legacy advertising
/// packet on 1M (Bluetooth Core Specification, volume 6, part B, sections 2.1 and 2.3) [bytes].
const BLE_OVERHEAD_BYTES: u32 = 16;
/// One byte at 1 Mb/s [us].
const BLE_BYTE_US: u32 = 8;
/// Microseconds in a second.
const US_PER_S: f64 = 1e6;

/// How long one attempt to send a frame keeps the transmitter on, and how long the attempt is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Airtime {
    /// Transmitter on, all channels of one attempt together (s): what a duty limit counts.
    pub on_air: Time,
    /// From the first to the last bit, gaps between channels included (s): what the store has to carry.
    pub extent: Time,
}

impl Airtime {
    /// One attempt to send `frame`.
    ///
    /// The fields must lie in the ranges that they document, which [`crate::node::Node`] promises.
    ///
    /// - Chirp spread spectrum, spreading factor 7 to 12, with the symbol time 2^SF / bandwidth (chirp modem
    ///   data sheet, "Time on air"; the same in "Modem Designer's Guide"):
    ///   - preamble and sync word, `preamble + 4.25` symbols;
    ///   - payload, `8 + max(⌈(8·PL − 4·SF + 28 + 16·CRC − 20·IH) / (4·(SF − 2·DE))⌉·(CR + 4), 0)` symbols.
    /// - IEEE 802.15.4: (6 + MAC frame) bytes of 32 us.
    /// - Bluetooth LE legacy advertising on 1M: (16 + data) bytes of 8 us on each channel, and a gap between
    ///   channels.
    ///
    /// ```
    /// use millpond_model::model::airtime::Airtime;
    /// use millpond_node::node::Frame;
    /// use millpond_numbers::units::*;
    /// let frame = Frame::Ieee802154 { payload_bytes: 127, maximum_frame: 127 };
    /// // 133 bytes of 32 us
    /// assert!((Airtime::of(&frame).on_air - seconds(4.256e-3)).abs() < seconds(1e-12));
    /// ```
    pub fn of(frame: &Frame) -> Self {
        match frame {
            Frame::Chirp {
                spreading_factor,
                bandwidth,
                coding_rate,
                preamble_symbols,
                explicit_header,
                crc,
                low_data_rate,
                payload_bytes,
            } => {
                let chips = 1u32 << spreading_factor;
                let bandwidth_hz = bandwidth.get::<hertz>();
                // Whole numbers on both sides: a symbol of exactly 16 ms is not longer than 16 ms.
                let optimised =
                    low_data_rate.unwrap_or(f64::from(chips) * 1e3 > LONG_SYMBOL_MS * bandwidth_hz);
                let payload = Chirps {
                    spreading_factor: *spreading_factor,
                    coding_rate: *coding_rate,
                    explicit_header: *explicit_header,
                    crc: *crc,
                    optimised,
                    payload_bytes: *payload_bytes,
                }
                .count();
                let quarters = 4 * (preamble_symbols + payload) + SYNC_QUARTERS;
                Self::unbroken(seconds(
                    f64::from(quarters) * f64::from(chips) / (4.0 * bandwidth_hz),
                ))
            }
            Frame::Ieee802154 { payload_bytes, .. } => Self::unbroken(ieee802154(*payload_bytes)),
            Frame::BleAdvertising {
                payload_bytes,
                channels,
                gap,
                ..
            } => {
                let on_air = microseconds(channels * (BLE_OVERHEAD_BYTES + payload_bytes) * BLE_BYTE_US);
                Self {
                    on_air,
                    extent: on_air + *gap * f64::from(channels.saturating_sub(1)),
                }
            }
        }
    }

    /// How long `phase` lasts in one attempt, and for how much of it the transmitter is on.
    ///
    /// # Panics
    ///
    /// If the phase is timed by airtime and `radio` is `None`, which a checked [`crate::node::Node`] never has.
    pub fn of_phase(phase: &Phase, radio: Option<&Radio>) -> Self {
        match phase.extent {
            Extent::Fixed(extent) => Self {
                on_air: seconds(0.0),
                extent,
            },
            Extent::Airtime => {
                let radio = radio.expect("a node with a phase timed by airtime has a radio");
                Self::of(&radio.frame)
            }
        }
    }

    /// One transmission without gaps.
    fn unbroken(time: Time) -> Self {
        Self {
            on_air: time,
            extent: time,
        }
    }
}

/// What sets the number of symbols after a chirp preamble.
struct Chirps {
    spreading_factor: u32,
    coding_rate: u32,
    explicit_header: bool,
    crc: bool,
    optimised: bool,
    payload_bytes: u32,
}

impl Chirps {
    /// Symbols after the preamble.
    fn count(&self) -> u32 {
        let sent_bits = 8 * self.payload_bytes + 28 + 16 * u32::from(self.crc);
        let in_first_block = 4 * self.spreading_factor + 20 * u32::from(!self.explicit_header);
        let block_bits = 4 * (self.spreading_factor - 2 * u32::from(self.optimised));
        let blocks = sent_bits.saturating_sub(in_first_block).div_ceil(block_bits);
        FIRST_BLOCK_SYMBOLS + blocks * (self.coding_rate + 4)
    }
}

/// From the end of an IEEE 802.15.4 frame at 2.4 GHz to the end of its acknowledgement: how long a sender
/// listens at best. 192 us turnaround, then 11 bytes of 32 us (IEEE 802.15.4, aTurnaroundTime and the
/// acknowledgement frame).
///
/// ```
/// use millpond_model::model::airtime::acknowledgement;
/// use millpond_numbers::units::*;
/// assert!((acknowledgement() - seconds(544e-6)).abs() < seconds(1e-12));
/// ```
pub fn acknowledgement() -> Time {
    microseconds(IEEE802154_TURNAROUND_US) + ieee802154(ACKNOWLEDGEMENT_BYTES)
}

/// Time on the air of a MAC frame of `bytes`.
fn ieee802154(bytes: u32) -> Time {
    microseconds((IEEE802154_OVERHEAD_BYTES + bytes) * IEEE802154_BYTE_US)
}

/// Divided, not multiplied by 1e-6, which no double holds exactly.
fn microseconds(count: u32) -> Time {
    seconds(f64::from(count) / US_PER_S)
}

#[cfg(test)]
mod tests;
