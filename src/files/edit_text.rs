//! An edit as JSON that means the same in a plan opened later: texts as texts, numbers exact.
//!
//! Rows stand by their place in storage and columns by their position; whether a plan is the one
//! they were counted in is looked at by the caller. A new kind of edit needs its variant in
//! [`Told`] and [`Form`], and its arm in `told` and `Form::edit`.

use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Mapping;
use crate::plan::Place;
use crate::plan::Plan;
use crate::plan::Proposal;
use crate::plan::SheetView;
use crate::plan::Storage;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::sheet::ColumnDef;
use crate::table::ABSENT;
use crate::table::Names;
use crate::table::NamesView;
use crate::table::ParamId;
use crate::table::RowId;
use crate::table::SheetId;
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::collections::{BTreeMap, BTreeSet};

/// An edit on its way out; nothing of it is copied.
#[derive(Serialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Told<'a> {
    SetCells {
        sheet: u16,
        cells: Cells<'a>,
    },
    AddRows {
        sheet: u16,
        at: usize,
        rows: NewRows<'a>,
    },
    RemoveRows {
        sheet: u16,
        rows: RowList<'a>,
    },
    RestoreRows {
        sheet: u16,
        rows: Placed<'a>,
    },
    Reorder {
        sheet: u16,
        order: RowList<'a>,
    },
    SetAssumption {
        param: u16,
        value: Value<'a>,
        source: &'a str,
        own: bool,
    },
    SetFormula {
        sheet: u16,
        column: usize,
        formula: Option<&'a str>,
    },
    AddColumn {
        sheet: u16,
        def: &'a ColumnDef,
    },
    RemoveLastColumn {
        sheet: u16,
    },
    SetSeverity {
        check: &'a str,
        severity: Option<&'static str>,
    },
    SetView {
        sheet: u16,
        order: &'a [String],
        hidden: &'a BTreeSet<String>,
        width: &'a BTreeMap<String, u16>,
    },
    SetMapping {
        name: &'a str,
        mapping: Option<ToldMapping<'a>>,
    },
    SetTitle(&'a str),
    SetProposal {
        name: &'a str,
        proposal: Option<(usize, &'a Proposal)>,
    },
    OpenProposal(&'a str),
    CloseProposal,
    SetId(&'a str),
    Group(Edits<'a>),
}

/// What headings mean, on its way out.
#[derive(Serialize)]
pub(super) struct ToldMapping<'a> {
    headings: &'a [String],
    columns: &'a [(String, String)],
}

/// An edit in the form that is written.
pub(super) fn told<'a>(edit: &'a Edit, names: &'a NamesView<'a>) -> Told<'a> {
    match edit {
        Edit::SetCells { sheet, cells } => Told::SetCells {
            sheet: sheet.0,
            cells: Cells(cells, names),
        },
        Edit::AddRows { sheet, at, rows } => Told::AddRows {
            sheet: sheet.0,
            at: *at,
            rows: NewRows(rows, names),
        },
        Edit::RemoveRows { sheet, rows } => Told::RemoveRows {
            sheet: sheet.0,
            rows: RowList(rows),
        },
        Edit::RestoreRows { sheet, rows } => Told::RestoreRows {
            sheet: sheet.0,
            rows: Placed(rows),
        },
        Edit::Reorder { sheet, order } => Told::Reorder {
            sheet: sheet.0,
            order: RowList(order),
        },
        Edit::SetAssumption {
            param,
            entry,
            source,
            own,
        } => Told::SetAssumption {
            param: param.0,
            value: Value(entry, names),
            source,
            own: *own,
        },
        Edit::SetFormula {
            sheet,
            column,
            formula,
        } => Told::SetFormula {
            sheet: sheet.0,
            column: *column,
            formula: formula.as_deref(),
        },
        Edit::AddColumn { sheet, def } => Told::AddColumn {
            sheet: sheet.0,
            def,
        },
        Edit::RemoveLastColumn { sheet } => Told::RemoveLastColumn { sheet: sheet.0 },
        Edit::SetSeverity { check, severity } => Told::SetSeverity {
            check,
            severity: severity.map(|severity| severity.map_or(OFF, Severity::word)),
        },
        Edit::SetView { sheet, view } => Told::SetView {
            sheet: sheet.0,
            order: &view.order,
            hidden: &view.hidden,
            width: &view.width,
        },
        Edit::SetMapping { name, mapping } => Told::SetMapping {
            name,
            mapping: mapping.as_ref().map(|mapping| ToldMapping {
                headings: &mapping.headings,
                columns: &mapping.columns,
            }),
        },
        Edit::SetTitle(title) => Told::SetTitle(title),
        Edit::SetProposal { name, proposal } => Told::SetProposal {
            name,
            proposal: proposal.as_ref().map(|(at, proposal)| (*at, proposal)),
        },
        Edit::OpenProposal { name } => Told::OpenProposal(name),
        Edit::CloseProposal => Told::CloseProposal,
        Edit::SetId(id) => Told::SetId(id),
        Edit::Group(edits) => Told::Group(Edits(edits, names)),
    }
}

/// The word for a check that is switched off.
const OFF: &str = "off";

pub(super) struct Cells<'a>(&'a [(Place, Entry)], &'a NamesView<'a>);
pub(super) struct NewRows<'a>(&'a [Vec<(usize, Entry)>], &'a NamesView<'a>);
pub(super) struct NewRow<'a>(&'a [(usize, Entry)], &'a NamesView<'a>);
pub(super) struct RowList<'a>(&'a [RowId]);
pub(super) struct Placed<'a>(&'a [(usize, RowId)]);
pub(super) struct Edits<'a>(&'a [Edit], &'a NamesView<'a>);
pub(super) struct Value<'a>(&'a Entry, &'a NamesView<'a>);

impl Serialize for Cells<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let cells = self.0.iter();
        to.collect_seq(cells.map(|((column, row), entry)| (column, row.0, Value(entry, self.1))))
    }
}

impl Serialize for NewRows<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(self.0.iter().map(|row| NewRow(row, self.1)))
    }
}

impl Serialize for NewRow<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let cells = self.0.iter();
        to.collect_seq(cells.map(|(column, entry)| (column, Value(entry, self.1))))
    }
}

impl Serialize for RowList<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(self.0.iter().map(|row| row.0))
    }
}

impl Serialize for Placed<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(self.0.iter().map(|(at, row)| (at, row.0)))
    }
}

impl Serialize for Edits<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(self.0.iter().map(|edit| told(edit, self.1)))
    }
}

impl Serialize for Value<'_> {
    /// Nothing, or a text whose first letter says what it is: number (in base units, the shortest
    /// decimal that gives the same bits), text, or wrong text.
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self.0 {
            Entry::Empty | Entry::Text(ABSENT) => to.serialize_none(),
            Entry::Number(value) => to.collect_str(&format_args!("n{value:?}")),
            Entry::Text(code) => to.collect_str(&format_args!("t{}", self.1.text(*code))),
            Entry::Wrong(text) => to.collect_str(&format_args!("w{text}")),
        }
    }
}

/// Where rows stand in storage, on its way out.
#[derive(Serialize)]
pub(super) struct ToldStorage<'a> {
    sheet: u16,
    order: RowList<'a>,
    removed: RemovedRows<'a>,
}

struct RemovedRows<'a>(&'a Storage, &'a NamesView<'a>);

impl Serialize for RemovedRows<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let removed = self.0.removed.iter();
        to.collect_seq(removed.map(|(row, cells)| (row.0, NewRow(cells, self.1))))
    }
}

/// Where rows stand in storage, in the form that is written.
pub(super) fn told_storage<'a>(storage: &'a Storage, names: &'a NamesView<'a>) -> ToldStorage<'a> {
    ToldStorage {
        sheet: storage.sheet.0,
        order: RowList(&storage.order),
        removed: RemovedRows(storage, names),
    }
}

/// An edit as it was read; it may not fit any plan.
#[derive(Debug, Deserialize)]
#[serde(transparent)]
pub struct Read(Form);

/// The form of [`Told`], with everything owned.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Form {
    SetCells {
        sheet: u16,
        cells: Vec<(usize, u32, ReadValue)>,
    },
    AddRows {
        sheet: u16,
        at: usize,
        rows: Vec<Vec<(usize, ReadValue)>>,
    },
    RemoveRows {
        sheet: u16,
        rows: Vec<u32>,
    },
    RestoreRows {
        sheet: u16,
        rows: Vec<(usize, u32)>,
    },
    Reorder {
        sheet: u16,
        order: Vec<u32>,
    },
    SetAssumption {
        param: u16,
        value: ReadValue,
        source: String,
        own: bool,
    },
    SetFormula {
        sheet: u16,
        column: usize,
        formula: Option<String>,
    },
    AddColumn {
        sheet: u16,
        def: ColumnDef,
    },
    RemoveLastColumn {
        sheet: u16,
    },
    SetSeverity {
        check: String,
        severity: Option<String>,
    },
    SetView {
        sheet: u16,
        order: Vec<String>,
        hidden: BTreeSet<String>,
        width: BTreeMap<String, u16>,
    },
    SetMapping {
        name: String,
        mapping: Option<ReadMapping>,
    },
    SetTitle(String),
    SetProposal {
        name: String,
        proposal: Option<(usize, Proposal)>,
    },
    OpenProposal(String),
    CloseProposal,
    SetId(String),
    Group(Vec<Form>),
}

/// What headings mean, as it was read.
#[derive(Debug, Deserialize)]
struct ReadMapping {
    headings: Vec<String>,
    columns: Vec<(String, String)>,
}

/// The content of a cell, as it was read.
#[derive(Debug)]
enum ReadValue {
    /// Nothing.
    Empty,
    /// A number in base units.
    Number(f64),
    /// A text.
    Text(String),
    /// A text that could not be read for its column.
    Wrong(String),
}

impl<'de> Deserialize<'de> for ReadValue {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let Some(mut text) = Option::<String>::deserialize(from)? else {
            return Ok(Self::Empty);
        };
        let rest = text.split_off(text.chars().next().map_or(0, char::len_utf8));
        match &*text {
            "n" => rest.parse().map(Self::Number).map_err(D::Error::custom),
            "t" => Ok(Self::Text(rest)),
            "w" => Ok(Self::Wrong(rest)),
            _ => Err(D::Error::custom("a content of no known kind")),
        }
    }
}

/// Where rows stood in storage, as it was read.
#[derive(Debug, Deserialize)]
pub struct ReadStorage {
    sheet: u16,
    order: Vec<u32>,
    removed: Vec<(u32, Vec<(usize, ReadValue)>)>,
}

impl ReadStorage {
    /// The state of storage; its texts get their codes.
    pub fn storage(self, names: &Names) -> Storage {
        let removed = self.removed.into_iter();
        Storage {
            sheet: SheetId(self.sheet),
            order: row_ids(self.order),
            removed: removed
                .map(|(row, cells)| (RowId(row), new_row(cells, names)))
                .collect(),
        }
    }
}

impl Read {
    /// The edit for a plan; its texts get their codes there.
    ///
    /// # Errors
    /// A sheet that the plan does not have, a row that comes back twice, or a word that is no
    /// severity.
    pub fn edit(self, plan: &Plan) -> Result<Edit, Problem> {
        self.0.edit(plan)
    }
}

impl Form {
    fn edit(self, plan: &Plan) -> Result<Edit, Problem> {
        let names = plan.names();
        Ok(match self {
            Self::SetCells { sheet, cells } => {
                let cells = cells.into_iter();
                Edit::SetCells {
                    sheet: sheet_of(plan, sheet)?,
                    cells: cells
                        .map(|(column, row, value)| ((column, RowId(row)), value.entry(names)))
                        .collect(),
                }
            }
            Self::AddRows { sheet, at, rows } => Edit::AddRows {
                sheet: sheet_of(plan, sheet)?,
                at,
                rows: rows.into_iter().map(|row| new_row(row, names)).collect(),
            },
            Self::RemoveRows { sheet, rows } => Edit::RemoveRows {
                sheet: sheet_of(plan, sheet)?,
                rows: row_ids(rows),
            },
            Self::RestoreRows { sheet, rows } => {
                let mut once: Vec<u32> = rows.iter().map(|(_, row)| *row).collect();
                once.sort_unstable();
                once.dedup();
                if once.len() != rows.len() {
                    return Err(no_edit("a row comes back twice"));
                }
                let rows = rows.into_iter().map(|(at, row)| (at, RowId(row)));
                Edit::RestoreRows {
                    sheet: sheet_of(plan, sheet)?,
                    rows: rows.collect(),
                }
            }
            Self::Reorder { sheet, order } => Edit::Reorder {
                sheet: sheet_of(plan, sheet)?,
                order: row_ids(order),
            },
            Self::SetAssumption {
                param,
                value,
                source,
                own,
            } => Edit::SetAssumption {
                param: ParamId(param),
                entry: value.entry(names),
                source,
                own,
            },
            Self::SetFormula {
                sheet,
                column,
                formula,
            } => Edit::SetFormula {
                sheet: sheet_of(plan, sheet)?,
                column,
                formula,
            },
            Self::AddColumn { sheet, def } => Edit::AddColumn {
                sheet: sheet_of(plan, sheet)?,
                def,
            },
            Self::RemoveLastColumn { sheet } => Edit::RemoveLastColumn {
                sheet: sheet_of(plan, sheet)?,
            },
            Self::SetSeverity { check, severity } => Edit::SetSeverity {
                check,
                severity: severity.as_deref().map(severity_of).transpose()?,
            },
            Self::SetView {
                sheet,
                order,
                hidden,
                width,
            } => Edit::SetView {
                sheet: sheet_of(plan, sheet)?,
                view: SheetView {
                    order,
                    hidden,
                    width,
                },
            },
            Self::SetMapping { name, mapping } => Edit::SetMapping {
                name,
                mapping: mapping.map(|mapping| Mapping {
                    headings: mapping.headings,
                    columns: mapping.columns,
                }),
            },
            Self::SetTitle(title) => Edit::SetTitle(title),
            Self::SetProposal { name, proposal } => Edit::SetProposal { name, proposal },
            Self::OpenProposal(name) => Edit::OpenProposal { name },
            Self::CloseProposal => Edit::CloseProposal,
            Self::SetId(id) => Edit::SetId(id),
            Self::Group(edits) => {
                let edits = edits.into_iter().map(|edit| edit.edit(plan));
                Edit::Group(edits.collect::<Result<_, Problem>>()?)
            }
        })
    }
}

impl ReadValue {
    fn entry(self, names: &Names) -> Entry {
        match self {
            Self::Empty => Entry::Empty,
            Self::Number(value) => Entry::Number(value),
            Self::Text(text) => Entry::Text(names.code(&text)),
            Self::Wrong(text) => Entry::Wrong(text),
        }
    }
}

fn row_ids(rows: Vec<u32>) -> Vec<RowId> {
    rows.into_iter().map(RowId).collect()
}

fn new_row(cells: Vec<(usize, ReadValue)>, names: &Names) -> Vec<(usize, Entry)> {
    let cells = cells.into_iter();
    cells
        .map(|(column, value)| (column, value.entry(names)))
        .collect()
}

fn sheet_of(plan: &Plan, sheet: u16) -> Result<SheetId, Problem> {
    match usize::from(sheet) < plan.schema().len() {
        true => Ok(SheetId(sheet)),
        false => Err(no_edit("there is no such sheet")),
    }
}

fn severity_of(word: &str) -> Result<Option<Severity>, Problem> {
    match Severity::from_word(word) {
        Some(severity) => Ok(Some(severity)),
        None if word == OFF => Ok(None),
        None => Err(no_edit("there is no such severity")),
    }
}

fn no_edit(why: &str) -> Problem {
    Problem::new("no-edit", why)
}
