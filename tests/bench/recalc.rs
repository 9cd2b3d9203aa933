//! How long recalculation takes: whole and after one edit, at 10,000 to 1,000,000 links.
//!
//! Run with `cargo bench --bench recalc`, or with row counts after `--`. Prints medians; a
//! timing is never a test. Two sheets are measured: a lean one of twenty computed columns, and
//! the product's own with its checks and verdicts. The last lines say with which power of the
//! number of links the time of a recalculation grows; 1 is in proportion.

mod made;
#[path = "made/sheets.rs"]
mod sheets;

use made::PER_SWITCH;
use portledger::engine::Engine;
use portledger::plan::{Edit, Entry, Plan};
use portledger::table::{RowId, SheetId};
use portledger::trade;
use sheets::{lean_engine, lean_plan, product_plan};
use std::time::{Duration, Instant};

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let sizes = if sizes.is_empty() {
        vec![10_000, 30_000, 100_000, 300_000, 1_000_000]
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
    let (mut lean, mut product) = (Vec::new(), Vec::new());
    for n_links in sizes {
        lean.push((n_links, measure("lean", n_links, lean_plan, lean_engine)));
        product.push((
            n_links,
            measure("product", n_links, product_plan, trade::engine),
        ));
    }
    for (name, points) in [("lean", lean), ("product", product)] {
        if let Some(power) = power(&points) {
            report(&format!(
                "{name}: a full recalculation grows with the {power:.2}th power of the links"
            ));
        }
    }
}

/// The slope of log time over log links, by least squares; none for fewer than two sizes.
fn power(points: &[(usize, Duration)]) -> Option<f64> {
    let points: Vec<(f64, f64)> = points
        .iter()
        .map(|(n_links, took)| ((*n_links as f64).ln(), took.as_secs_f64().ln()))
        .collect();
    let n = points.len() as f64;
    let mid_x = points.iter().map(|(x, _)| x).sum::<f64>() / n;
    let mid_y = points.iter().map(|(_, y)| y).sum::<f64>() / n;
    let across: f64 = points.iter().map(|(x, _)| (x - mid_x).powi(2)).sum();
    let along: f64 = points.iter().map(|(x, y)| (x - mid_x) * (y - mid_y)).sum();
    (across > 0.0).then(|| along / across)
}

fn report(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// Prints what was measured at one size; gives the time of a full recalculation.
fn measure(
    name: &str,
    n_links: usize,
    plan: fn(usize) -> Plan,
    engine: fn(&Plan) -> Engine,
) -> Duration {
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
    full
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
