//! Whole formulas over a small book of sheets: what they read, what they say, what they give.
//!
//! The book is here; the results are in `results.rs`, the problems in `told.rs`.

mod any_text;
mod results;
mod run;
mod told;

use super::functions::{Body, More, param};
use super::*;
use crate::table::{ABSENT, MISSING};
use crate::units::Units;

/// One cell of the book, in base units.
#[derive(Debug, Clone, PartialEq)]
enum Value {
    Number(f64),
    /// A text, and for a column of rows the row it names.
    Text(&'static str),
    /// A computed row.
    Row(u32),
    Empty,
}

use Value::{Empty, Number, Row, Text};

struct TestColumn {
    name: &'static str,
    ty: Ty,
    entered: bool,
    cells: Vec<Value>,
}

struct TestSheet {
    name: &'static str,
    columns: Vec<TestColumn>,
}

struct Book {
    sheets: Vec<TestSheet>,
    assumptions: Vec<(&'static str, Ty, Value)>,
    names: Names,
}

fn unit(symbol: &str) -> Ty {
    Ty::Number(Units::builtin().unit(symbol).unwrap().measure)
}

fn entered(name: &'static str, ty: Ty, cells: Vec<Value>) -> TestColumn {
    TestColumn {
        name,
        ty,
        entered: true,
        cells,
    }
}

fn computed(name: &'static str, ty: Ty, cells: Vec<Value>) -> TestColumn {
    TestColumn {
        entered: false,
        ..entered(name, ty, cells)
    }
}

const SWITCHES: Ty = Ty::Row(SheetId(0));
const MEDIA: Ty = Ty::Row(SheetId(2));
const REACHES: Ty = Ty::Row(SheetId(3));

/// Three switches, four links, two media and their reaches.
fn book() -> Book {
    let switches = vec![
        entered(
            "id",
            Ty::Text,
            vec![Text("core"), Text("hall"), Text("pump")],
        ),
        entered("building", Ty::Text, vec![Text("A"), Text("B"), Text("B")]),
        entered("above", SWITCHES, vec![Empty, Text("core"), Text("hall")]),
        entered("ports", unit(""), vec![Number(4.0), Number(48.0), Empty]),
        entered(
            "heat",
            unit("°C"),
            vec![Number(293.15), Number(303.15), Empty],
        ),
        computed("upper", SWITCHES, vec![Empty, Row(0), Row(1)]),
    ];
    let links = vec![
        entered(
            "id",
            Ty::Text,
            vec![Text("L1"), Text("L2"), Text("L3"), Text("L4")],
        ),
        entered(
            "from",
            SWITCHES,
            vec![Text("hall"), Text("hall"), Text("PUMP"), Text("pond")],
        ),
        entered(
            "to",
            SWITCHES,
            vec![Text("core"), Text("core"), Text("hall"), Empty],
        ),
        entered(
            "role",
            Ty::Text,
            vec![Text("uplink"), Text("access"), Text("Uplink"), Empty],
        ),
        entered(
            "speed",
            unit("Gb/s"),
            vec![Number(1e10), Number(1e9), Number(1e10), Number(1e9)],
        ),
        entered(
            "medium",
            MEDIA,
            vec![Text("OM3"), Text("om4"), Text("OM9"), Empty],
        ),
        entered(
            "far_medium",
            MEDIA,
            vec![Empty, Text("OM3"), Empty, Text("OM9")],
        ),
        entered(
            "length",
            unit("m"),
            vec![Number(100.0), Number(250.0), Empty, Number(10.0)],
        ),
        entered(
            "tx_power",
            unit("dBm"),
            vec![Number(-3.0), Number(0.0), Number(-7.3), Empty],
        ),
        entered(
            "loss",
            unit("dB"),
            vec![Number(1.0), Number(2.5), Number(3.0), Empty],
        ),
        entered(
            "splices",
            unit(""),
            vec![Number(2.0), Empty, Number(0.0), Number(1.0)],
        ),
        computed(
            "short",
            Ty::Flag,
            vec![Number(1.0), Number(0.0), Empty, Number(1.0)],
        ),
    ];
    let media = vec![
        entered("id", Ty::Text, vec![Text("OM3"), Text("OM4")]),
        entered(
            "attenuation",
            unit("dB/km"),
            vec![Number(0.003), Number(0.0025)],
        ),
        entered(
            "attenuation_850",
            unit("dB/km"),
            vec![Number(0.0035), Number(0.003)],
        ),
        entered(
            "attenuation_1300",
            unit("dB/km"),
            vec![Number(0.0015), Number(0.0014)],
        ),
        entered("old_name", Ty::Text, vec![Text("laser"), Empty]),
    ];
    let reaches = vec![
        entered("id", Ty::Text, vec![Text("r1"), Text("r2"), Text("r3")]),
        entered("medium", MEDIA, vec![Text("OM3"), Text("OM4"), Text("OM4")]),
        entered(
            "at",
            SWITCHES,
            vec![Text("core"), Text("core"), Text("hall")],
        ),
        entered(
            "reach",
            unit("m"),
            vec![Number(300.0), Number(400.0), Number(550.0)],
        ),
    ];
    let sheet = |name, columns| TestSheet { name, columns };
    Book {
        sheets: vec![
            sheet("switches", switches),
            sheet("links", links),
            sheet("media", media),
            sheet("reaches", reaches),
        ],
        assumptions: vec![
            ("reserve", unit("dB"), Number(0.5)),
            ("basis", Ty::Text, Text("ISO")),
        ],
        names: Names::default(),
    }
}

impl Book {
    fn at(&self, id: ColumnId) -> (SheetId, &TestColumn) {
        let sheet = id.0 / 100;
        let column = &self.sheets[sheet as usize].columns[(id.0 % 100) as usize];
        (SheetId(u16::try_from(sheet).unwrap()), column)
    }

    fn cell(&self, id: ColumnId, row: u32) -> &Value {
        self.at(id).1.cells.get(row as usize).unwrap_or(&Empty)
    }

    fn n_rows(&self, sheet: SheetId) -> u32 {
        u32::try_from(self.sheets[sheet.at()].columns[0].cells.len()).unwrap()
    }

    fn number_at(&self, id: ColumnId, row: u32) -> f64 {
        match self.cell(id, row) {
            Number(value) => *value,
            Text(_) | Row(_) | Empty => MISSING,
        }
    }

    fn text_at(&self, id: ColumnId, row: u32) -> u32 {
        match self.cell(id, row) {
            Text(text) => self.names.code(text),
            Number(_) | Row(_) | Empty => ABSENT,
        }
    }

    fn row_at(&self, id: ColumnId, row: u32) -> u32 {
        match (self.cell(id, row), self.at(id).1.ty) {
            (Text(text), Ty::Row(sheet)) => self.row(sheet, text).unwrap_or(ABSENT),
            (Row(row), _) => *row,
            (Text(_) | Number(_) | Empty, _) => ABSENT,
        }
    }
}

impl Scope for Book {
    fn sheet(&self, name: &str) -> Option<SheetId> {
        let at = self.sheets.iter().position(|sheet| sheet.name == name)?;
        Some(SheetId(u16::try_from(at).unwrap()))
    }

    fn sheet_name(&self, sheet: SheetId) -> &str {
        self.sheets[sheet.at()].name
    }

    fn sheet_names(&self) -> Vec<&str> {
        self.sheets.iter().map(|sheet| sheet.name).collect()
    }

    fn column(&self, sheet: SheetId, name: &str) -> Option<ColumnInfo> {
        let columns = &self.sheets[sheet.at()].columns;
        let at = columns.iter().position(|column| column.name == name)?;
        Some(ColumnInfo {
            id: ColumnId(u32::from(sheet.0) * 100 + u32::try_from(at).unwrap()),
            ty: columns[at].ty,
            entered: columns[at].entered,
            unit: Unit::none(),
        })
    }

    fn column_names(&self, sheet: SheetId) -> Vec<&str> {
        self.sheets[sheet.at()]
            .columns
            .iter()
            .map(|column| column.name)
            .collect()
    }

    fn id_column(&self, sheet: SheetId) -> ColumnId {
        ColumnId(u32::from(sheet.0) * 100)
    }

    fn row(&self, sheet: SheetId, id: &str) -> Option<u32> {
        let ids = &self.sheets[sheet.at()].columns[0].cells;
        let is = |cell: &Value| matches!(cell, Text(text) if text.eq_ignore_ascii_case(id));
        ids.iter().position(is).map(|at| u32::try_from(at).unwrap())
    }

    fn row_names(&self, sheet: SheetId) -> Vec<String> {
        (0..self.n_rows(sheet))
            .map(|row| self.names.text(self.text_at(self.id_column(sheet), row)))
            .collect()
    }

    fn assumption(&self, name: &str) -> Option<ParamInfo> {
        let at = self
            .assumptions
            .iter()
            .position(|(known, _, _)| *known == name)?;
        Some(ParamInfo {
            id: ParamId(u16::try_from(at).unwrap()),
            ty: self.assumptions[at].1,
            unit: Unit::none(),
        })
    }

    fn assumption_names(&self) -> Vec<&str> {
        self.assumptions.iter().map(|(name, _, _)| *name).collect()
    }

    fn names(&self) -> &Names {
        &self.names
    }
}

fn library() -> Library {
    let number = |symbol: &str| unit(symbol);
    Library::builtin().with(vec![
        Function {
            name: "attenuation_at",
            doc: "The attenuation of a medium at a wavelength",
            params: vec![
                param("medium", "a row of media", MEDIA),
                param("wavelength", "the wavelength", number("nm")),
            ],
            more: More::No,
            source: functions::ARITHMETIC,
            example: ("attenuation_at(\"OM3\", 850 nm)", "3.5 dB/km"),
            workbook: "",
            body: Body::Formula(
                "pick(wavelength < 1000 nm, medium.attenuation_850, medium.attenuation_1300)",
            ),
        },
        Function {
            name: "better",
            doc: "The first medium, else the second",
            params: vec![
                param("a", "a row of media", MEDIA),
                param("b", "a row of media", MEDIA),
            ],
            more: More::No,
            source: functions::ARITHMETIC,
            example: ("better(\"OM3\", \"OM4\")", "OM3"),
            workbook: "",
            body: Body::Formula("first_given(a, b)"),
        },
        Function {
            name: "endless",
            doc: "A function that calls itself",
            params: vec![param("x", "a number", number(""))],
            more: More::No,
            source: functions::ARITHMETIC,
            example: ("endless(1)", ""),
            workbook: "",
            body: Body::Formula("endless(x) + 1"),
        },
    ])
}
