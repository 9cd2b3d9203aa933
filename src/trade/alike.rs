//! Names that differ only in case, spaces, dashes or letters that look alike.
//!
//! One switch under two names is the usual way a plan goes wrong unseen; exact doubles of an id
//! are found too.

use super::findings::Finding;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Severity;
use crate::table::{RowId, SheetId};
use rustc_hash::{FxHashMap, FxHashSet};

/// The name of the check.
const CHECK: &str = "name-alike";

/// Every name that looks like another one of the same kind, at the row where it comes second.
pub fn find(plan: &Plan) -> Vec<Finding> {
    let severity = match plan.severities.get(CHECK) {
        Some(None) => return Vec::new(),
        Some(Some(severity)) => *severity,
        None => Severity::Note,
    };
    let mut found = Vec::new();
    if let Some(links) = plan.sheet("links") {
        among_ids(plan, links, severity, &mut found);
        among_devices(plan, links, severity, &mut found);
    }
    found
}

/// Link ids that look alike or are the same.
fn among_ids(plan: &Plan, sheet: SheetId, severity: Severity, found: &mut Vec<Finding>) {
    let mut seen: FxHashMap<String, String> = FxHashMap::default();
    for row in plan.rows(sheet).order() {
        let id = plan.id(sheet, *row);
        if id.is_empty() {
            continue;
        }
        match seen.get(&skeleton(&id)) {
            Some(other) => found.push(finding(sheet, *row, severity, &id, other)),
            None => {
                seen.insert(skeleton(&id), id);
            }
        }
    }
}

/// Devices, in the sheet of switches and at the ends of links, that look alike but differ.
fn among_devices(plan: &Plan, links: SheetId, severity: Severity, found: &mut Vec<Finding>) {
    let mut seen: FxHashMap<String, u32> = FxHashMap::default();
    let mut told: FxHashSet<(u32, u32)> = FxHashSet::default();
    let mut ids: FxHashSet<u32> = FxHashSet::default();
    for (sheet, column) in device_columns(plan, links) {
        for row in plan.rows(sheet).order() {
            let Entry::Text(code) = plan.entry(sheet, column, *row) else {
                continue;
            };
            let name = plan.names().text(code);
            let first = *seen.entry(skeleton(&name)).or_insert(code);
            let alike = first != code && told.insert((first, code));
            let doubled = column == 0 && !ids.insert(plan.names().folded(code));
            if alike || doubled {
                found.push(finding(
                    sheet,
                    *row,
                    severity,
                    &name,
                    &plan.names().text(first),
                ));
            }
        }
    }
}

/// Where devices are named: the id of switches first, then both ends of links.
fn device_columns(plan: &Plan, links: SheetId) -> Vec<(SheetId, usize)> {
    let mut columns = Vec::new();
    columns.extend(plan.sheet("switches").map(|sheet| (sheet, 0)));
    columns.extend(
        ["from", "to"]
            .iter()
            .filter_map(|name| Some((links, plan.def(links).column(name)?))),
    );
    columns
}

/// A name without what the eye skips: case, spaces, dashes; 0 is o, 1 is l.
fn skeleton(name: &str) -> String {
    name.to_lowercase()
        .chars()
        .filter(|c| {
            !c.is_whitespace()
                && !matches!(
                    c,
                    '-' | '_' | '.' | '/' | '\u{200b}' | '\u{200d}' | '\u{feff}'
                )
        })
        .map(|c| match c {
            '0' => 'o',
            '1' | 'i' => 'l',
            other => other,
        })
        .collect()
}

fn finding(sheet: SheetId, row: RowId, severity: Severity, name: &str, other: &str) -> Finding {
    let sentence = if name == other {
        format!("the name `{name}` stands twice")
    } else {
        format!("the name `{name}` looks like `{other}`")
    };
    Finding {
        check: CHECK.to_owned(),
        severity,
        sheet,
        row,
        sentence,
        advice: "If both mean the same thing, spell them the same way; if not, rename one so that nobody mixes them up.".to_owned(),
        source: "common practice, no source".to_owned(),
    }
}
