//! The reason of a verdict in short: only the checks that found something, and what decided. The
//! reason of a path hop by hop.
//!
//! Every other cell is explained by the engine as it is.

use super::paths;
use crate::engine::Engine;
use crate::engine::Reason;
use crate::plan::Plan;
use crate::table::{ColumnId, RowId};

/// The reason of a cell; that of a verdict leaves out the checks that found nothing.
pub fn why(plan: &Plan, engine: &Engine, column: ColumnId, row: RowId) -> Reason {
    let mut reason = engine.reason(plan, column, row);
    paths::add_hops(plan, engine, &mut reason);
    if engine.def(column).is_some_and(|def| def.name == "verdict") {
        reason
            .inputs
            .retain(|input| input.value == "yes" || is_state(&input.name));
        reason.formula = Some(
            "fails where a stop is found, else unknown where an input is missing, else tight, else fits"
                .to_owned(),
        );
        reason.numbers = None;
    }
    reason
}

/// The two flags that decide where no stop is found.
fn is_state(name: &str) -> bool {
    matches!(name, "is_unknown" | "is_tight")
}
