//! The sheets on which recalculation is measured: the product's own, and lean ones of twenty
//! computed columns of links and five of switches.
//!
//! Holds no rows and no timings.

use crate::made::plan_text;
use portledger::engine::{Engine, Knowledge};
use portledger::files::plan_file;
use portledger::plan::Plan;
use portledger::problem::Problem;
use portledger::sheet::SheetDef;
use portledger::trade;

/// A plan on all sheets of the product.
pub fn product_plan(n_links: usize) -> Plan {
    read(n_links, trade::empty_plan)
}

/// The same plan on the lean sheets.
pub fn lean_plan(n_links: usize) -> Plan {
    read(n_links, || {
        let full = trade::empty_plan()?;
        let schema: Vec<SheetDef> = full.schema().iter().map(lean_sheet).collect();
        let rows: Vec<(&str, &[Vec<String>])> = ["interfaces", "media", "channels"]
            .map(|name| (name, portledger::sheet::rows_of(name)))
            .to_vec();
        Plan::new(schema, portledger::sheet::assumptions().to_vec(), &rows)
    })
}

fn read(n_links: usize, empty: impl FnOnce() -> Result<Plan, Problem> + Send) -> Plan {
    let (plan, _) = plan_file::read(&plan_text(n_links), empty).expect("the plan is read");
    plan
}

/// An engine of the lean sheets alone, without checks and verdicts.
pub fn lean_engine(plan: &Plan) -> Engine {
    let knowledge = Knowledge {
        library: trade::library(plan),
        shared: &[],
        made: &[],
    };
    Engine::new(plan, plan.schema().to_vec(), knowledge)
}

/// The twenty computed columns of links, and five of switches, of a lean sheet.
const LEAN_LINKS: [&str; 20] = [
    "cables",
    "capacity",
    "line_speed",
    "far",
    "channel",
    "far_channel",
    "is_fibre",
    "forwards",
    "used_connections",
    "fibre_loss",
    "connection_loss",
    "splice_loss",
    "used_splices",
    "loss",
    "loss_limit",
    "margin",
    "reach",
    "headroom",
    "propagation",
    "serialization",
];
const LEAN_SWITCHES: [&str; 5] = [
    "access_connected",
    "downlinks",
    "uplink_capacity",
    "ratio_connected",
    "uplinks",
];

fn lean_sheet(sheet: &SheetDef) -> SheetDef {
    let mut lean = sheet.clone();
    let kept: &[&str] = match sheet.name.as_str() {
        "links" => &LEAN_LINKS,
        "switches" => &LEAN_SWITCHES,
        _ => return lean,
    };
    lean.columns
        .retain(|column| column.entered() || kept.contains(&column.name.as_str()));
    lean
}
