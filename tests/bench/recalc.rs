//! How long recalculation takes: whole and after one edit, at 10,000 to 1,000,000 links.
//!
//! Run with `cargo bench --bench recalc`, or with row counts after `--`. Prints medians; a
//! timing is never a test. Two sheets are measured: a lean one of twenty computed columns, and
//! the product's own with its checks and verdicts.

use portledger::engine::{Engine, Knowledge};
use portledger::plan::{Edit, Entry, Plan, read_entry};
use portledger::sheet::SheetDef;
use portledger::table::{RowId, SheetId};
use portledger::trade;
use std::time::{Duration, Instant};

/// Links of one switch; the first two are uplinks.
const PER_SWITCH: usize = 48;

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
        "{:>9} {:<8} {:>11} {:>9} {:>10} {:>10} {:>6} {:>10} {:>10}",
        "links", "sheet", "full", "ns/cell", "first", "length", "cells", "speed", "assumption"
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
    let cells: usize = engine.trace().iter().map(|step| step.evaluated).sum();
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
    let ns = full.as_nanos() as f64 / cells.max(1) as f64;
    report(&format!(
        "{n_links:>9} {name:<8} {full:>11.2?} {ns:>9.2} {first:>10.1?} {length:>10.1?} {evaluated:>6} {speed:>10.1?} {assumption:>10.1?}"
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
    filled(
        trade::empty_plan().expect("the built-in sheets are read by a test"),
        n_links,
    )
}

fn lean_plan(n_links: usize) -> Plan {
    let full = trade::empty_plan().expect("the built-in sheets are read by a test");
    let schema: Vec<SheetDef> = full.schema().iter().map(lean_sheet).collect();
    let rows: Vec<(&str, Vec<Vec<String>>)> = ["interfaces", "media", "channels"]
        .map(|name| (name, portledger::sheet::rows_of(name)))
        .to_vec();
    let plan = Plan::new(schema, portledger::sheet::assumptions().to_vec(), &rows);
    filled(
        plan.expect("the built-in sheets are read by a test"),
        n_links,
    )
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

fn filled(mut plan: Plan, n_links: usize) -> Plan {
    let n_switches = n_links.div_ceil(PER_SWITCH) + 1;
    let switches = (0..n_switches).map(|at| {
        vec![
            ("id", format!("sw{at}")),
            ("access_ports", "46".to_owned()),
            ("access_speed", "1 Gb/s".to_owned()),
            ("uplink_cages", "4".to_owned()),
            ("cage", "SFP+".to_owned()),
        ]
    });
    add(&mut plan, "switches", switches);
    let links = (0..n_links).map(|at| {
        let (switch, port) = (at / PER_SWITCH, at % PER_SWITCH);
        let uplink = port < 2;
        let words = if uplink {
            ["uplink", "10GBASE-SR", "OM4"]
        } else {
            ["access", "1000BASE-T", "Cat6"]
        };
        vec![
            ("id", format!("L{at}")),
            ("from", format!("sw{switch}")),
            ("from_port", format!("{port}")),
            (
                "to",
                if uplink {
                    format!("sw{}", n_switches - 1)
                } else {
                    String::new()
                },
            ),
            ("role", words[0].to_owned()),
            ("interface", words[1].to_owned()),
            ("medium", words[2].to_owned()),
            (
                "speed",
                if uplink {
                    "10 Gb/s".to_owned()
                } else {
                    "1 Gb/s".to_owned()
                },
            ),
            ("length", format!("{}", 5 + (at * 37) % 90)),
        ]
    });
    add(&mut plan, "links", links);
    plan
}

fn add(plan: &mut Plan, sheet: &str, rows: impl Iterator<Item = Vec<(&'static str, String)>>) {
    let sheet = plan.sheet(sheet).expect("the sheet is built in");
    let entries: Vec<Vec<(usize, Entry)>> = rows
        .map(|cells| {
            let entry = |(name, text): (&str, String)| {
                let column = plan
                    .def(sheet)
                    .column(name)
                    .expect("the column is built in");
                (
                    column,
                    read_entry(plan, sheet, column, &text).expect("the cell is well formed"),
                )
            };
            cells.into_iter().map(entry).collect()
        })
        .collect();
    plan.apply(Edit::AddRows {
        sheet,
        at: 0,
        rows: entries,
    })
    .expect("the rows are well formed");
}
