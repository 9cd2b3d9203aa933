//! Which Ethernet interface a module is: by its compliance codes, else by its figures.
//!
//! Names are rows of the sheet `interfaces`; a test holds that. What stays open is not guessed.

use super::Identity;
use super::codes::{Code, Connector, Layout, Medium};

/// What tells the interface.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// Compliance codes.
    Codes,
    /// Wavelength, bit rate and lengths, as no code says it.
    Figures,
}

impl Basis {
    /// The word in the sheet `modules`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Codes => "codes",
            Self::Figures => "figures",
        }
    }
}

/// Which interface a module is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Found {
    /// This one.
    One(&'static str, Basis),
    /// One of these, or all of them by turns.
    Several(Vec<&'static str>, Basis),
    /// It does not say; with the names of codes that no interface goes with.
    Unknown(Vec<String>),
}

/// Wavelengths in nm that belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Band {
    /// Multimode, 850 nm.
    Short,
    /// The upstream end of two-way pairs, 1270 nm.
    Up,
    /// 1310 nm.
    Middle,
    /// The downstream end of two-way pairs, 1330 nm.
    Down,
    /// The downstream end of 1000BASE-BX10, 1490 nm.
    DownOne,
    /// 1550 nm.
    Long,
}

fn band(identity: &Identity) -> Option<Band> {
    match identity.wavelength? {
        w if (830.0..=870.0).contains(&w) => Some(Band::Short),
        w if (1260.0..=1280.0).contains(&w) => Some(Band::Up),
        w if (1290.0..1320.0).contains(&w) => Some(Band::Middle),
        w if (1320.0..=1340.0).contains(&w) => Some(Band::Down),
        w if (1480.0..=1500.0).contains(&w) => Some(Band::DownOne),
        w if (1530.0..=1565.0).contains(&w) => Some(Band::Long),
        _ => None,
    }
}

/// Speeds by signalling rate of one lane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Speed {
    /// 1 Gb/s at 1.25 GBd.
    One,
    /// 10 Gb/s at 10.3125 GBd.
    Ten,
    /// 25 Gb/s at 25.78125 GBd.
    TwentyFive,
}

fn speed(identity: &Identity) -> Option<Speed> {
    match identity.bit_rate? {
        rate if (1.0..=1.3).contains(&rate) => Some(Speed::One),
        rate if (9.9..=11.5).contains(&rate) => Some(Speed::Ten),
        rate if (25.0..=26.0).contains(&rate) => Some(Speed::TwentyFive),
        _ => None,
    }
}

/// The interface, as far as the module says.
pub(super) fn found(identity: &Identity) -> Found {
    let mut names: Vec<&'static str> = Vec::new();
    let mut unlisted = Vec::new();
    for code in &identity.codes {
        let by_code = by_code(identity, *code);
        if by_code.is_empty() {
            unlisted.push(told(*code));
        }
        for name in by_code {
            if !names.contains(&name) {
                names.push(name);
            }
        }
    }
    let basis = match names.is_empty() {
        true => Basis::Figures,
        false => Basis::Codes,
    };
    // A code that is not listed here says something else than the figures would make of it.
    if names.is_empty() && unlisted.is_empty() {
        names = by_figures(identity);
    }
    match names.as_slice() {
        [] => Found::Unknown(unlisted),
        [one] => Found::One(one, basis),
        _ => Found::Several(names, basis),
    }
}

/// A code that goes with no interface, for a sentence.
fn told(code: Code) -> String {
    match code {
        Code::Named(name) => name.to_owned(),
        Code::Bx10 => "BASE-BX10".to_owned(),
        Code::PassiveCable => "a passive cable".to_owned(),
        Code::ActiveCable => "an active cable".to_owned(),
        Code::Active40 { .. } => "a 40G active cable".to_owned(),
        Code::Extended(code) => format!("the extended code {code:02X}h"),
    }
}

fn by_code(identity: &Identity, code: Code) -> Vec<&'static str> {
    match code {
        Code::Named(name) => by_name(identity, name),
        Code::Bx10 => match (speed(identity), band(identity)) {
            (Some(Speed::One), Some(Band::DownOne)) => vec!["1000BASE-BX10-D"],
            (Some(Speed::One), Some(Band::Middle)) => vec!["1000BASE-BX10-U"],
            (Some(Speed::One), _) => vec!["1000BASE-BX10-D", "1000BASE-BX10-U"],
            (_, _) => Vec::new(),
        },
        Code::PassiveCable => passive(identity),
        Code::ActiveCable => active(identity),
        Code::Active40 { copper: true } => vec!["40GBASE-CR4"],
        Code::Active40 { copper: false } => match identity.connector.is_fixed() {
            true => vec!["40G AOC"],
            false => Vec::new(),
        },
        Code::Extended(code) => extended(identity, code),
    }
}

/// Codes whose name alone leaves something open.
fn by_name(identity: &Identity, name: &'static str) -> Vec<&'static str> {
    let single = identity
        .length(Medium::SingleMode)
        .map(|length| length.metres);
    match name {
        // There is no code of its own for LX10, which reaches 10 km.
        "1000BASE-LX" if single.is_none_or(|reach| reach >= 10_000.0) => {
            vec!["1000BASE-LX", "1000BASE-LX10"]
        }
        // Nor for ZR.
        "10GBASE-ER" if single.is_some_and(|reach| reach > 60_000.0) => {
            vec!["10GBASE-ER", "10GBASE-ZR"]
        }
        // Nor, in early modules, for two-way ones.
        "10GBASE-LR" => [vec!["10GBASE-LR"], two_way(identity, Speed::Ten)].concat(),
        // The sheet does not list them.
        "1000BASE-CX" | "BASE-PX" => Vec::new(),
        _ => vec![name],
    }
}

/// A passive cable is for the speed of its rate; without a rate it is open.
fn passive(identity: &Identity) -> Vec<&'static str> {
    let twenty_five = ["25GBASE-CR", "25GBASE-CR-S"];
    let is_coded = identity
        .codes
        .iter()
        .any(|code| matches!(code, Code::Extended(0x0b..=0x0d)));
    match (identity.bit_rate, speed(identity)) {
        // The extended code says it more exactly.
        _ if is_coded => extended_cable(identity),
        (_, Some(Speed::Ten)) => vec!["10GSFP+Cu"],
        (_, Some(Speed::TwentyFive)) => twenty_five.to_vec(),
        (None, None) => [&["10GSFP+Cu"][..], &twenty_five].concat(),
        (Some(_), None | Some(Speed::One)) | (None, Some(Speed::One)) => Vec::new(),
    }
}

fn extended_cable(identity: &Identity) -> Vec<&'static str> {
    let codes = identity.codes.iter().filter_map(|code| match code {
        Code::Extended(code) => Some(extended(identity, *code)),
        Code::Named(_)
        | Code::Bx10
        | Code::PassiveCable
        | Code::ActiveCable
        | Code::Active40 { .. } => None,
    });
    codes.flatten().collect()
}

/// An active cable is copper or fibre, and the code does not say which.
fn active(identity: &Identity) -> Vec<&'static str> {
    match (speed(identity), identity.connector) {
        (Some(Speed::Ten), Connector::CopperPigtail) => vec!["10GSFP+Cu"],
        (Some(Speed::Ten), Connector::OpticalPigtail) => vec!["10G AOC"],
        (Some(Speed::Ten), _) => vec!["10GSFP+Cu", "10G AOC"],
        (Some(Speed::TwentyFive), Connector::OpticalPigtail) => vec!["25G AOC"],
        (Some(Speed::TwentyFive | Speed::One) | None, _) => extended_cable(identity),
    }
}

/// SFF-8024 table "Extended Specification Compliance Codes", those that the sheet lists. One code
/// stands for one lane in an SFP and for four in a QSFP.
fn extended(identity: &Identity, code: u8) -> Vec<&'static str> {
    let is_four = identity.identifier.layout() == Some(Layout::Qsfp);
    let by_lanes = |one: &[&'static str], four: &[&'static str]| match is_four {
        true => four.to_vec(),
        false => one.to_vec(),
    };
    match code {
        0x01 | 0x18 => by_lanes(&["25G AOC"], &["100G AOC"]),
        0x02 => by_lanes(&["25GBASE-SR"], &["100GBASE-SR4"]),
        0x03 => by_lanes(&["25GBASE-LR"], &["100GBASE-LR4"]),
        0x04 => by_lanes(&["25GBASE-ER"], &["100GBASE-ER4"]),
        0x05 => vec!["100GBASE-SR10"],
        0x06 => vec!["100G CWDM4"],
        0x07 => vec!["100G PSM4"],
        0x0b => by_lanes(&["25GBASE-CR"], &["100GBASE-CR4"]),
        0x0c | 0x0d => vec!["25GBASE-CR", "25GBASE-CR-S"],
        0x10 => vec!["40GBASE-ER4"],
        // Four lanes that can be taken apart.
        0x11 => vec!["40GBASE-SR4", "10GBASE-SR"],
        0x16 | 0x1c => vec!["10GBASE-T"],
        0x1d => vec!["5GBASE-T"],
        0x1e => vec!["2.5GBASE-T"],
        0x25 => vec!["100GBASE-DR"],
        0x26 | 0x2a => vec!["100GBASE-FR1"],
        0x27 | 0x2b => vec!["100GBASE-LR1"],
        0x28 => vec!["100GBASE-SR1"],
        0x29 => by_lanes(&["100GBASE-SR1"], &["100GBASE-SR1", "400GBASE-SR4"]),
        0x37 => two_way(identity, Speed::Ten),
        0x38 => two_way(identity, Speed::TwentyFive),
        0x3f => by_lanes(&["100GBASE-CR1"], &["200GBASE-CR2", "400GBASE-CR4"]),
        0x40 => by_lanes(&["50GBASE-CR"], &["100GBASE-CR2", "200GBASE-CR4"]),
        0x41 => by_lanes(&["50GBASE-SR"], &["100GBASE-SR2", "200GBASE-SR4"]),
        0x42 => by_lanes(&["50GBASE-FR"], &["200GBASE-DR4"]),
        0x43 => vec!["200GBASE-FR4"],
        0x45 => vec!["50GBASE-LR"],
        0x46 => vec!["200GBASE-LR4"],
        0x47 => vec!["400GBASE-DR4"],
        0x48 => vec!["400GBASE-FR4"],
        0x49 => vec!["400GBASE-LR4-6"],
        0x4a => vec!["50GBASE-ER"],
        _ => Vec::new(),
    }
}

/// Two-way ends by wavelength and length; 1270 nm is sent upstream, 1330 nm downstream.
fn two_way(identity: &Identity, speed: Speed) -> Vec<&'static str> {
    let ends = match (speed, band(identity)) {
        (Speed::Ten, Some(Band::Up)) => ["10GBASE-BR10-U", "10GBASE-BR20-U", "10GBASE-BR40-U"],
        (Speed::Ten, Some(Band::Down)) => ["10GBASE-BR10-D", "10GBASE-BR20-D", "10GBASE-BR40-D"],
        (Speed::TwentyFive, Some(Band::Up)) => {
            ["25GBASE-BR10-U", "25GBASE-BR20-U", "25GBASE-BR40-U"]
        }
        (Speed::TwentyFive, Some(Band::Down)) => {
            ["25GBASE-BR10-D", "25GBASE-BR20-D", "25GBASE-BR40-D"]
        }
        (Speed::One | Speed::Ten | Speed::TwentyFive, _) => return Vec::new(),
    };
    let [ten, twenty, forty] = ends;
    match identity
        .length(Medium::SingleMode)
        .map(|length| length.metres)
    {
        Some(reach) if reach <= 10_000.0 => vec![ten],
        Some(reach) if reach <= 20_000.0 => vec![twenty],
        Some(reach) if reach <= 40_000.0 => vec![forty],
        Some(_) | None => ends.to_vec(),
    }
}

/// By wavelength, bit rate and lengths, where no code is set.
fn by_figures(identity: &Identity) -> Vec<&'static str> {
    if identity.identifier.layout() == Some(Layout::Qsfp) {
        return Vec::new();
    }
    if identity.connector == Connector::Rj45 {
        return match speed(identity) {
            Some(Speed::One) => vec!["1000BASE-T"],
            Some(Speed::Ten) => vec!["10GBASE-T"],
            Some(Speed::TwentyFive) | None => Vec::new(),
        };
    }
    let single = identity
        .length(Medium::SingleMode)
        .map(|length| length.metres);
    let is_multimode = [Medium::Om1, Medium::Om2, Medium::Om3, Medium::Om4]
        .iter()
        .any(|medium| identity.length(*medium).is_some());
    let (Some(speed), Some(band)) = (speed(identity), band(identity)) else {
        return Vec::new();
    };
    match (speed, band) {
        (Speed::One, Band::Short) => vec!["1000BASE-SX"],
        (Speed::Ten, Band::Short) => vec!["10GBASE-SR"],
        (Speed::TwentyFive, Band::Short) => vec!["25GBASE-SR"],
        (Speed::One, Band::Middle) => vec!["1000BASE-LX", "1000BASE-LX10", "1000BASE-BX10-U"],
        (Speed::One, Band::DownOne) => vec!["1000BASE-BX10-D"],
        (Speed::Ten, Band::Middle) => match (single, is_multimode) {
            (Some(_), _) => vec!["10GBASE-LR"],
            (None, true) => vec!["10GBASE-LRM"],
            (None, false) => vec!["10GBASE-LR", "10GBASE-LRM"],
        },
        (Speed::TwentyFive, Band::Middle) => match single {
            Some(reach) if reach <= 10_000.0 => vec!["25GBASE-LR"],
            Some(_) => vec!["25GBASE-ER"],
            None => vec!["25GBASE-LR", "25GBASE-ER"],
        },
        (Speed::Ten, Band::Long) => match single {
            Some(reach) if reach <= 40_000.0 => vec!["10GBASE-ER"],
            Some(reach) if reach >= 70_000.0 => vec!["10GBASE-ZR"],
            Some(_) | None => vec!["10GBASE-ER", "10GBASE-ZR"],
        },
        (Speed::Ten | Speed::TwentyFive, Band::Up | Band::Down) => two_way(identity, speed),
        (Speed::One, Band::Up | Band::Down | Band::Long)
        | (Speed::Ten, Band::DownOne)
        | (Speed::TwentyFive, Band::DownOne | Band::Long) => Vec::new(),
    }
}

/// Where the wavelength speaks against an interface of one wavelength, what it says.
pub(super) fn against(identity: &Identity, name: &str) -> Option<String> {
    let wavelength = identity.wavelength?;
    let (_, kind) = name.split_once("BASE-")?;
    // Transmitter ranges of IEEE 802.3, generously: 850 nm types, 1310 nm types, 1550 nm types.
    let range = match kind {
        "SR" | "SX" | "SR4" => 830.0..=870.0,
        "LR" | "LX" | "LX10" | "LRM" => 1255.0..=1365.0,
        "ER" | "ZR" if name.starts_with("10G") => 1525.0..=1570.0,
        _ => return None,
    };
    (!range.contains(&wavelength))
        .then(|| format!("it says {name} but states {wavelength} nm, so one of the two is wrong"))
}
