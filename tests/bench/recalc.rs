//! How long recalculation takes: whole and after one edit, at 10,000 to 1,000,000 links.
//!
//! Run with `cargo bench --bench recalc`, or with row counts after `--`. Prints medians; a
//! timing is never a test. Two sheets are measured: a lean one of twenty computed columns, and
//! the product's own with its checks and verdicts.

mod made;

use made::{PER_SWITCH, plan_text};
use portledger::engine::{Engine, Knowledge};
use portledger::files::plan_file;
use portledger::plan::{Edit, Entry, Plan};
use portledger::problem::Problem;
use portledger::sheet::SheetDef;
use portledger::table::{RowId, SheetId};
use portledger::trade;
use std::time::{Duration, Instant};

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let sizes = if sizes.is_empty() {
        vec![10_000, 100_000, 1_000_000]
    } else {
        sizes
    };
    report(&format!(
        "{:>9} {:<8} {:>11} {:>11} {:>9} {:>10} {:>10} {:>6} {:>10} {:>10}",
        "links",
        "sheet",
        "full",
        "ns/computed",
        "ns/cell",
        "first",
        "length",
        "cells",
        "speed",
        "assumption"
    ));
    for n_links in sizes {
        measure("lean", n_links, lean_plan, lean_engine);
        measure("product", n_links, product_plan, trade::engine);
    }
}

fn report(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout(), "{line}");
}

fn measure(name: &str, n_links: usize, plan: fn(usize) -> Plan, engine: fn(&Plan) -> Engine) {
    let mut plan = plan(n_links);
    let started = Instant::now();
    let mut engine = engine(&plan);
    let first = started.elapsed();
    let full = median((0..9).map(|_| timed(|| engine.recalculate(&plan))));
    // A column that has one value for all rows is computed once.
    let computed: usize = engine.trace().iter().map(|step| step.evaluated).sum();
    let cells: usize = engine
        .trace()
        .iter()
        .map(|step| engine.values(step.column).len())
        .sum();
    let links = plan.sheet("links").expect("the sheet of links is built in");
    let lengths = (0..41).map(|at| {
        edit(
            &mut plan,
            &mut engine,
            links,
            "length",
            row(n_links, at),
            10.0 + f64::from(at),
        )
    });
    let length = median(lengths);
    let evaluated: usize = engine.trace().iter().map(|step| step.evaluated).sum();
    let speeds = (0..41).map(|at| {
        edit(
            &mut plan,
            &mut engine,
            links,
            "speed",
            row(n_links, at),
            2.5e9 + f64::from(at),
        )
    });
    let speed = median(speeds);
    let assumption =
        median((0..9).map(|at| assume(&mut plan, &mut engine, 0.7 + f64::from(at) / 100.0)));
    let ns = |cells: usize| full.as_nanos() as f64 / cells.max(1) as f64;
    let (ns_computed, ns) = (ns(computed), ns(cells));
    report(&format!(
        "{n_links:>9} {name:<8} {full:>11.2?} {ns_computed:>11.2} {ns:>9.2} {first:>10.1?} {length:>10.1?} {evaluated:>6} {speed:>10.1?} {assumption:>10.1?}"
    ));
}

/// A row somewhere in the table, not an uplink.
fn row(n_links: usize, at: u32) -> RowId {
    let row = (at as usize * 7919 * PER_SWITCH + 5) % n_links;
    RowId(u32::try_from(row).expect("rows are numbered in 32 bits"))
}

fn edit(
    plan: &mut Plan,
    engine: &mut Engine,
    sheet: SheetId,
    column: &str,
    row: RowId,
    value: f64,
) -> Duration {
    let column = plan
        .def(sheet)
        .column(column)
        .expect("the column is built in");
    let edit = Edit::SetCells {
        sheet,
        cells: vec![((column, row), Entry::Number(value))],
    };
    let change = plan.apply(edit).expect("the row exists");
    timed(|| assert!(engine.update(plan, &change.touched)))
}

fn assume(plan: &mut Plan, engine: &mut Engine, value: f64) -> Duration {
    let param = plan
        .assumption("connection_loss")
        .expect("the assumption is built in");
    let edit = Edit::SetAssumption {
        param,
        entry: Entry::Number(value),
        source: String::new(),
        own: true,
    };
    let change = plan.apply(edit).expect("the assumption exists");
    timed(|| assert!(engine.update(plan, &change.touched)))
}

fn timed(work: impl FnOnce()) -> Duration {
    let started = Instant::now();
    work();
    started.elapsed()
}

fn median(times: impl Iterator<Item = Duration>) -> Duration {
    let mut times: Vec<Duration> = times.collect();
    times.sort_unstable();
    times[times.len() / 2]
}

fn product_plan(n_links: usize) -> Plan {
    read(n_links, trade::empty_plan)
}

fn lean_plan(n_links: usize) -> Plan {
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

fn lean_engine(plan: &Plan) -> Engine {
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
