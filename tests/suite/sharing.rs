//! Lists, data, open spreadsheets and work lists: what goes out is read back by other readers and is
//! the same, and nothing in it acts.

use calamine::{Data, Ods, Reader};
use portledger::desk::Desk;
use portledger::files::table_text::TableText;
use portledger::files::table_text::unguarded;
use portledger::report::{Choice, Format, Identity, MOST_CELLS, OrderPage, ProposalPage, Request, Written};
use portledger::report::format_of;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::io::Cursor;
use std::io::Read;
use std::path::Path;
use unicode_width::UnicodeWidthStr;

/// What went out, and what is said of it.
pub struct Sent {
    pub bytes: Vec<u8>,
    pub written: Written,
}

impl Sent {
    pub fn text(&self) -> &str {
        std::str::from_utf8(&self.bytes).unwrap()
    }
}

pub fn format(ending: &str) -> &'static Format {
    format_of(Path::new(&format!("reef.{ending}"))).unwrap()
}

/// Exports what stands on a desk in the format of an ending.
pub fn send(desk: &Desk, ending: &str, choice: Choice) -> Sent {
    send_with(desk, ending, choice, None, None)
}

pub fn send_with(
    desk: &Desk,
    ending: &str,
    choice: Choice,
    proposal: Option<ProposalPage>,
    order: Option<OrderPage>,
) -> Sent {
    let base = portledger::files::plan_file::write(desk.plan());
    let findings = desk.findings();
    let request = Request {
        plan: desk.plan(),
        engine: desk.engine(),
        findings: &findings,
        base: &base,
        identity: Identity::new(None, &base),
        name: "reef.plan".to_owned(),
        date: Some((2031, 5, 28)),
        proposal,
        order,
        choice,
        most_cells: MOST_CELLS,
    };
    let mut out = Cursor::new(Vec::new());
    let written = (format(ending).write)(&request, &mut out, &mut |_| {}).unwrap();
    Sent {
        bytes: out.into_inner(),
        written,
    }
}

pub fn plain(desk: &Desk, ending: &str) -> Sent {
    send(desk, ending, Choice::default())
}

fn one_sheet(desk: &Desk, name: &str) -> Choice {
    Choice {
        sheets: vec![desk.plan().sheet(name).unwrap()],
        ..Choice::default()
    }
}

#[test]
fn dump() {
    if let Ok(folder) = std::env::var("DUMP") {
        let desk = Desk::demo().unwrap();
        for ending in ["html", "ods", "csv", "json", "txt"] {
            std::fs::write(format!("{folder}/reef.{ending}"), plain(&desk, ending).bytes).unwrap();
        }
    }
}
