//! Hot modules in ports that stand beside each other.
//!
//! Ports are neighbours when their names end in numbers that follow each other and begin alike;
//! how cages are really stacked only the data sheet of the switch says. No formula can say this,
//! so the rows are gone through each time the findings are asked for.

use super::findings::Finding;
use crate::engine::Engine;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Severity;
use crate::table::{ABSENT, Cell, RowId, SheetId};
use crate::units::{Unit, Units, shown};

/// The name of the check; the case by power of the whole switch stands in the sheet.
const CHECK: &str = "hot-modules";

/// The columns of one end of a link.
struct End {
    device: &'static str,
    port: &'static str,
    /// The power of all its modules.
    watts: &'static str,
    /// How many modules there are.
    modules: &'static str,
    /// The form factor that was entered.
    form: &'static str,
    interface: &'static str,
}

const ENDS: [End; 2] = [
    End {
        device: "from",
        port: "from_port",
        watts: "near_watts",
        modules: "near_modules",
        form: "module",
        interface: "interface",
    },
    End {
        device: "to",
        port: "to_port",
        watts: "far_watts",
        modules: "far_modules",
        form: "far_module",
        interface: "far",
    },
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

/// Every hot module beside another one, at the link with the higher port number.
pub fn find(plan: &Plan, engine: &Engine) -> Vec<Finding> {
    let severity = match plan.severities.get(CHECK) {
        Some(None) => return Vec::new(),
        Some(Some(severity)) => *severity,
        None => Severity::Caution,
    };
    let (Some(links), Some(threshold)) = (plan.sheet("links"), threshold(plan)) else {
        return Vec::new();
    };
    let mut seats = Vec::new();
    for end in &ENDS {
        add_seats(plan, engine, links, end, threshold, &mut seats);
    }
    seats.sort_unstable();
    let beside = |a: &Seat, b: &Seat| {
        (a.device, &a.stem, a.number.checked_add(1)) == (b.device, &b.stem, Some(b.number))
    };
    let pairs = seats.windows(2).filter(|two| beside(&two[0], &two[1]));
    let mut pairs: Vec<(&Seat, &Seat)> = pairs.map(|two| (&two[0], &two[1])).collect();
    pairs.sort_by_key(|(_, second)| (second.rank, second.number));
    let power = Units::builtin().unit("W").unwrap_or_else(|_| Unit::none());
    let words = |(first, second): (&Seat, &Seat)| {
        let device = plan.names().text(second.device);
        format!(
            "ports {stem}{} and {stem}{} of {device} stand side by side with modules of more than {}",
            first.number,
            second.number,
            shown(threshold, &power, None),
            stem = second.stem,
        )
    };
    pairs
        .into_iter()
        .map(|pair| finding(links, RowId(pair.1.row), severity, words(pair)))
        .collect()
}

/// From which power on a module is hot.
fn threshold(plan: &Plan) -> Option<f64> {
    let param = plan.assumption("hot_module")?;
    match plan.assumptions()[param.at()].entry {
        Entry::Number(watts) => Some(watts),
        Entry::Empty | Entry::Text(_) | Entry::Wrong(_) => None,
    }
}

fn add_seats(
    plan: &Plan,
    engine: &Engine,
    links: SheetId,
    end: &End,
    threshold: f64,
    seats: &mut Vec<Seat>,
) {
    let def = plan.def(links);
    let (Some(device), Some(port)) = (def.column(end.device), def.column(end.port)) else {
        return;
    };
    let numbers = |name| {
        let column = engine.find_column(links, name);
        column.map_or(&[][..], |column| engine.values(column).numbers())
    };
    let (watts, modules) = (numbers(end.watts), numbers(end.modules));
    let holds = engine.find_column(links, "holds_port");
    for (rank, row) in plan.rows(links).order().iter().enumerate() {
        let hot = watts.get(row.at()).zip(modules.get(row.at()));
        // A missing figure is not hot.
        if !hot.is_some_and(|(watts, n)| *n > 0.0 && watts / n > threshold + 1e-9) {
            continue;
        }
        let held = holds.map(|column| engine.cell(plan, column, *row));
        if held != Some(Cell::Flag(true)) || !is_small(plan, engine, links, end, *row) {
            continue;
        }
        let (Entry::Text(device), Entry::Text(port)) = (
            plan.entry(links, device, *row),
            plan.entry(links, port, *row),
        ) else {
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
}

/// Whether the module of an end is of the SFP family: as entered, else the usual one of its
/// interface. Larger ones are meant to take more.
fn is_small(plan: &Plan, engine: &Engine, links: SheetId, end: &End, row: RowId) -> bool {
    let text = |sheet, name, row| {
        let column = engine.find_column(sheet, name)?;
        match engine.cell(plan, column, row) {
            Cell::Text(text) => Some(text),
            Cell::Number(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed => None,
        }
    };
    let usual = || {
        let target = engine.row_at(engine.find_column(links, end.interface)?, row);
        let interfaces = plan.sheet("interfaces")?;
        (target != ABSENT).then(|| text(interfaces, "forms", RowId(target)))?
    };
    let form = text(links, end.form, row)
        .or_else(usual)
        .unwrap_or_default();
    form.to_uppercase().starts_with("SFP")
}

/// The name of a port as what stands before its last number, and the number.
fn numbered(port: &str) -> Option<(String, u32)> {
    let stem = port.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = port[stem.len()..].parse().ok()?;
    Some((stem.to_lowercase(), number))
}

fn finding(sheet: SheetId, row: RowId, severity: Severity, sentence: String) -> Finding {
    Finding {
        check: CHECK.to_owned(),
        severity,
        sheet,
        row,
        sentence,
        advice: "Leave a cage free between them, or take direct attach or optics; the data sheet of the switch says which cages take hot modules.".to_owned(),
        source: "vendor practice".to_owned(),
    }
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
