//! How long studies take: every uplink out in turn, and a sweep of many steps.
//!
//! Run with `cargo bench --bench study`, or with a number of uplinks after `--`. A timing is never
//! a test.

use portledger::engine::Engine;
use portledger::files::plan_file;
use portledger::plan::Plan;
use portledger::study::failures;
use portledger::study::failures::Kind;
use portledger::study::sweep::{Asked, Axis, Knob, Watch, sweep};
use portledger::trade;
use std::fmt::Write;
use std::time::Instant;

/// Uplinks of one access switch.
const PER_SWITCH: usize = 4;

/// Access switches under one switch of the distribution.
const PER_UPPER: usize = 40;

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let sizes = if sizes.is_empty() {
        vec![1_000, 10_000]
    } else {
        sizes
    };
    for n_uplinks in sizes {
        let plan = plan_of(n_uplinks);
        let engine = trade::engine(&plan);
        for kinds in [vec![Kind::Link], Kind::ALL.to_vec()] {
            let asked = failures::Asked {
                kinds: kinds.clone(),
                ..failures::Asked::default()
            };
            let started = Instant::now();
            let found = failures::failures(&plan, &engine, &asked).expect("the plan has links");
            let took = started.elapsed();
            report(&format!(
                "{n_uplinks:>7} uplinks, {} kinds: {} failures, {} do harm, {took:.0?}",
                kinds.len(),
                found.n_tried,
                found.harms.len(),
            ));
        }
        sweep_lengths(&plan, &engine, n_uplinks);
    }
}

/// Sweeps the length of one link.
fn sweep_lengths(plan: &Plan, engine: &Engine, n_uplinks: usize) {
    let links = plan.sheet("links").expect("the sheet of links is built in");
    let row = plan.rows(links).order()[0];
    let length = plan.def(links).column("length").expect("a column");
    let knob = Knob::Cell(links, row, length);
    let watch = |name: &&str| Watch::new(plan, engine, name, Some((links, row))).expect("a column");
    let asked = Asked {
        axes: vec![Axis::new(plan, knob, "1 m to 900 m in 10000").expect("a range")],
        watches: ["margin", "headroom", "verdict"]
            .iter()
            .map(watch)
            .collect(),
        with: Vec::new(),
    };
    let started = Instant::now();
    let swept = sweep(plan, engine, asked).expect("the link is there");
    let took = started.elapsed();
    report(&format!(
        "{n_uplinks:>7} uplinks, a sweep of {} points: {} turns, {took:.0?}",
        swept.points.len(),
        swept.turns.len()
    ));
}

fn report(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// Access switches with their uplinks to two switches each, and those to two cores; a path from
/// the first to the last.
fn plan_of(n_uplinks: usize) -> Plan {
    let n_access = n_uplinks / PER_SWITCH;
    let n_upper = (n_access / PER_UPPER).max(2);
    let mut text = String::from("portledger = 1\n\n[rows]\nlinks = '''\n");
    text.push_str("id,from,to,role,speed,members,interface,medium,length,route\n");
    for at in 0..n_access {
        for link in 0..PER_SWITCH {
            let upper = (at / PER_UPPER + link % 2) % n_upper;
            let length = 5 + (at * 37 + link) % 103;
            // Writing to a string cannot fail.
            let _ = writeln!(
                text,
                "L{at}-{link},acc{at},up{upper},uplink,10,1,10GBASE-SR,OM4,{length},duct {}",
                at % 100
            );
        }
    }
    for at in 0..n_upper {
        for core in 0..2 {
            let _ = writeln!(
                text,
                "U{at}-{core},up{at},core{core},uplink,100,4,100GBASE-SR4,OM4,60,"
            );
        }
    }
    text.push_str("'''\nswitches = '''\nid,access_ports,access_speed,uplink_cages,cage\n");
    for at in 0..n_access {
        let _ = writeln!(text, "acc{at},48,10,8,SFP+");
    }
    for at in 0..n_upper {
        let _ = writeln!(text, "up{at},,,200,SFP+");
    }
    text.push_str("core0,,,64,QSFP28\ncore1,,,64,QSFP28\n'''\npaths = '''\nid,from,to\n");
    let _ = writeln!(text, "far,acc0,acc{}", n_access - 1);
    text.push_str("'''\n");
    plan_file::read(&text, trade::empty_plan)
        .expect("the plan is read")
        .0
}
