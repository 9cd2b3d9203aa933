//! The memory of the QSFP family by SFF-8636: the lower page and the upper pages 00h and 03h.
//!
//! Offsets are those of the tables of the lower page, of upper page 00h (128 to 255) and of upper
//! page 03h. Meanings of numbers are in `codes.rs` and `readings.rs`.

use super::codes::{Code, Connector, Identifier, Medium};
use super::page::Page;
use super::readings::{
    Alarm, Calibration, Lane, Power, Quantity, Readings, ThresholdsAt, flags_of, thresholds,
};
use super::sfp::{length, note_open_lengths};
use super::{Identity, Length, Module, date, wrong_length};
use crate::problem::Problem;

/// Where the thresholds stand in upper page 03h, from its start (bytes 128, 144, 176, 184, 192).
const THRESHOLDS: ThresholdsAt = ThresholdsAt {
    temperature: 0,
    supply: 16,
    received: 48,
    bias: 56,
    sent: 64,
};

/// Where page 03h begins in a dump of 640 bytes: after the lower page and 00h, 01h and 02h.
const PAGE_03: usize = 512;

/// Bits of byte 131, "10/40G/100G Ethernet Compliance Codes"; bits 7 and 0 are codes of their own.
const ETHERNET: [(u8, &str); 6] = [
    (6, "10GBASE-LRM"),
    (5, "10GBASE-LR"),
    (4, "10GBASE-SR"),
    (3, "40GBASE-CR4"),
    (2, "40GBASE-SR4"),
    (1, "40GBASE-LR4"),
];

/// Bits of byte 134, "Gigabit Ethernet Compliance Codes".
const GIGABIT: [(u8, &str); 4] = [
    (3, "1000BASE-T"),
    (2, "1000BASE-CX"),
    (1, "1000BASE-LX"),
    (0, "1000BASE-SX"),
];

/// Reads the lower page and upper page 00h, and 03h where it is there.
///
/// # Errors
/// A length that is neither 256 nor 640 bytes.
pub(super) fn read(bytes: &[u8]) -> Result<Module, Problem> {
    if !matches!(bytes.len(), 256 | 640) {
        let known = "256 bytes (lower page and upper page 00h), or 640 (with 01h, 02h and 03h)";
        return Err(wrong_length("a QSFP", bytes.len(), known));
    }
    let mut notes = Vec::new();
    let memory = Page(&bytes[..256]);
    let page_03 = bytes
        .get(PAGE_03..)
        .filter(|page| page.len() == 128)
        .map(Page);
    // Byte 128 repeats the identifier.
    if memory.byte(128) != memory.byte(0) {
        notes.push(format!(
            "its upper page has another identifier, {:02X}h; the pages may not belong together",
            memory.byte(128)
        ));
    }
    let identity = identity(memory, &mut notes);
    let readings = readings(memory, page_03, &mut notes);
    Ok(Module {
        identity,
        readings,
        n_bytes: bytes.len(),
        notes,
    })
}

fn identity(memory: Page<'_>, notes: &mut Vec<String>) -> Identity {
    let connector = Connector::of(memory.byte(130));
    Identity {
        identifier: Identifier::of(memory.byte(0)),
        connector,
        codes: codes(memory),
        bit_rate: bit_rate(memory),
        wavelength: wavelength(memory),
        lengths: lengths(memory, connector, notes),
        vendor: memory.text(148, 16),
        part: memory.text(168, 16),
        revision: memory.text(184, 2),
        serial: memory.text(196, 16),
        made: date(memory, 212),
        base_sum: memory.sum(128, 191),
        extended_sum: memory.sum(192, 223),
    }
}

/// Bytes 131, 134 and 192, which counts where byte 131 bit 7 is set.
fn codes(memory: Page<'_>) -> Vec<Code> {
    let named = |at: usize, bits: &[(u8, &'static str)]| {
        let set = bits.iter().filter(|(bit, _)| memory.bit(at, *bit));
        set.map(|(_, name)| Code::Named(name)).collect::<Vec<_>>()
    };
    let mut codes = named(131, &ETHERNET);
    if memory.bit(131, 0) {
        codes.push(Code::Active40 {
            copper: is_copper(memory),
        });
    }
    codes.extend(named(134, &GIGABIT));
    let extended = memory.byte(192);
    if memory.bit(131, 7) && extended != 0 {
        codes.push(Code::Extended(extended));
    }
    codes
}

/// Byte 147 bits 7 to 4, "Transmitter Technology": Ah to Fh are copper cables.
fn is_copper(memory: Page<'_>) -> bool {
    memory.byte(147) >> 4 >= 0xa
}

/// Byte 140 in units of 100 MBd; FFh says that byte 222 has it in units of 250 MBd (from memory).
fn bit_rate(memory: Page<'_>) -> Option<f64> {
    match memory.byte(140) {
        0 => None,
        0xff => Some(f64::from(memory.byte(222)) / 4.0).filter(|rate| *rate > 0.0),
        rate => Some(f64::from(rate) / 10.0),
    }
}

/// Bytes 186 and 187 in units of 0.05 nm; for copper they hold attenuations.
fn wavelength(memory: Page<'_>) -> Option<f64> {
    let steps = memory.word(186);
    (steps != 0 && !is_copper(memory)).then(|| f64::from(steps) / 20.0)
}

/// Bytes 142 to 146. Byte 146 is the length of a cable in m; for separable optics of 850 nm it is
/// OM4 in units of 2 m (from memory).
fn lengths(memory: Page<'_>, connector: Connector, notes: &mut Vec<String>) -> Vec<Length> {
    let is_vcsel = memory.byte(147) >> 4 == 0;
    let last = match is_vcsel && !connector.is_fixed() {
        true => (146, Medium::Om4, 2.0),
        false => (146, Medium::Cable, 1.0),
    };
    let all = [
        (142, Medium::SingleMode, 1000.0),
        (145, Medium::Om1, 1.0),
        (144, Medium::Om2, 1.0),
        (143, Medium::Om3, 2.0),
        last,
    ];
    let read = |(at, medium, unit)| length(memory.byte(at), medium, unit);
    let lengths: Vec<Length> = all.into_iter().filter_map(read).collect();
    note_open_lengths(&lengths, notes);
    lengths
}

/// Bytes 22 to 57 of the lower page; SFF-8636 readings are always finished numbers.
fn readings(
    memory: Page<'_>,
    page_03: Option<Page<'_>>,
    notes: &mut Vec<String>,
) -> Option<Readings> {
    // Byte 2 bit 0: the first readings are not there yet.
    if memory.bit(2, 0) {
        notes.push("it had no readings yet when it was read".to_owned());
        return None;
    }
    if is_copper(memory) {
        return None;
    }
    let temperature = memory.word(22);
    let supply = memory.word(26);
    // Nothing runs at 0 V: such a module does not monitor itself.
    if temperature == 0 && supply == 0 {
        return None;
    }
    let by = Calibration::Internal;
    Some(Readings {
        is_average: memory.bit(220, 3),
        temperature: Some(by.temperature(temperature)),
        supply: Some(by.supply(supply)),
        lanes: (0..4).map(|lane| lane_of(memory, lane)).collect(),
        thresholds: limits(memory, page_03, notes),
        flags: flags(memory),
        calibration: by,
    })
}

/// The readings of a lane from 0: light received at 34, bias at 42, light sent at 50; byte 220
/// bit 2 says whether light sent is read.
fn lane_of(memory: Page<'_>, lane: usize) -> Lane {
    let steps = |at: usize| f64::from(memory.word(at + 2 * lane));
    Lane {
        bias: Some(steps(42) / 500.0),
        sent: memory.bit(220, 2).then(|| Power::of_steps(steps(50))),
        received: Some(Power::of_steps(steps(34))),
    }
}

fn limits(
    memory: Page<'_>,
    page_03: Option<Page<'_>>,
    notes: &mut Vec<String>,
) -> Option<super::Thresholds> {
    let page = page_03?;
    // Byte 2 bit 2: the memory is flat, so what was read as page 03h is page 00h again.
    if memory.bit(2, 2) {
        notes.push("it has no page 03h, so its thresholds are not read".to_owned());
        return None;
    }
    Some(thresholds(page, THRESHOLDS, &Calibration::Internal))
}

/// Bytes 6, 7 and 9 to 14: four bits for each quantity and lane, odd lanes in the upper half.
fn flags(memory: Page<'_>) -> Vec<Alarm> {
    let mut all = flags_of(memory.byte(6) >> 4, Quantity::Temperature, None);
    all.extend(flags_of(memory.byte(7) >> 4, Quantity::Supply, None));
    for (quantity, at) in [
        (Quantity::Received, 9),
        (Quantity::Bias, 11),
        (Quantity::Sent, 13),
    ] {
        for (lane, (next, shift)) in [(0, 4), (0, 0), (1, 4), (1, 0)].into_iter().enumerate() {
            let bits = memory.byte(at + next) >> shift & 0xf;
            all.extend(flags_of(bits, quantity, u8::try_from(lane + 1).ok()));
        }
    }
    all
}
