//! Hot modules in ports that stand beside each other.
//!
//! Ports are neighbours when their names end in numbers that follow each other and begin alike;
//! how cages are really stacked only the data sheet of the switch says. Which modules are hot is
//! said by two columns of flags; no formula can compare a row with the one beside it.

use crate::engine::Engine;
use crate::engine::MadeDef;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::table::{ABSENT, Column, RowId, Values};

/// The ports of hot modules side by side, at the link with the higher port number.
pub const MADE: MadeDef = MadeDef {
    sheet: "links",
    columns: &["hot_beside"],
    reads: &[
        ("links", "from"),
        ("links", "from_port"),
        ("links", "near_hot"),
        ("links", "to"),
        ("links", "to_port"),
        ("links", "far_hot"),
    ],
    make,
};

/// The columns of each end of a link: device, port, whether its module is hot.
const ENDS: [[&str; 3]; 2] = [
    ["from", "from_port", "near_hot"],
    ["to", "to_port", "far_hot"],
];

/// A hot module in a port whose name ends in a number.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Seat {
    /// Code of the device, equal for all its spellings.
    device: u32,
    /// The name of the port before its number, in lower case.
    stem: String,
    number: u32,
    rank: u32,
    row: u32,
}

fn make(plan: &Plan, engine: &Engine) -> Vec<Column> {
    let Some(links) = plan.sheet(MADE.sheet) else {
        return vec![Column::of_codes(Vec::new())];
    };
    let mut codes = Values::same(ABSENT, plan.rows(links).n_stored());
    let mut seats: Vec<Seat> = ENDS
        .iter()
        .flat_map(|end| seats(plan, engine, end))
        .collect();
    seats.sort_unstable();
    let beside = |a: &Seat, b: &Seat| {
        (a.device, &a.stem, a.number.checked_add(1)) == (b.device, &b.stem, Some(b.number))
    };
    for two in seats.windows(2).filter(|two| beside(&two[0], &two[1])) {
        let (first, second) = (&two[0], &two[1]);
        let row = second.row as usize;
        let text = format!(
            "ports {stem}{} and {stem}{} of {}",
            first.number,
            second.number,
            plan.names().text(second.device),
            stem = second.stem,
        );
        // A bundle may have several pairs; one is told.
        if codes.get(row) == Some(&ABSENT) {
            codes.set(row, plan.names().code(&text));
        }
    }
    vec![Column::Codes(codes)]
}

/// The hot modules at one end of all links.
fn seats(plan: &Plan, engine: &Engine, end: &[&str; 3]) -> Vec<Seat> {
    let mut seats = Vec::new();
    let Some(links) = plan.sheet(MADE.sheet) else {
        return seats;
    };
    let [device, port, hot] = end.map(|name| engine.find_column(links, name));
    let (Some(device), Some(port), Some(hot)) = (device, port, hot) else {
        return seats;
    };
    let first = engine.column(links, 0).at();
    let flags = engine.values(hot).flags();
    if flags.one().is_some_and(|flag| flag != 1) {
        return seats;
    }
    for (rank, row) in plan.rows(links).order().iter().enumerate() {
        if flags.get(row.at()) != Some(&1) {
            continue;
        }
        let entry = |column: usize, row: RowId| plan.entry(links, column - first, row);
        let (Entry::Text(device), Entry::Text(port)) =
            (entry(device.at(), *row), entry(port.at(), *row))
        else {
            continue;
        };
        let ports = plan.names().text(port);
        let named = ports.split(['+', ',', ' ']).filter_map(numbered);
        seats.extend(named.map(|(stem, number)| Seat {
            device: plan.names().folded(device),
            stem,
            number,
            rank: u32::try_from(rank).unwrap_or(u32::MAX),
            row: row.0,
        }));
    }
    seats
}

/// The name of a port as what stands before its last number, and the number.
fn numbered(port: &str) -> Option<(String, u32)> {
    let stem = port.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = port[stem.len()..].parse().ok()?;
    Some((stem.to_lowercase(), number))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_is_its_last_number_and_what_stands_before() {
        assert_eq!(numbered("1/0/24"), Some(("1/0/".to_owned(), 24)));
        assert_eq!(numbered("U7"), Some(("u".to_owned(), 7)));
        assert_eq!(numbered("uplink"), None);
        assert_eq!(numbered("p99999999999"), None);
        assert_eq!(numbered(""), None);
    }
}
