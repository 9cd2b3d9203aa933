//! The memory dump of a pluggable module: what it is, and what it read of itself.
//!
//! SFF-8472 (SFP family) and SFF-8636 (QSFP family) with the code tables of SFF-8024. Layouts are
//! in `sfp.rs` and `qsfp.rs`, codes in `codes.rs`, readings in `readings.rs`, the Ethernet
//! interface in `interface.rs`, a row of the plan in `row.rs`. Which link a module serves is for
//! the caller to say.
//!
//! Byte offsets and codes were compared with public source code that reads the same memory;
//! what could not be compared is marked "from memory" where it stands.

mod codes;
mod hex;
mod interface;
mod page;
mod qsfp;
mod readings;
mod row;
mod sfp;

pub use codes::{Code, Connector, Identifier, Layout, Medium};
pub use interface::{Basis, Found};
pub use readings::{Alarm, Calibration, Lane, Limits, Power, Quantity, Readings, Side, Thresholds};
pub use row::{Place, Placed, place};

use crate::problem::Problem;
use page::Page;

/// The largest file that is read as a dump: 64 KiB. A text of 640 bytes is far smaller.
pub const MAX_BYTES: usize = 64 << 10;

/// Everything that a dump says.
#[derive(Debug, Clone, PartialEq)]
pub struct Module {
    /// What the module says it is.
    pub identity: Identity,
    /// What it read of itself; none where it does not monitor or the dump has no such page.
    pub readings: Option<Readings>,
    /// How many bytes of memory the dump holds.
    pub n_bytes: usize,
    /// What was missing, damaged or read in a way that a person should know, one sentence each.
    pub notes: Vec<String>,
}

/// What a module says it is. Texts are printable ASCII without trailing spaces.
#[derive(Debug, Clone, PartialEq)]
pub struct Identity {
    /// The identifier, SFF-8024 table "Identifier Values".
    pub identifier: Identifier,
    /// The connector, SFF-8024 table "Connector Types".
    pub connector: Connector,
    /// Ethernet codes that are set.
    pub codes: Vec<Code>,
    /// Signalling rate of one lane in Gb/s.
    pub bit_rate: Option<f64>,
    /// Nominal wavelength in nm; none for copper.
    pub wavelength: Option<f64>,
    /// Lengths that the maker states, for each medium.
    pub lengths: Vec<Length>,
    /// The maker.
    pub vendor: String,
    /// The part number.
    pub part: String,
    /// The revision.
    pub revision: String,
    /// The serial number.
    pub serial: String,
    /// The date code as year-month-day; as it stands where it is no date.
    pub made: String,
    /// The check code over the base fields, CC_BASE.
    pub base_sum: Sum,
    /// The check code over the extended fields, CC_EXT.
    pub extended_sum: Sum,
}

/// A length that the maker states for a medium.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Length {
    /// On what.
    pub medium: Medium,
    /// In metres.
    pub metres: f64,
    /// Whether it is more than that: the code for "beyond the largest number".
    pub or_more: bool,
}

/// A check code: the low byte of the sum of the bytes before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sum {
    /// As it stands in the dump.
    pub stored: u8,
    /// As the bytes give it.
    pub computed: u8,
}

impl Sum {
    /// Whether both are the same.
    pub fn matches(self) -> bool {
        self.stored == self.computed
    }
}

impl Identity {
    /// The length on a medium.
    pub fn length(&self, medium: Medium) -> Option<Length> {
        self.lengths
            .iter()
            .find(|one| one.medium == medium)
            .copied()
    }

    /// Whether both check codes match.
    pub fn is_intact(&self) -> bool {
        self.base_sum.matches() && self.extended_sum.matches()
    }

    /// The form factor: the family by the identifier, the generation of SFP by the bit rate, as
    /// the identifier does not tell it.
    pub fn form(&self) -> &'static str {
        match self.identifier {
            Identifier::Sfp => match self.bit_rate {
                Some(rate) if rate > 29.0 => "SFP56",
                Some(rate) if rate > 15.0 => "SFP28",
                Some(rate) if rate > 6.0 => "SFP+",
                Some(_) | None => "SFP",
            },
            Identifier::Qsfp => "QSFP",
            Identifier::QsfpPlus => "QSFP+",
            Identifier::Qsfp28 => "QSFP28",
            Identifier::Other(_) => "",
        }
    }
}

impl Module {
    /// Which interface of the sheet `interfaces` it is, as far as it says.
    pub fn found(&self) -> Found {
        interface::found(&self.identity)
    }
}

/// Whether a file looks like a dump rather than like a table of text.
pub fn is_dump(bytes: &[u8]) -> bool {
    hex::is_binary(bytes) || hex::begins_as_hex(bytes)
}

/// Reads a dump, binary or hex text.
///
/// Accepted are 128 or 256 bytes (A0h) and 512 bytes (A0h and A2h) of the SFP family, 256 bytes
/// (lower page and upper page 00h) and 640 bytes (with upper pages 01h, 02h and 03h) of the QSFP
/// family.
///
/// # Errors
/// A file that is too large, no dump, of another length, or of a module that is not read yet.
pub fn read(bytes: &[u8]) -> Result<Module, Problem> {
    if bytes.len() > MAX_BYTES {
        return Err(
            Problem::new("dump-too-large", "a module dump is at most 64 KiB").help(
                "name the dump of one module; a table of links has headings in its first row",
            ),
        );
    }
    let memory = hex::memory(bytes)?;
    let Some(first) = memory.bytes.first() else {
        return Err(Problem::new("dump-empty", "the dump holds no bytes")
            .help("read the memory of the module again"));
    };
    let identifier = Identifier::of(*first);
    let read = match identifier.layout() {
        Some(Layout::Sfp) => sfp::read(&memory.bytes),
        Some(Layout::Qsfp) => qsfp::read(&memory.bytes),
        None => Err(not_read(identifier)),
    };
    let mut module = read.map_err(|problem| match memory.skipped {
        Some(line) => problem.help(format!("line {line} of the text was not read as bytes")),
        None => problem,
    })?;
    sums(&mut module);
    if let Found::One(name, Basis::Codes) = module.found() {
        module
            .notes
            .extend(interface::against(&module.identity, name));
    }
    if module
        .readings
        .as_ref()
        .is_some_and(|readings| !readings.is_average)
    {
        module.notes.push(
            "it reads received light as modulation amplitude (OMA), not as average power"
                .to_owned(),
        );
    }
    Ok(module)
}

fn not_read(identifier: Identifier) -> Problem {
    let Identifier::Other(code) = identifier else {
        return Problem::new("dump-kind", "this kind of module is not read");
    };
    match identifier.name() {
        Some(name) if name.contains("CMIS") => not_yet(code, name).help(
            "its memory is laid out by CMIS, the Common Management Interface Specification, which \
             has other fields in other places; no byte of it is guessed",
        ),
        Some(name) => not_yet(code, name),
        None => Problem::new(
            "dump-kind",
            format!("the first byte, {code:02X}h, is no identifier of a module"),
        )
        .help("a dump begins at byte 0 of A0h (SFP) or of the lower page (QSFP)")
        .help("a table of links is text with headings in its first row"),
    }
}

/// A module that is known by name, of which no memory is read.
fn not_yet(code: u8, name: &str) -> Problem {
    let message = format!("identifier {code:02X}h is {name}, which is not read yet");
    Problem::new("dump-kind", message)
        .help("the memory of SFP modules (SFF-8472, identifier 03h) and QSFP modules (SFF-8636, 0Ch, 0Dh and 11h) is read")
        .help("type what its label says: portledger set PLAN modules NAME interface ... --add")
}

/// A dump whose length is none of the known ones.
fn wrong_length(family: &str, n_bytes: usize, known: &str) -> Problem {
    Problem::new(
        "dump-length",
        format!("{n_bytes} bytes are no whole dump of {family} module"),
    )
    .help(format!("a whole one has {known}"))
    .help("read the memory of the module again, from byte 0")
}

/// Says which check code differs.
fn sums(module: &mut Module) {
    let identity = &module.identity;
    for (name, sum) in [
        ("CC_BASE", identity.base_sum),
        ("CC_EXT", identity.extended_sum),
    ] {
        if !sum.matches() {
            module.notes.push(format!(
                "the checksum of the identity does not match: {name} is {:02X}h, its bytes give \
                 {:02X}h; dump damaged or module rewritten",
                sum.stored, sum.computed
            ));
        }
    }
}

/// The date of a date code, SFF-8472 bytes 84 to 91 and SFF-8636 bytes 212 to 219: two digits
/// each of year (from 2000), month and day, then a lot code.
fn date(page: Page<'_>, at: usize) -> String {
    let text = page.text(at, 8);
    let number = |range: std::ops::Range<usize>| {
        let digits = text.get(range)?;
        let plain = digits.bytes().all(|byte| byte.is_ascii_digit());
        plain.then(|| digits.parse::<u8>().ok()).flatten()
    };
    match (number(0..2), number(2..4), number(4..6)) {
        (Some(year), Some(month @ 1..=12), Some(day @ 1..=31)) => {
            format!("20{year:02}-{month:02}-{day:02}")
        }
        _ => text,
    }
}

#[cfg(test)]
mod tests;
