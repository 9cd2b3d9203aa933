//! The memory of the SFP family by SFF-8472: A0h says what it is, A2h what it reads of itself.
//!
//! Offsets are those of the tables "Serial ID: Data Fields" (A0h) and "Diagnostic Data Fields"
//! (A2h). Meanings of numbers are in `codes.rs` and `readings.rs`.

use super::codes::{Code, Connector, Identifier, Medium};
use super::page::Page;
use super::readings::{
    Alarm, Calibration, Lane, Quantity, Readings, ThresholdsAt, flags_of, thresholds,
};
use super::{Identity, Length, Module, date, wrong_length};
use crate::problem::Problem;

/// Where the thresholds stand in A2h, bytes 0 to 39.
const THRESHOLDS: ThresholdsAt = ThresholdsAt {
    temperature: 0,
    supply: 8,
    bias: 16,
    sent: 24,
    received: 32,
};

/// Bits of byte 3, "10G Ethernet Compliance Codes".
const TEN_GIGABIT: [(u8, &str); 4] = [
    (7, "10GBASE-ER"),
    (6, "10GBASE-LRM"),
    (5, "10GBASE-LR"),
    (4, "10GBASE-SR"),
];

/// Bits of byte 6, "Ethernet Compliance Codes"; bit 6 is a code of its own.
const GIGABIT: [(u8, &str); 7] = [
    (7, "BASE-PX"),
    (5, "100BASE-FX"),
    (4, "100BASE-LX10"),
    (3, "1000BASE-T"),
    (2, "1000BASE-CX"),
    (1, "1000BASE-LX"),
    (0, "1000BASE-SX"),
];

/// Reads A0h, and A2h where it is there.
///
/// # Errors
/// A length that is neither 128, 256 nor 512 bytes.
pub(super) fn read(bytes: &[u8]) -> Result<Module, Problem> {
    let (a0, a2) = match bytes.len() {
        128 | 256 => (bytes, None),
        512 => (&bytes[..256], Some(&bytes[256..])),
        other => {
            let known = "128 or 256 bytes (A0h), or 512 (A0h and A2h)";
            return Err(wrong_length("an SFP", other, known));
        }
    };
    let mut notes = Vec::new();
    let a0 = Page(a0);
    let identity = identity(a0, &mut notes);
    let readings = match a2 {
        Some(a2) => readings(a0, Page(a2), &mut notes),
        None => {
            if is_monitored(a0) {
                notes.push("the dump has no A2h, so there are no readings".to_owned());
            }
            None
        }
    };
    Ok(Module {
        identity,
        readings,
        n_bytes: bytes.len(),
        notes,
    })
}

fn identity(a0: Page<'_>, notes: &mut Vec<String>) -> Identity {
    let codes = codes(a0);
    let is_cable = codes.contains(&Code::PassiveCable) || codes.contains(&Code::ActiveCable);
    let connector = Connector::of(a0.byte(2));
    Identity {
        identifier: Identifier::of(a0.byte(0)),
        connector,
        bit_rate: bit_rate(a0),
        wavelength: wavelength(a0, is_cable),
        lengths: lengths(a0, is_cable || connector == Connector::CopperPigtail, notes),
        codes,
        vendor: a0.text(20, 16),
        part: a0.text(40, 16),
        revision: a0.text(56, 4),
        serial: a0.text(68, 16),
        made: date(a0, 84),
        base_sum: a0.sum(0, 63),
        extended_sum: a0.sum(64, 95),
    }
}

/// Bytes 3, 6, 8 and 36, table "Transceiver Compliance Codes".
fn codes(a0: Page<'_>) -> Vec<Code> {
    let named = |at: usize, bits: &[(u8, &'static str)]| {
        let set = bits.iter().filter(|(bit, _)| a0.bit(at, *bit));
        set.map(|(_, name)| Code::Named(name)).collect::<Vec<_>>()
    };
    let mut codes = named(3, &TEN_GIGABIT);
    codes.extend(named(6, &GIGABIT));
    for (at, bit, code) in [
        (6, 6, Code::Bx10),
        (8, 2, Code::PassiveCable),
        (8, 3, Code::ActiveCable),
    ] {
        codes.extend(a0.bit(at, bit).then_some(code));
    }
    let extended = a0.byte(36);
    codes.extend((extended != 0).then_some(Code::Extended(extended)));
    codes
}

/// Byte 12 in units of 100 MBd; FFh says that byte 66 has it in units of 250 MBd (from
/// memory).
fn bit_rate(a0: Page<'_>) -> Option<f64> {
    match a0.byte(12) {
        0 => None,
        0xff => Some(f64::from(a0.byte(66)) / 4.0).filter(|rate| *rate > 0.0),
        rate => Some(f64::from(rate) / 10.0),
    }
}

/// Bytes 60 and 61 in nm; for cable assemblies they hold something else.
fn wavelength(a0: Page<'_>, is_cable: bool) -> Option<f64> {
    let nanometres = a0.word(60);
    (nanometres != 0 && !is_cable).then(|| f64::from(nanometres))
}

/// Bytes 14 to 19. Byte 18 is OM4, or for cables and copper the length of the cable (from memory).
fn lengths(a0: Page<'_>, is_cable: bool, notes: &mut Vec<String>) -> Vec<Length> {
    let kilometres = (14, Medium::SingleMode, 1000.0);
    let hundreds = (15, Medium::SingleMode, 100.0);
    // The finer of the two holds unless it has come to its end.
    let single = match a0.byte(15) {
        0 | 0xff => kilometres,
        _ => hundreds,
    };
    let eighteen = match is_cable {
        true => (18, Medium::Cable, 1.0),
        false => (18, Medium::Om4, 10.0),
    };
    let all = [
        single,
        (17, Medium::Om1, 10.0),
        (16, Medium::Om2, 10.0),
        (19, Medium::Om3, 10.0),
        eighteen,
    ];
    let lengths = all
        .into_iter()
        .filter_map(|(at, medium, unit)| length(a0.byte(at), medium, unit));
    let lengths: Vec<Length> = lengths.collect();
    note_open_lengths(&lengths, notes);
    lengths
}

/// A length code: 0 says nothing, FFh says more than 254 units.
pub(super) fn length(code: u8, medium: Medium, unit: f64) -> Option<Length> {
    (code != 0).then(|| Length {
        medium,
        metres: f64::from(code.min(254)) * unit,
        or_more: code == 0xff,
    })
}

/// Says which lengths are open upward.
pub(super) fn note_open_lengths(lengths: &[Length], notes: &mut Vec<String>) {
    for length in lengths.iter().filter(|length| length.or_more) {
        let (medium, metres) = (length.medium.name(), length.metres);
        notes.push(format!(
            "its length on {medium} is given as more than {metres} m"
        ));
    }
}

/// Byte 92 bit 6: diagnostics are there.
fn is_monitored(a0: Page<'_>) -> bool {
    a0.bit(92, 6)
}

/// Bytes 96 to 105 of A2h, by byte 92 of A0h.
fn readings(a0: Page<'_>, a2: Page<'_>, notes: &mut Vec<String>) -> Option<Readings> {
    if !is_monitored(a0) {
        notes.push("the module says that it does not monitor itself; A2h is not read".to_owned());
        return None;
    }
    // Bit 2: the bus has to be switched to another address mode first, so what was read is A0h.
    if a0.bit(92, 2) {
        notes.push("its readings need a change of address mode, so they are not read".to_owned());
        return None;
    }
    let calibration = match (a0.bit(92, 5), a0.bit(92, 4)) {
        (true, _) => Calibration::Internal,
        (false, true) => Calibration::external(a2),
        (false, false) => {
            notes.push(
                "it does not say how its readings are calibrated; they are left out".to_owned(),
            );
            return None;
        }
    };
    // Byte 95 of A2h is the check code over bytes 0 to 94.
    if !a2.sum(0, 95).matches() {
        notes.push("the checksum of the diagnostic page does not match".to_owned());
    }
    let lane = Lane {
        bias: Some(calibration.bias(a2.word(100))),
        sent: Some(calibration.sent(a2.word(102))),
        received: calibration.received(a2.word(104)),
    };
    if lane.received.is_none() {
        notes.push("its constants give no number for the light received".to_owned());
    }
    Some(Readings {
        is_average: a0.bit(92, 3),
        temperature: Some(calibration.temperature(a2.word(96))),
        supply: Some(calibration.supply(a2.word(98))),
        lanes: vec![lane],
        thresholds: Some(thresholds(a2, THRESHOLDS, &calibration)),
        flags: flags(a0, a2),
        calibration,
    })
}

/// Bytes 112, 113, 116 and 117 of A2h, where byte 93 bit 7 of A0h says that they are kept.
fn flags(a0: Page<'_>, a2: Page<'_>) -> Vec<Alarm> {
    if !a0.bit(93, 7) {
        return Vec::new();
    }
    let order = [
        (Quantity::Temperature, 0, 6),
        (Quantity::Supply, 0, 4),
        (Quantity::Bias, 0, 2),
        (Quantity::Sent, 0, 0),
        (Quantity::Received, 1, 6),
    ];
    let all = order.into_iter().flat_map(|(quantity, next, shift)| {
        let alarms = a2.byte(112 + next) >> shift & 3;
        let warnings = a2.byte(116 + next) >> shift & 3;
        flags_of(alarms << 2 | warnings, quantity, None)
    });
    all.collect()
}
