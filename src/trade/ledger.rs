//! Which columns of a sheet a ledger shows, and in which order.
//!
//! The order of a sheet is data in `sheets/`, that of a person is in the plan; here the two meet.

use crate::engine::Engine;
use crate::plan::Plan;
use crate::table::{ColumnId, SheetId};

/// The column that stands right after the id, so that a narrow terminal does not cut it off.
const VERDICT: &str = "verdict";

/// The columns that a ledger shows: the id and the verdict, which stay in view, then as the person
/// ordered them, those that the sheet puts first, and all others that are not quiet.
///
/// Hidden ones are left out, except the id, which names the rows, and the verdict.
pub fn ledger(plan: &Plan, engine: &Engine, sheet: SheetId) -> Vec<ColumnId> {
    let def = &engine.schema()[sheet.at()];
    let view = plan.view(sheet);
    let others = def.columns.iter().filter(|column| !column.quiet);
    let names = view
        .order
        .iter()
        .map(String::as_str)
        .chain(def.ledger.iter().map(String::as_str))
        .chain(others.map(|column| column.name.as_str()));
    let names = names.filter(|name| !view.hidden.contains(*name));
    let mut shown: Vec<usize> = [Some(0), def.column(VERDICT)]
        .into_iter()
        .flatten()
        .collect();
    for position in names.filter_map(|name| def.column(name)) {
        if !shown.contains(&position) {
            shown.push(position);
        }
    }
    let column = |position| engine.column(sheet, position);
    shown.into_iter().map(column).collect()
}
