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
pub(super) const CHECK: &str = "name-alike";

/// What the check is about.
pub(super) const DOC: &str = "No two names differ only in what the eye skips.";

/// Where the rule comes from.
pub(super) const SOURCE: &str = "common practice, no source";

/// Every name that looks like another one of the same kind, at the row where it comes second.
///
/// Goes through all names; `namesakes.rs` keeps the same up to date from edit to edit.
pub fn find(plan: &Plan) -> Vec<Finding> {
    let Some(severity) = severity(plan) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    if let Some(links) = plan.sheet("links") {
        among_ids(plan, links, severity, &mut found);
        among_devices(plan, links, severity, &mut found);
    }
    found
}

/// How much it weighs in a plan; `None` where it is switched off.
pub(super) fn severity(plan: &Plan) -> Option<Severity> {
    let own = plan.severities.get(CHECK).copied();
    own.unwrap_or(Some(Severity::Note))
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
pub(super) fn device_columns(plan: &Plan, links: SheetId) -> Vec<(SheetId, usize)> {
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
pub(super) fn skeleton(name: &str) -> String {
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

/// A number for the skeleton of a name, never zero; equal skeletons have equal numbers.
pub(super) fn skeleton_key(name: &str) -> u32 {
    let skips = |byte: &u8| matches!(byte, b' ' | 9..=13 | b'-' | b'_' | b'.' | b'/');
    let looks = |byte: u8| match byte.to_ascii_lowercase() {
        b'0' => b'o',
        b'1' | b'i' => b'l',
        other => other,
    };
    let hash = match name.is_ascii() {
        true => hash_of(name.bytes().filter(|byte| !skips(byte)).map(looks)),
        false => hash_of(skeleton(name).bytes()),
    };
    ((hash >> 32) as u32).max(1)
}

fn hash_of(bytes: impl Iterator<Item = u8>) -> u64 {
    // An odd number with bits all over (the golden ratio), as in Fibonacci hashing.
    const SPREAD: u64 = 0x9e37_79b9_7f4a_7c15;
    bytes.fold(SPREAD, |hash, byte| {
        (hash.rotate_left(5) ^ u64::from(byte)).wrapping_mul(SPREAD)
    })
}

/// The finding that a name looks like another one, or is the same.
pub(super) fn finding(
    sheet: SheetId,
    row: RowId,
    severity: Severity,
    name: &str,
    other: &str,
) -> Finding {
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
        source: SOURCE.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn equal_skeletons_have_equal_keys(
            a in "[aAlLiI1oO0 \\-_./\t\u{b}\u{200b}\u{212a}kKé]{0,6}",
            b in "[aAlLiI1oO0 \\-_./\t\u{b}\u{200b}\u{212a}kKé]{0,6}",
        ) {
            prop_assert_eq!(skeleton(&a) == skeleton(&b), skeleton_key(&a) == skeleton_key(&b));
            prop_assert_ne!(skeleton_key(&a), 0);
        }
    }
}
