//! How long it takes to write a workbook with live formulas, and how much memory that needs over the
//! plan.
//!
//! Run with `cargo bench --bench export`, or with numbers of links after `--`. Prints the time, the
//! size and the memory; a timing is never a test.

use portledger::desk::{Desk, Wanted};
use std::fmt::Write as _;
use std::time::Instant;

/// As in the program.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Links of one switch; the first two are uplinks.
const PER_SWITCH: usize = 48;

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let sizes = match sizes.is_empty() {
        true => vec![1_000, 10_000, 100_000],
        false => sizes,
    };
    let folder = tempfile::tempdir().expect("a folder for the plans");
    for n_links in sizes {
        let mut desk = Desk::of_text(&plan_text(n_links)).expect("the plan opens");
        let path = folder.path().join("bench.xlsx");
        let before = peak();
        let start = Instant::now();
        let wanted = Wanted {
            replace: true,
            date: None,
            ..Wanted::default()
        };
        let done = desk
            .export(&path, &wanted, &mut |_| {})
            .expect("it is written");
        let took = start.elapsed();
        let size = std::fs::metadata(&path).map_or(0, |file| file.len());
        let written = &done.written;
        report(&format!(
            "{n_links:>8} links: {took:.1?} for {} formulas and {} values, {:.1} MB; memory {:.0} MB over {:.0} MB; {} columns as values",
            written.n_formulas,
            written.n_values,
            size as f64 / 1e6,
            peak() - before,
            before,
            written.values.len()
        ));
    }
}

fn report(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// The most memory that was resident, in MB; 0 where the system does not say.
fn peak() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kilobytes = line.and_then(|line| {
        line.trim()
            .trim_end_matches(" kB")
            .trim()
            .parse::<f64>()
            .ok()
    });
    kilobytes.unwrap_or(0.0) / 1024.0
}

/// A campus of so many links.
fn plan_text(n_links: usize) -> String {
    let n_switches = n_links.div_ceil(PER_SWITCH).max(2);
    let mut text = String::from("portledger = 1\ntitle = \"Bench\"\n\n[rows]\nswitches = '''\n");
    text += "id,building,access_ports,access_speed,uplink_cages,cage\n";
    for at in 0..n_switches {
        let _ = writeln!(text, "s{at},hall {},48,1,4,SFP+", at % 20);
    }
    text +=
        "'''\nlinks = '''\nid,from,from_port,to,to_port,role,interface,medium,length,connections\n";
    for at in 0..n_links {
        let (near, port) = (at / PER_SWITCH, at % PER_SWITCH);
        let far = (near + 1) % n_switches;
        let (role, interface, medium, length) = match port {
            0 | 1 => ("uplink", "10GBASE-SR", "OM3", 40 + at % 300),
            _ => ("access", "1000BASE-T", "Cat6A", 5 + at % 90),
        };
        let _ = writeln!(
            text,
            "L{at},s{near},p{port},s{far},q{at},{role},{interface},{medium},{length},2"
        );
    }
    text += "'''\n";
    text
}
