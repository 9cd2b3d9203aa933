//! The plan that every benchmark measures, at any number of links.
//!
//! Text only: how it is read, and what is measured, is for each benchmark to say.

use portledger::files::plan_file;
use portledger::trade;
use std::fmt::Write as _;

/// Links of one switch; the first two are uplinks.
pub const PER_SWITCH: usize = 48;

/// A plan as its file holds it.
pub fn plan_text(n_links: usize) -> String {
    let n_switches = n_links.div_ceil(PER_SWITCH) + 1;
    let mut text = String::from("portledger = 1\ntitle = \"Measured\"\n\n[rows]\nlinks = '''\n");
    text.push_str("id,from,from_port,to,role,speed,interface,medium,length\n");
    for at in 0..n_links {
        let (switch, port) = (at / PER_SWITCH, at % PER_SWITCH);
        // One copper link in twelve is too long, so that there is something to find.
        let length = 5 + (at * 37) % 103;
        // Writing to a string cannot fail.
        let _ = if port < 2 {
            let core = n_switches - 1;
            writeln!(
                text,
                "L{at},sw{switch},{port},sw{core},uplink,10,10GBASE-SR,OM4,{length}"
            )
        } else {
            writeln!(
                text,
                "L{at},sw{switch},{port},,access,1,1000BASE-T,Cat6,{length}"
            )
        };
    }
    text.push_str("'''\nswitches = '''\nid,access_ports,access_speed,uplink_cages,cage\n");
    for at in 0..n_switches {
        let _ = writeln!(text, "sw{at},46,1,4,SFP+");
    }
    text.push_str("'''\n");
    let (plan, _) = plan_file::read(&text, trade::empty_plan).expect("the plan is read");
    plan_file::write(&plan)
}
