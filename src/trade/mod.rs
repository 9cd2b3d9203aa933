//! What a network planner knows: functions, checks, verdicts and findings.
//!
//! Rules that a formula can say are data in `sheets/`; here is what turns them into columns and
//! sentences, and the few rules that need code.

mod alike;
mod bits;
mod cages;
mod findings;
mod functions;
mod keys;
mod ledger;
mod namesakes;
mod neighbours;
mod paths;
mod standing;
mod verdict;
mod why;

pub use cages::Cages;
pub use findings::{Finding, Findings, Sentence, find_all};
pub use ledger::ledger;
pub use paths::{Hop, Trail, trails};
pub use standing::{MOST_MOVED, Standing, VERDICTS};
pub use verdict::{Case, Judged, judged};
pub use why::why;

use crate::engine::Engine;
use crate::engine::Knowledge;
use crate::engine::SharedDef;
use crate::formula::Library;
use crate::plan::Plan;
use crate::problem::Problem;

/// Ports that several cable ends name, lanes of split cages, and uplinks of a switch on one route.
const SHARED: &[SharedDef] = &[
    SharedDef {
        sheet: "links",
        column: "port_shares",
        ends: &[("from", "from_port"), ("to", "to_port")],
        counted: "holds_port",
        sum: None,
    },
    SharedDef {
        sheet: "links",
        column: "near_lanes",
        ends: &[("from", "from_cage")],
        counted: "near_is_lane",
        sum: None,
    },
    SharedDef {
        sheet: "links",
        column: "far_lanes",
        ends: &[("to", "to_cage")],
        counted: "far_is_lane",
        sum: None,
    },
    SharedDef {
        sheet: "links",
        column: "route_shares",
        ends: &[("from", "route")],
        counted: "is_redundant",
        sum: None,
    },
    SharedDef {
        sheet: "links",
        column: "route_capacity",
        ends: &[("from", "route")],
        counted: "carries_up",
        sum: Some("capacity"),
    },
];

/// An empty plan over the built-in sheets.
///
/// # Errors
/// Built-in data that cannot be read; a test holds that there is none.
pub fn empty_plan() -> Result<Plan, Problem> {
    let references = crate::sheet::builtin()
        .iter()
        .filter(|sheet| sheet.reference);
    let builtin: Vec<(&str, &[Vec<String>])> = references
        .map(|sheet| (&*sheet.name, crate::sheet::rows_of(&sheet.name)))
        .collect();
    Plan::new(
        crate::sheet::builtin().to_vec(),
        crate::sheet::assumptions().to_vec(),
        &builtin,
    )
}

/// The functions of the language with those that need a planner's knowledge.
pub fn library(plan: &Plan) -> Library {
    Library::builtin().with(functions::all(plan))
}

/// Computes a plan with its checks and verdicts, and says how it stands.
pub fn judge(plan: &Plan) -> (Engine, Standing) {
    // Names need no engine, and much of making one keeps one core busy alone.
    let (engine, names) = rayon::join(|| engine(plan), || standing::names_seen(plan));
    let standing = Standing::of_names(plan, &engine, names);
    (engine, standing)
}

/// Computes a plan with its checks and verdicts.
pub fn engine(plan: &Plan) -> Engine {
    let knowledge = Knowledge {
        library: library(plan),
        shared: SHARED,
        made: &[paths::MADE, neighbours::MADE],
    };
    Engine::new(plan, judged(plan).schema, knowledge)
}
