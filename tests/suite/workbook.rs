//! Exported workbooks: an independent engine calculates them anew and has to come to our values, also
//! after cells were changed; and what stands in them is read back.

use calamine::{Data, Reader, Xlsx};
use ironcalc_base::Model;
use ironcalc_base::cell::CellValue;
use ironcalc_base::expressions::types::Area;
use portledger::desk::Desk;
use portledger::report::{Choice, FORMATS, Identity, MOST_CELLS, Request, Written};
use std::collections::BTreeMap;
use std::io::Cursor;

/// A workbook that was written, read back.
pub struct Book {
    pub bytes: Vec<u8>,
    pub written: Written,
    pub pages: Vec<Page>,
}

/// A page: cells by row and column from 0.
pub struct Page {
    pub name: String,
    pub values: BTreeMap<(u32, u32), Data>,
    pub formulas: BTreeMap<(u32, u32), String>,
}

/// Exports what stands on a desk.
pub fn export(desk: &Desk) -> Book {
    export_with(desk, MOST_CELLS)
}

pub fn export_with(desk: &Desk, most_cells: usize) -> Book {
    let base =
        |put: &mut dyn FnMut(&str)| portledger::files::plan_file::write_in_pieces(desk.plan(), put);
    let findings = desk.findings();
    let request = Request {
        plan: desk.plan(),
        engine: desk.engine(),
        findings: &findings,
        base: &base,
        identity: Identity::new(None, &base),
        name: "reef.plan".to_owned(),
        date: Some((2031, 5, 28)),
        proposal: None,
        order: None,
        choice: Choice::default(),
        most_cells,
    };
    let mut out = Cursor::new(Vec::new());
    let written = (FORMATS[0].write)(&request, &mut out, &mut |_| {}).unwrap();
    let bytes = out.into_inner();
    Book {
        pages: pages(&bytes),
        bytes,
        written,
    }
}

fn pages(bytes: &[u8]) -> Vec<Page> {
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).unwrap();
    book.sheet_names()
        .into_iter()
        .map(|name| {
            let range = book.worksheet_range(&name).unwrap();
            let (top, left) = range.start().unwrap_or((0, 0));
            let values = range.used_cells().map(|(row, column, value)| {
                let at = (top + row as u32, left + column as u32);
                (at, value.clone())
            });
            let values = values.collect();
            let range = book.worksheet_formula(&name).unwrap();
            let (top, left) = range.start().unwrap_or((0, 0));
            let formulas = range.used_cells().map(|(row, column, text)| {
                let at = (top + row as u32, left + column as u32);
                (at, text.clone())
            });
            Page {
                formulas: formulas.collect(),
                values,
                name,
            }
        })
        .collect()
}

/// An independent engine with all cells of a workbook in it.
pub struct Calculator {
    model: Model<'static>,
    sheets: BTreeMap<String, u32>,
}

impl Calculator {
    pub fn new(book: &Book) -> Self {
        let mut model = Model::new_empty("book", "en", "UTC", "en").unwrap();
        let mut sheets = BTreeMap::new();
        for (at, page) in book.pages.iter().enumerate() {
            let at = at as u32;
            if at == 0 {
                model.rename_sheet_by_index(0, &page.name).unwrap();
            } else {
                model.add_sheet(&page.name).unwrap();
            }
            sheets.insert(page.name.clone(), at);
        }
        let mut all = Self { model, sheets };
        for page in &book.pages {
            if page.name == portledger::report::BASE {
                continue;
            }
            for (at, value) in &page.values {
                if !page.formulas.contains_key(at) {
                    all.set(&page.name, *at, value);
                }
            }
            for ((row, column), formula) in &page.formulas {
                let sheet = all.sheets[&page.name];
                let formula = format!("={formula}");
                let (row, column) = (*row as i32 + 1, *column as i32 + 1);
                let set = all
                    .model
                    .update_cell_with_formula(sheet, row, column, formula.clone());
                set.unwrap_or_else(|why| panic!("{formula}: {why}"));
            }
        }
        all.model.evaluate();
        all
    }

    /// Changes a cell; nothing follows before `evaluate`.
    pub fn set(&mut self, page: &str, at: (u32, u32), value: &Data) {
        let sheet = self.sheets[page];
        let (row, column) = (at.0 as i32 + 1, at.1 as i32 + 1);
        let model = &mut self.model;
        match value {
            Data::Float(value) => model.update_cell_with_number(sheet, row, column, *value),
            Data::Int(value) => model.update_cell_with_number(sheet, row, column, *value as f64),
            Data::Bool(value) => model.update_cell_with_bool(sheet, row, column, *value),
            Data::String(text) => model.update_cell_with_text(sheet, row, column, text),
            Data::Empty => model.range_clear_contents(&Area {
                sheet,
                row,
                column,
                width: 1,
                height: 1,
            }),
            other => panic!("{page} {at:?}: {other:?}"),
        }
        .unwrap();
    }

    pub fn evaluate(&mut self) {
        self.model.evaluate();
    }

    pub fn value(&self, page: &str, at: (u32, u32)) -> CellValue {
        let sheet = self.sheets[page];
        let (row, column) = (at.0 as i32 + 1, at.1 as i32 + 1);
        self.model
            .get_cell_value_by_index(sheet, row, column)
            .unwrap()
    }
}

/// Whether the engine came to a value of ours.
pub fn agree(ours: Option<&Data>, theirs: &CellValue) -> bool {
    match (ours.unwrap_or(&Data::Empty), theirs) {
        (Data::Empty, CellValue::None) => true,
        (Data::Empty, CellValue::String(text)) => text.is_empty(),
        (Data::String(ours), CellValue::None) => ours.is_empty(),
        (Data::String(ours), CellValue::String(theirs)) => ours == theirs,
        (Data::Bool(ours), CellValue::Boolean(theirs)) => ours == theirs,
        (Data::Float(ours), CellValue::Number(theirs)) => close(*ours, *theirs),
        (Data::Int(ours), CellValue::Number(theirs)) => close(*ours as f64, *theirs),
        _ => false,
    }
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1e-3)
}

/// Every formula cell in which the engine came to something else.
pub fn differences(book: &Book, calculator: &Calculator) -> Vec<String> {
    let mut all = Vec::new();
    for page in &book.pages {
        for (at, formula) in &page.formulas {
            let theirs = calculator.value(&page.name, *at);
            let ours = page.values.get(at);
            if !agree(ours, &theirs) {
                let head = head(page, *at);
                all.push(format!(
                    "{} {at:?} {head}: ours {ours:?}, theirs {theirs:?}\n    ={formula}",
                    page.name
                ));
            }
        }
    }
    all
}

fn head(page: &Page, at: (u32, u32)) -> String {
    let above = page
        .values
        .range(..at)
        .rev()
        .find(|((_, column), value)| *column == at.1 && matches!(value, Data::String(_)));
    above.map_or(String::new(), |(_, value)| value.to_string())
}

/// Row and column of the heads of a page of rows, from 0.
const HEADS: u32 = 3;

impl Book {
    pub fn page(&self, name: &str) -> &Page {
        self.pages.iter().find(|page| page.name == name).unwrap()
    }
}

impl Page {
    /// The column under a heading.
    pub fn column(&self, heading: &str) -> Option<u32> {
        let heads = self.values.range((HEADS, 0)..(HEADS + 1, 0));
        let found =
            heads.filter(|(_, value)| matches!(value, Data::String(text) if text == heading));
        found.map(|((_, column), _)| *column).next()
    }

    /// The row of an id.
    pub fn row(&self, id: &str) -> Option<u32> {
        let rows = self
            .values
            .iter()
            .filter(|((row, column), _)| *row > HEADS && *column == 0);
        let found = rows.filter(|(_, value)| matches!(value, Data::String(text) if text == id));
        found.map(|((row, _), _)| *row).next()
    }

    /// The kind of a column: entered, computed, and so on.
    pub fn kind(&self, column: u32) -> String {
        self.values
            .get(&(HEADS - 1, column))
            .map_or(String::new(), ToString::to_string)
    }

    /// Headings of the columns of a kind.
    pub fn headings(&self, kind: &str) -> Vec<(String, u32)> {
        let heads = self.values.range((HEADS, 0)..(HEADS + 1, 0));
        let all = heads.filter(|((_, column), _)| self.kind(*column) == kind);
        all.map(|((_, column), value)| (value.to_string(), *column))
            .collect()
    }

    /// The ids of the rows.
    pub fn ids(&self) -> Vec<String> {
        let rows = self
            .values
            .iter()
            .filter(|((row, column), _)| *row > HEADS && *column == 0);
        rows.map(|(_, value)| value.to_string()).collect()
    }
}

/// The pages whose rows are those of a sheet.
const SHEETS: [&str; 7] = [
    "Links", "Switches", "Parts", "Paths", "Segments", "Modules", "Readings",
];

/// What the engine has come to, cell by cell, against a book of the plan after the same edits.
///
/// A column that hangs on one that stands as values is compared only where none of those changed.
fn compared(before: &Book, calculator: &Calculator, after: &Book) -> (usize, Vec<String>) {
    let is_stale = SHEETS.iter().any(|name| {
        let (Some(old), Some(new)) = (find(before, name), find(after, name)) else {
            return false;
        };
        old.headings("computed, as a value")
            .iter()
            .any(|(heading, column)| {
                let Some(other) = new.column(heading) else {
                    return true;
                };
                old.ids().iter().any(|id| {
                    let (Some(row), Some(there)) = (old.row(id), new.row(id)) else {
                        return true;
                    };
                    old.values.get(&(row, *column)) != new.values.get(&(there, other))
                })
            })
    });
    let (mut n, mut differ) = (0, Vec::new());
    for name in SHEETS {
        let (Some(old), Some(new)) = (find(before, name), find(after, name)) else {
            continue;
        };
        for (heading, column) in old.headings("computed") {
            let leans = before
                .written
                .leaning
                .contains(&(name.to_owned(), heading.clone()));
            let Some(other) = new.column(&heading).filter(|_| !(is_stale && leans)) else {
                continue;
            };
            for id in old.ids() {
                let (Some(row), Some(there)) = (old.row(&id), new.row(&id)) else {
                    continue;
                };
                let theirs = calculator.value(name, (row, column));
                let ours = new.values.get(&(there, other));
                n += 1;
                if !agree(ours, &theirs) {
                    let formula = &old.formulas.get(&(row, column));
                    differ.push(format!(
                        "{name} {id} {heading}: ours {ours:?}, theirs {theirs:?} {formula:?}"
                    ));
                }
            }
        }
    }
    (n, differ)
}

fn find<'b>(book: &'b Book, name: &str) -> Option<&'b Page> {
    book.pages.iter().find(|page| page.name == name)
}

#[test]
fn an_independent_engine_calculates_the_demo_alike() {
    let book = export(&Desk::demo().unwrap());
    let calculator = Calculator::new(&book);
    let differ = differences(&book, &calculator);
    let n: usize = book.pages.iter().map(|page| page.formulas.len()).sum();
    assert!(n > 10_000, "{n}");
    assert!(
        differ.is_empty(),
        "{} of {n} differ\n{}",
        differ.len(),
        differ[..differ.len().min(25)].join("\n")
    );
}

/// A change as a person types it into the plan, and as it is typed into the workbook.
struct Typed<'t> {
    page: &'t str,
    id: &'t str,
    heading: &'t str,
    cell: Data,
    sheet: &'t str,
    column: &'t str,
    text: &'t str,
}

fn typed<'t>(
    page: &'t str,
    id: &'t str,
    heading: &'t str,
    cell: Data,
    column: &'t str,
    text: &'t str,
) -> Typed<'t> {
    let sheet = match page {
        "Links" => "links",
        "Switches" => "switches",
        "Parts" => "parts",
        other => panic!("{other}"),
    };
    Typed {
        page,
        id,
        heading,
        cell,
        sheet,
        column,
        text,
    }
}

fn set(desk: &mut Desk, sheet: &str, id: &str, column: &str, text: &str) {
    let sheet = desk.plan().sheet(sheet).unwrap();
    let row = desk.plan().find(sheet, id).unwrap();
    let column = desk.plan().def(sheet).column(column).unwrap();
    desk.set(sheet, row, column, text).unwrap();
}

#[test]
fn a_name_that_would_be_a_pattern_finds_no_row() {
    for name in ["*", "acc-*", "?cc-reef", "~"] {
        let mut desk = Desk::demo().unwrap();
        set(&mut desk, "links", "M101", "from", name);
        let book = export(&desk);
        let differ = differences(&book, &Calculator::new(&book));
        assert!(differ.is_empty(), "{name}: {}", differ.join("\n"));
    }
}

fn assume(desk: &mut Desk, name: &str, text: &str) {
    let param = desk.plan().assumption(name).unwrap();
    let entry = desk.plan().read_assumption(param, text).unwrap();
    let edit = portledger::plan::Edit::SetAssumption {
        param,
        entry,
        source: "a test".to_owned(),
        own: true,
    };
    desk.apply("assume", edit).unwrap();
}

#[test]
fn what_is_changed_in_the_workbook_comes_out_as_if_it_were_changed_in_the_plan() {
    let text = |text: &str| Data::String(text.to_owned());
    let edits = [
        typed(
            "Links",
            "M104",
            "Length (m)",
            Data::Float(310.5),
            "length",
            "310.5 m",
        ),
        typed(
            "Links",
            "M101",
            "Interface",
            text("10GBASE-LR"),
            "interface",
            "10GBASE-LR",
        ),
        typed("Links", "M107", "Length (m)", Data::Empty, "length", ""),
        typed("Links", "P103", "Role", text("access"), "role", "access"),
        typed("Links", "P105", "Medium", text("OM4"), "medium", "OM4"),
        typed("Links", "Q103", "State", text("out"), "state", "out"),
    ];
    let assumed = [
        ("connection_loss", "0.35 dB", 0.35),
        ("reserve", "2 dB", 2.0),
        ("frame", "9000 B", 9000.0),
    ];
    for edit in &edits {
        check(std::slice::from_ref(edit), &[]);
    }
    for one in assumed {
        check(&[], &[one]);
    }
    check(&edits, &assumed);
}

fn check(edits: &[Typed<'_>], assumed: &[(&str, &str, f64)]) {
    let mut desk = Desk::demo().unwrap();
    let before = export(&desk);
    let mut calculator = Calculator::new(&before);
    for edit in edits {
        let page = before.page(edit.page);
        let at = (
            page.row(edit.id).unwrap(),
            page.column(edit.heading).unwrap(),
        );
        assert_eq!(page.kind(at.1), "entered", "{}", edit.heading);
        calculator.set(edit.page, at, &edit.cell);
        set(&mut desk, edit.sheet, edit.id, edit.column, edit.text);
    }
    for (name, text, value) in assumed {
        let page = before.page("Assumptions");
        let row = page
            .values
            .iter()
            .find(|(_, value)| value.to_string() == format!("assume.{name}"));
        let row = row.unwrap().0.0;
        calculator.set("Assumptions", (row, 3), &Data::Float(*value));
        assume(&mut desk, name, text);
    }
    calculator.evaluate();
    let after = export(&desk);
    let (n, differ) = compared(&before, &calculator, &after);
    assert!(n > 1_000, "{n}");
    assert!(
        differ.is_empty(),
        "{} of {n} differ\n{}",
        differ.len(),
        differ[..differ.len().min(25)].join("\n")
    );
}

/// A little chance that gives the same for the same seed.
pub struct Chance(pub u64);

impl Chance {
    pub fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % n.max(1) as u64) as usize
    }

    fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    fn of<'t>(&mut self, all: &[&'t str]) -> &'t str {
        all[self.below(all.len())]
    }
}

const INTERFACES: &[&str] = &[
    "10GBASE-SR",
    "10GBASE-LR",
    "1000BASE-T",
    "1000BASE-SX",
    "25GBASE-SR",
    "100GBASE-SR4",
    "10GBASE-T",
    "1000BASE-BX10-D",
    "1000BASE-BX10-U",
    "no such",
    "10gbase-sr",
];
const MEDIA: &[&str] = &[
    "OM1",
    "OM3",
    "OM4",
    "OS2",
    "Cat6A",
    "Cat5e",
    "twinax passive",
    "no such",
];

/// What a person might type into a column.
fn word(
    chance: &mut Chance,
    name: &str,
    def: &portledger::sheet::ColumnDef,
    ids: &[String],
) -> String {
    use portledger::sheet::ColumnKind;
    match (def.kind, def.to.as_deref(), name) {
        (ColumnKind::Choice, _, _) => def.choices[chance.below(def.choices.len())].clone(),
        (ColumnKind::Row, Some("interfaces"), _) => chance.of(INTERFACES).to_owned(),
        (ColumnKind::Row, Some("media"), _) => chance.of(MEDIA).to_owned(),
        (ColumnKind::Row, Some("switches" | "links"), _) if !ids.is_empty() => {
            ids[chance.below(ids.len())].clone()
        }
        (ColumnKind::Row, _, _) => chance.of(&["OFNR", "4", "nowhere"]).to_owned(),
        (_, _, "cage" | "access_cage") => {
            chance.of(&["SFP+", "SFP28", "RJ45", "QSFP28"]).to_owned()
        }
        (_, _, "kind") => chance
            .of(&["module", "cable", "cord", "direct attach", "panel"])
            .to_owned(),
        (_, _, "date") => chance
            .of(&["2031-05-28", "2030-01-02", "2031-05-29", "soon"])
            .to_owned(),
        (_, _, "end") => chance.of(&["near", "far"]).to_owned(),
        (ColumnKind::Number, _, "length") => format!("{} m", chance.below(4_000) as f64 / 10.0),
        (ColumnKind::Number, _, "members") => format!("{}", 1 + chance.below(4)),
        (ColumnKind::Number, _, "order") => format!("{}", 1 + chance.below(3)),
        (ColumnKind::Number, _, "speed" | "access_speed" | "cage_speed") => chance
            .of(&["1 Gb/s", "10 Gb/s", "25 Gb/s", "100 Mb/s"])
            .to_owned(),
        (ColumnKind::Number, _, _) if def.unit == "dBm" => {
            format!("-{}", chance.below(200) as f64 / 10.0)
        }
        (ColumnKind::Number, _, _) => chance
            .of(&["0", "1", "2", "0.5", "3.25", "12", "48"])
            .to_owned(),
        (ColumnKind::Text, _, _) => chance.of(&["hall 1", "=p1", "p2", "A", "a"]).to_owned(),
        (ColumnKind::Flag, _, _) => String::new(),
    }
}

/// A plan with a few rows in every sheet of a person, many of their cells empty.
pub fn any_plan(chance: &mut Chance) -> Desk {
    let mut desk = Desk::empty("Any").unwrap();
    let switches: Vec<String> = (0..1 + chance.below(4))
        .map(|at| format!("sw-{at}"))
        .collect();
    let links: Vec<String> = (0..1 + chance.below(8))
        .map(|at| format!("L{at}"))
        .collect();
    let others = |n: usize, word: &str| {
        (0..n)
            .map(|at| format!("{word}{at}"))
            .collect::<Vec<String>>()
    };
    let (n_parts, n_segments, n_readings) = (chance.below(6), chance.below(6), chance.below(5));
    let sheets = [
        ("switches", switches.clone()),
        ("links", links.clone()),
        ("parts", others(n_parts, "part")),
        ("segments", others(n_segments, "seg")),
        ("readings", others(n_readings, "r")),
    ];
    for (name, ids) in sheets {
        let sheet = desk.plan().sheet(name).unwrap();
        let sparse = 1 + chance.below(4);
        let mut rows = Vec::new();
        for id in &ids {
            let mut cells = Vec::new();
            for column in desk.plan().entered(sheet).collect::<Vec<usize>>() {
                let def = desk.plan().column(sheet, column).clone();
                let text = match column {
                    0 => id.clone(),
                    _ if chance.below(4) < sparse.min(3)
                        && !matches!(&*def.name, "from" | "link" | "medium" | "interface") =>
                    {
                        continue;
                    }
                    _ if chance.one_in(8) => continue,
                    _ => {
                        let pointed = if def.to.as_deref() == Some("links") {
                            &links
                        } else {
                            &switches
                        };
                        word(chance, &def.name, &def, pointed)
                    }
                };
                if let Ok(entry) = portledger::plan::read_entry(desk.plan(), sheet, column, &text) {
                    cells.push((column, entry));
                }
            }
            rows.push(cells);
        }
        desk.apply(
            "rows",
            portledger::plan::Edit::AddRows { sheet, at: 0, rows },
        )
        .unwrap();
    }
    desk
}

/// Changes a few entered cells in the workbook and in the plan alike.
fn change(
    chance: &mut Chance,
    book: &Book,
    calculator: &mut Calculator,
    desk: &mut Desk,
) -> Vec<String> {
    let mut told = Vec::new();
    for _ in 0..3 {
        let (page, name) = [("Links", "links"), ("Switches", "switches")][chance.below(2)];
        let sheet = desk.plan().sheet(name).unwrap();
        let page = book.page(page);
        let entered = page.headings("entered");
        let (heading, column) = &entered[1 + chance.below(entered.len() - 1)];
        let ids = page.ids();
        let id = &ids[chance.below(ids.len())];
        let title = heading.split(" (").next().unwrap();
        let defs = desk.plan().def(sheet).columns.iter();
        let def = defs
            .clone()
            .find(|def| def.title == title && def.entered())
            .unwrap()
            .clone();
        let switches = find(book, "Switches").map_or(Vec::new(), Page::ids);
        let text = match chance.one_in(5) {
            true => String::new(),
            false => word(chance, &def.name, &def, &switches),
        };
        let at = desk.plan().def(sheet).column(&def.name).unwrap();
        let Ok(entry) = portledger::plan::read_entry(desk.plan(), sheet, at, &text) else {
            continue;
        };
        let unit = portledger::units::Units::builtin().unit(&def.unit).unwrap();
        let cell = match entry {
            portledger::plan::Entry::Number(base) => Data::Float(unit.from_base(base)),
            portledger::plan::Entry::Text(code) => Data::String(desk.plan().names().text(code)),
            _ => Data::Empty,
        };
        calculator.set(&page.name, (page.row(id).unwrap(), *column), &cell);
        set(desk, name, id, &def.name, &text);
        told.push(format!("{name} {id} {} = {text}", def.name));
    }
    told
}

#[test]
fn any_plan_is_calculated_alike_before_and_after_changes() {
    let cases = std::env::var("WORKBOOK_CASES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(12);
    let from: u64 = std::env::var("WORKBOOK_SEED")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(1);
    for seed in from..from + cases {
        let mut chance = Chance(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        let mut desk = any_plan(&mut chance);
        let book = export(&desk);
        let mut calculator = Calculator::new(&book);
        let differ = differences(&book, &calculator);
        assert!(
            differ.is_empty(),
            "WORKBOOK_SEED={seed}: {} differ\n{}",
            differ.len(),
            differ[..differ.len().min(12)].join("\n")
        );
        let told = change(&mut chance, &book, &mut calculator, &mut desk);
        calculator.evaluate();
        let (_, differ) = compared(&book, &calculator, &export(&desk));
        assert!(
            differ.is_empty(),
            "WORKBOOK_SEED={seed} after {told:?}: {} differ\n{}",
            differ.len(),
            differ[..differ.len().min(12)].join("\n")
        );
    }
}
