//! Any table as a person might keep it, for tests: all that an import looks at, in any order.
//!
//! The same seed gives the same table. What is expected of it stands in `tests.rs`.

use super::source::{Source, Wish};
use super::{Decimal, Import, aside_lines};
use crate::files::spreadsheet::{Area, Grid, Kind, Page};
use crate::plan::{Edit, Entry, Plan};
use std::fmt::Write;

/// Numbers that look like chance (SplitMix64: Steele, Lea and Flood, 2014).
struct Chance(u64);

impl Chance {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let z = z ^ (z >> 31);
        usize::try_from(z % n.max(1) as u64).unwrap_or(0)
    }

    fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    fn of<'t>(&mut self, all: &[&'t str]) -> &'t str {
        all[self.below(all.len())]
    }
}

const HEADINGS: [&str; 40] = [
    "id",
    "Cable ID",
    "Device A",
    "Port A",
    "Device B",
    "Port B",
    "from",
    "from_port",
    "to",
    "to_port",
    "Device",
    "Device",
    "Port",
    "Port",
    "Role",
    "Speed",
    "Speed (Mb/s)",
    "Interface",
    "Type",
    "medium",
    "Length (m)",
    "Length (ft)",
    "Len",
    "Distance",
    "Connections",
    "Splices",
    "Status",
    "Rack",
    "Notes",
    "Date in",
    "Insertion loss",
    "RX power",
    "module",
    "members",
    "",
    "Rack",
    "polish",
    "Cost (EUR)",
    "extra_loss",
    "flow_rate",
];

const ANY: [&str; 56] = [
    "",
    "",
    "-",
    "n/a",
    "tbd",
    "?",
    "1",
    "2",
    "10",
    "100",
    "1000",
    "10G",
    "4x10G",
    "40G-4x10",
    "10GE",
    "2.5",
    "1,5",
    "1,234",
    "1.234,5",
    "1 234,5",
    "12 m",
    "12'",
    "12' 6\"",
    "30 ft",
    "3 dB",
    "-3,2 dBm",
    "OM3",
    "om4",
    "dac-sfp28-25g-3m",
    "DAC 25G",
    "seaweed",
    "planned",
    "Installed",
    "on fire",
    "access",
    "leaf-spine",
    "SFP+",
    "10GBASE-SR",
    "acc-1 p3",
    "acc-1 port 4",
    "xe-0/0/1",
    "g1/0/6-7",
    "Ethernet[1-4]",
    "p1-p4",
    "#DIV/0!",
    "Total",
    "Hall 1:",
    "# remark",
    "1E+05",
    "4-Mar",
    "2031-03-04",
    "45000",
    "'=1+1",
    "yes",
    "é水",
    "a note, with a comma",
];

const DEVICES: [&str; 7] = ["acc-1", "acc-2", "ACC-1", "dist-1", "dist-2", "pump 1", "-"];
const PORTS: [&str; 8] = ["p1", "p2", "p3", "1/47", "g1/0/6-7", "xe-0/0/0", "", "5"];

/// A cell under a heading: most often what belongs there.
fn cell(chance: &mut Chance, heading: &str, row: usize) -> String {
    if chance.one_in(9) {
        return chance.of(&ANY).to_owned();
    }
    let lower = heading.to_lowercase();
    let word = match lower.as_str() {
        "id" | "cable id" => match chance.below(9) {
            0 => return String::new(),
            1 => "L1",
            2 => return format!("l{}", row / 2),
            _ => return format!("L{row}"),
        },
        "device a" | "device b" | "from" | "to" | "device" => match chance.below(8) {
            0 => "",
            1 => "acc-1 p3",
            _ => chance.of(&DEVICES),
        },
        "port a" | "port b" | "from_port" | "to_port" | "port" => chance.of(&PORTS),
        "role" => chance.of(&["access", "uplink", "Servers", "leaf-spine", "mystery", ""]),
        "speed" | "speed (mb/s)" => {
            chance.of(&["10G", "10", "1000", "4x10G", "2 x 25G", "fast", "100", ""])
        }
        "type" | "medium" => chance.of(&[
            "OM3",
            "om4",
            "dac-sfp28-25g-3m",
            "Cat 6A",
            "seaweed",
            "",
            "AOC 10G",
        ]),
        "status" => chance.of(&["planned", "Installed", "in use", "live", "on fire", ""]),
        "date in" => chance.of(&["45000", "2031-03-04", "soon", "60", ""]),
        "rack" | "notes" => chance.of(&["R1", "R2", "", "hall 1", "-"]),
        "polish" => chance.of(&["UPC", "apc", "", "shiny"]),
        "module" => chance.of(&["SFP+", "SFP28", ""]),
        _ => match chance.below(7) {
            0 => "",
            1 => "1,5",
            2 => "12 m",
            3 => "1,234",
            _ => return format!("{}.5", chance.below(400)),
        },
    };
    word.to_owned()
}

/// The cells of a table, row by row, and where its headings stand.
fn table(chance: &mut Chance, most_rows: usize) -> (Vec<Vec<String>>, usize) {
    let mut headings: Vec<String> = Vec::new();
    let is_ours = chance.one_in(6);
    if is_ours {
        headings = [
            "id",
            "verdict",
            "from",
            "to",
            "length (m)",
            "margin (dB)",
            "notes",
        ]
        .map(str::to_owned)
        .to_vec();
        headings.truncate(6 + chance.below(2));
    } else if chance.one_in(2) {
        let ends = ["Cable ID", "Device A", "Port A", "Device B", "Port B"];
        headings.extend(ends.map(str::to_owned));
        for _ in 0..chance.below(6) {
            headings.push(chance.of(&HEADINGS).to_owned());
        }
    } else {
        for _ in 0..1 + chance.below(9) {
            headings.push(chance.of(&HEADINGS).to_owned());
        }
        let at = chance.below(headings.len());
        headings[at] = chance
            .of(&["id", "Device A", "from", "Cable ID"])
            .to_owned();
    }
    let mut rows = Vec::new();
    for _ in 0..chance.below(3) {
        rows.push(vec![
            chance
                .of(&["Cables of the pump house", "", "rev 3"])
                .to_owned(),
        ]);
    }
    let n_above = rows.len();
    rows.push(headings.clone());
    let is_neat = chance.one_in(2);
    for row in 0..chance.below(most_rows) {
        let odd = if is_neat {
            usize::MAX
        } else {
            chance.below(24)
        };
        let mut cells = match odd {
            0 => vec![
                chance
                    .of(&["Hall 2:", "Pumps", "# old", "Total", "L7"])
                    .to_owned(),
            ],
            1 => headings.clone(),
            2 => Vec::new(),
            3 => vec!["Sum".to_owned(), String::new(), "12".to_owned()],
            4 => {
                let before = &rows[n_above + chance.below(rows.len() - n_above)];
                // The same two ends the other way round, where they stand in the usual places.
                let mut cells = before.clone();
                if cells.len() > 4 {
                    cells.swap(1, 3);
                    cells.swap(2, 4);
                }
                cells
            }
            _ => headings
                .iter()
                .map(|heading| cell(chance, heading, row))
                .collect(),
        };
        match odd {
            5 => cells.truncate(chance.below(cells.len() + 1)),
            6 => cells.extend(["beside".to_owned(), chance.of(&ANY).to_owned()]),
            7 => {
                cells.resize(headings.len() + chance.below(4), String::new());
                cells.push("far".to_owned());
            }
            8 => cells.fill(String::new()),
            _ => {}
        }
        rows.push(cells);
    }
    (rows, n_above)
}

fn as_text(chance: &mut Chance, rows: &[Vec<String>]) -> Vec<u8> {
    let separator = *[',', ',', ';', '\t', '|']
        .get(chance.below(5))
        .unwrap_or(&',');
    let quotes_all = chance.one_in(6);
    let ending = if chance.one_in(4) { "\r\n" } else { "\n" };
    let mut text = String::new();
    for row in rows {
        for (at, cell) in row.iter().enumerate() {
            if at > 0 {
                text.push(separator);
            }
            let special = cell.contains([separator, '"', '\n']);
            match special || quotes_all && !cell.is_empty() {
                true => {
                    let _ = write!(text, "\"{}\"", cell.replace('"', "\"\""));
                }
                false => text.push_str(cell),
            }
        }
        text.push_str(ending);
    }
    if chance.one_in(3) {
        text.truncate(text.trim_end().len());
    }
    text.into_bytes()
}

/// A page as a spreadsheet has it: kinds of cells, hidden rows, merged cells.
fn as_page(chance: &mut Chance, rows: &[Vec<String>]) -> Source {
    let (mut grid, mut merged) = (Grid::default(), Vec::new());
    let merges = chance.one_in(3);
    let mut number = 0;
    for row in rows {
        number += 1 + u32::from(chance.one_in(20));
        grid.begin_row(number, chance.one_in(12));
        for (column, text) in row.iter().enumerate() {
            let kind = match chance.below(30) {
                0 => Kind::Error,
                1 => Kind::NotCalculated,
                2 => Kind::Flag,
                3 => Kind::Date,
                _ if text.parse::<f64>().is_ok() => Kind::Number,
                _ => Kind::Text,
            };
            let text = match kind {
                Kind::NotCalculated => "",
                _ => text,
            };
            if !text.is_empty() || kind == Kind::NotCalculated {
                grid.push(column, kind, text);
            }
        }
        if merges && chance.one_in(6) {
            let left = u32::try_from(chance.below(4)).unwrap_or(0);
            merged.push(Area {
                top: number,
                bottom: number + 2,
                left,
                right: left,
            });
        }
    }
    Source {
        page: Page {
            name: "p".to_owned(),
            grid,
            merged,
            is_whole: true,
            ..Page::default()
        },
        name: "cables".to_owned(),
        others: Vec::new(),
        notes: Vec::new(),
        separator: None,
        from_1904: chance.one_in(4),
    }
}

/// Any table and what a person says of it; `None` where it is refused as no table.
pub(super) fn any_table(seed: u64, most_rows: usize) -> Option<(Source, Wish)> {
    let mut chance = Chance(seed);
    let (rows, n_above) = table(&mut chance, most_rows);
    let wish = Wish {
        decimal: *[None, None, None, Some(Decimal::Comma), Some(Decimal::Point)]
            .get(chance.below(5))
            .unwrap_or(&None),
        leaves_hidden: chance.one_in(3),
        tells_apart: chance.one_in(3),
        heading_row: chance.one_in(5).then_some(n_above + 1),
        ..Wish::default()
    };
    let source = match chance.one_in(2) {
        true => Source::of_text(&as_text(&mut chance, &rows), "cables", &wish).ok()?,
        false => as_page(&mut chance, &rows),
    };
    Some((source, wish))
}

/// All that an import says, and every cell of its edit as text.
pub(super) fn told(plan: &Plan, import: &Import) -> String {
    let mut out = String::new();
    for line in import.notes.iter().chain(&aside_lines(&import.set_aside)) {
        let _ = writeln!(out, "{line}");
    }
    let counts = (import.n_links, import.n_switches, import.n_twins);
    let _ = writeln!(
        out,
        "{counts:?} {:?} {:?}",
        import.heading_rows, import.kept_as
    );
    for mapped in &import.mapped {
        let _ = writeln!(out, "{mapped:?}");
    }
    edit(plan, &import.edit, &mut out);
    out
}

fn edit(plan: &Plan, one: &Edit, out: &mut String) {
    match one {
        Edit::Group(all) => all.iter().for_each(|one| edit(plan, one, out)),
        Edit::AddRows { sheet, at, rows } => {
            let _ = writeln!(out, "{sheet:?} at {at}");
            for row in rows {
                for (column, entry) in row {
                    let _ = match entry {
                        Entry::Empty => write!(out, " {column} nothing"),
                        Entry::Number(value) => write!(out, " {column} {value:?}"),
                        Entry::Text(code) => {
                            write!(out, " {column} {:?}", plan.names().text(*code))
                        }
                        Entry::Wrong(text) => write!(out, " {column} wrong {text:?}"),
                    };
                }
                out.push('\n');
            }
        }
        other => {
            let _ = writeln!(out, "{other:?}");
        }
    }
}
