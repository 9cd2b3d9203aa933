//! How long it takes to hold three proposals beside the base, at 10,000 to 1,000,000 links.
//!
//! Run with `cargo bench --bench compare`, or with row counts after `--`. Each proposal changes,
//! adds and takes away some rows; the time is that from the open plan to all that is told. Prints
//! medians; a timing is never a test.

use portledger::desk::Desk;
use std::fmt::Write as _;
use std::time::{Duration, Instant};

/// Links of one switch; the first two are uplinks.
const PER_SWITCH: usize = 48;

/// How many of each kind of change a proposal has.
const CHANGES: usize = 12;

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let sizes = if sizes.is_empty() {
        vec![10_000, 100_000]
    } else {
        sizes
    };
    report(&format!(
        "{:>9} {:>10} {:>10} {:>10} {:>8}",
        "links", "opened", "three", "one", "rows"
    ));
    for n_links in sizes {
        measure(n_links);
    }
}

fn report(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout(), "{line}");
}

fn measure(n_links: usize) {
    let text = text(n_links);
    let started = Instant::now();
    let desk = Desk::of_text(&text).expect("a plan");
    let opened = started.elapsed();
    let one = [String::from("proposal 0")];
    let told = desk.compare(&[]).expect("proposals");
    let rows: usize = told.proposals.iter().map(|one| one.n_rows).sum();
    let time = |names: &[String]| {
        median((0..9).map(|_| {
            let started = Instant::now();
            let told = desk.compare(names).expect("proposals");
            let time = started.elapsed();
            assert!(told.proposals.iter().all(|one| one.misfits.is_empty()));
            time
        }))
    };
    let (three, one) = (time(&[]), time(&one));
    report(&format!(
        "{n_links:>9} {opened:>10.1?} {three:>10.1?} {one:>10.1?} {rows:>8}"
    ));
}

fn median(times: impl Iterator<Item = Duration>) -> Duration {
    let mut times: Vec<Duration> = times.collect();
    times.sort_unstable();
    times[times.len() / 2]
}

/// A plan of so many links with three proposals.
fn text(n_links: usize) -> String {
    let mut out = String::from("portledger = 1\ntitle = \"Halls\"\n");
    for at in 0..3 {
        proposal(&mut out, at, n_links);
    }
    out.push_str("\n[rows]\nlinks = '''\n");
    out.push_str("id,from,from_port,to,role,interface,medium,length,state\n");
    for at in 0..n_links {
        let (switch, port, length) = (at / PER_SWITCH, at % PER_SWITCH, 5 + at * 37 % 90);
        let rest = match port {
            0 | 1 => format!("core,uplink,10GBASE-SR,OM4,{length},in service"),
            _ => format!("device {at},access,1000BASE-T,Cat6,{length},in service"),
        };
        let _ = writeln!(out, "L{at},sw{switch},p{port},{rest}");
    }
    out.push_str("'''\nswitches = '''\nid,access_ports,access_speed,uplink_cages,cage\n");
    for switch in 0..=n_links / PER_SWITCH {
        let _ = writeln!(out, "sw{switch},48,1,4,SFP+");
    }
    out.push_str("core,,,48,SFP+\n'''\n");
    out
}

fn proposal(out: &mut String, at: usize, n_links: usize) {
    let _ = write!(
        out,
        "\n[[proposal]]\nname = \"proposal {at}\"\nchanges = '''\nchange,sheet,row,column,value\n"
    );
    let row = |n: usize| (n * 7919 + at * 131) % n_links;
    for n in 0..CHANGES {
        let _ = writeln!(out, "cell,links,L{},length,{}", row(n), 100 + n);
        let _ = writeln!(
            out,
            "cell,links,L{},medium,OM3",
            row(n) / PER_SWITCH * PER_SWITCH
        );
    }
    for n in 0..CHANGES {
        let _ = writeln!(
            out,
            "remove,links,L{}",
            row(n) / PER_SWITCH * PER_SWITCH + 7
        );
    }
    for n in 0..CHANGES {
        let switch = row(n) / PER_SWITCH;
        let _ = write!(
            out,
            "add,links,N{n},,\ncell,links,N{n},from,sw{switch}\ncell,links,N{n},to,core\n\
             cell,links,N{n},role,uplink\ncell,links,N{n},interface,10GBASE-LR\n\
             cell,links,N{n},medium,OS2\ncell,links,N{n},length,{}\n",
            200 + n
        );
    }
    out.push_str("'''\n");
}
