//! One row of a table as the cells of a link.
//!
//! Cells that cannot be read stay as they are; what is told about them is in `report.rs`.

use super::headings::{Columns, NO_HEADING, Target};
use super::report::{Reason, Report};
use super::words::{self, Media, Medium};
use crate::plan::Entry;
use crate::plan::Plan;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::Units;
use crate::units::shown;
use crate::units::split_quantity;
use rustc_hash::FxHashMap;
use std::borrow::Cow;

/// A link that was read.
#[derive(Debug)]
pub(super) struct Link {
    /// The row of the source.
    pub(super) row: usize,
    /// Its cells that hold something.
    pub(super) cells: Vec<(usize, Entry)>,
}

impl Link {
    /// The code of the text in a column.
    pub(super) fn code(&self, column: usize) -> Option<u32> {
        self.cells.iter().find_map(|(at, entry)| match entry {
            Entry::Text(code) if *at == column => Some(*code),
            Entry::Text(_) | Entry::Empty | Entry::Number(_) | Entry::Wrong(_) => None,
        })
    }

    /// Its id, if it has one.
    pub(super) fn id(&self, plan: &Plan) -> Option<String> {
        self.code(0).map(|code| plan.names().text(code))
    }

    fn has(&self, column: usize) -> bool {
        self.cells.iter().any(|(at, _)| *at == column)
    }
}

/// All rows of a table while they are read.
pub(super) struct Rows<'p> {
    plan: &'p Plan,
    sheet: SheetId,
    columns: Columns,
    /// For each heading how its cells are read.
    ways: Vec<Way>,
    media: Media,
    read_media: FxHashMap<String, Option<Medium>>,
    links: Vec<Link>,
    n_headings: usize,
}

/// How the cells of a heading are read.
#[derive(Debug, Clone, Copy)]
enum Way {
    /// As a person would type them.
    Typed,
    /// As text for a column that the plan does not have yet.
    Text,
    /// By other words for a choice; the text itself goes to a second column.
    Word(fn(&str) -> Option<&'static str>, usize),
    /// As a medium that may say more; the text itself goes to a second column.
    Medium(usize),
}

impl<'p> Rows<'p> {
    pub(super) fn new(plan: &'p Plan, sheet: SheetId, mut columns: Columns) -> Self {
        let targets = columns.targets.clone();
        let n_known = plan.def(sheet).columns.len();
        let ways = targets.iter().map(|target| {
            if target.column >= n_known {
                return Way::Text;
            }
            let mut original = || columns.original(plan, sheet, &target.heading);
            match plan.column(sheet, target.column).name.as_str() {
                "role" => Way::Word(words::role_of, original()),
                "state" => Way::Word(words::state_of, original()),
                "medium" => Way::Medium(original()),
                _ => Way::Typed,
            }
        });
        Self {
            ways: ways.collect(),
            media: media(plan, sheet),
            plan,
            sheet,
            columns,
            read_media: FxHashMap::default(),
            links: Vec::new(),
            n_headings: targets.len(),
        }
    }

    /// Reads a row, which becomes a link or is set aside.
    pub(super) fn read(&mut self, row: usize, cells: &[Cow<'_, str>], report: &mut Report) {
        if cells.iter().all(|cell| cell.trim().is_empty()) {
            return report.set_aside(row, Reason::Empty);
        }
        if let Some(reason) = self.too_short(cells) {
            return report.set_aside(row, reason);
        }
        let n_wanted = cells.iter().rposition(|cell| !cell.trim().is_empty());
        self.widen(n_wanted.map_or(0, |at| at + 1));
        let mut link = Link {
            row,
            cells: Vec::new(),
        };
        let mut says = Medium::default();
        for (at, cell) in cells.iter().enumerate() {
            let text = cell.trim();
            if !text.is_empty() {
                self.cell(&mut link, at, text, &mut says, report);
            }
        }
        self.add_said(&mut link, &says);
        self.links.push(link);
    }

    /// A row that breaks off before it names a link.
    fn too_short(&self, cells: &[Cow<'_, str>]) -> Option<Reason> {
        let n_headings = self.n_headings;
        let given = |name: &str| {
            let column = self.plan.def(self.sheet).column(name);
            let mut targets = self.columns.targets.iter();
            let at = targets.position(|target| Some(target.column) == column)?;
            cells.get(at).map(|cell| !cell.trim().is_empty())
        };
        let has_id = self.columns.targets.iter().any(|target| target.column == 0);
        let is_named = if has_id {
            given("id") == Some(true)
        } else {
            given("from") == Some(true) || given("to") == Some(true)
        };
        (cells.len() < n_headings && !is_named).then_some(Reason::Short {
            n_cells: cells.len(),
            n_headings,
        })
    }

    /// Adds text columns for cells beyond the headings.
    fn widen(&mut self, n_wanted: usize) {
        while self.columns.targets.len() < n_wanted {
            let column = self.columns.add("", false);
            self.columns.targets.push(Target {
                heading: String::new(),
                column,
                unit: None,
            });
            self.ways.push(Way::Text);
        }
    }

    fn cell(
        &mut self,
        link: &mut Link,
        at: usize,
        text: &str,
        says: &mut Medium,
        report: &mut Report,
    ) {
        let Some(way) = self.ways.get(at).copied() else {
            return;
        };
        let column = self.columns.targets[at].column;
        let entry = match way {
            Way::Text => {
                self.columns.used[column] = true;
                Ok(Entry::Text(self.plan.names().code(text)))
            }
            Way::Typed => typed(self.plan, self.sheet, &self.columns.targets[at], text),
            Way::Word(meaning, original) => {
                self.keep_original(link, original, text);
                self.word(column, text, meaning, original, report)
            }
            Way::Medium(original) => {
                self.keep_original(link, original, text);
                *says = self.medium(column, text, original, link.row, report);
                let medium = says.medium.as_deref().unwrap_or(text);
                read_entry(self.plan, self.sheet, column, medium)
            }
        };
        let entry = entry.unwrap_or_else(|problem| {
            let name = &self.columns.def.columns[column].name;
            report.kept(name, text, why(&problem), link.row);
            Entry::Wrong(text.to_owned())
        });
        link.cells.push((column, entry));
    }

    fn keep_original(&self, link: &mut Link, original: usize, text: &str) {
        let code = self.plan.names().code(text);
        link.cells.push((original, Entry::Text(code)));
    }

    /// A choice by its own word or by another one for it.
    fn word(
        &mut self,
        column: usize,
        text: &str,
        meaning: fn(&str) -> Option<&'static str>,
        original: usize,
        report: &mut Report,
    ) -> Result<Entry, Problem> {
        let problem = match read_entry(self.plan, self.sheet, column, text) {
            Ok(entry) => return Ok(entry),
            Err(problem) => problem,
        };
        self.columns.used[original] = true;
        let word = meaning(text).ok_or(problem)?;
        let entry = read_entry(self.plan, self.sheet, column, word)?;
        report.reading(&self.columns.def.columns[column].name, text, word);
        Ok(entry)
    }

    /// What a medium cell says; nothing where it is not understood.
    fn medium(
        &mut self,
        column: usize,
        text: &str,
        original: usize,
        row: usize,
        report: &mut Report,
    ) -> Medium {
        let known = self.read_media.get(text).cloned();
        let found = known.unwrap_or_else(|| {
            let found = self.media.read(text);
            self.read_media.insert(text.to_owned(), found.clone());
            found
        });
        let name = &self.columns.def.columns[column].name;
        let Some(found) = found else {
            report.kept(name, text, "is not a known medium", row);
            return Medium::default();
        };
        let plain = found.medium.as_deref().unwrap_or_default();
        if plain.to_lowercase() != text.to_lowercase() {
            self.columns.used[original] = true;
            report.reading(name, text, &said(&found));
        }
        found
    }

    /// Fills what the medium said beside itself into cells that are empty.
    fn add_said(&self, link: &mut Link, says: &Medium) {
        let module = says
            .module
            .map(|form| Entry::Text(self.plan.names().code(form)));
        for (name, entry) in [
            ("module", module),
            ("speed", says.speed.map(Entry::Number)),
            ("length", says.length.map(Entry::Number)),
        ] {
            let column = self.plan.def(self.sheet).column(name);
            if let (Some(column), Some(entry)) = (column, entry)
                && !link.has(column)
            {
                link.cells.push((column, entry));
            }
        }
    }

    /// The links and the columns they need, those that stayed unused left out.
    pub(super) fn into_links(self, report: &mut Report) -> (Vec<Link>, Vec<ColumnDef>) {
        let n_known = self.plan.def(self.sheet).columns.len();
        let mut moved = Vec::new();
        let mut columns = Vec::new();
        for (at, def) in self.columns.def.columns.into_iter().enumerate() {
            moved.push((at < n_known || self.columns.used[at]).then_some({
                if at < n_known {
                    at
                } else {
                    n_known + columns.len()
                }
            }));
            if at >= n_known && self.columns.used[at] {
                report.note(added(&def));
                columns.push(def);
            }
        }
        let mut links = self.links;
        for link in &mut links {
            let cells = std::mem::take(&mut link.cells).into_iter();
            let kept = cells.filter_map(|(at, entry)| moved[at].map(|at| (at, entry)));
            link.cells = kept.collect();
        }
        (links, columns)
    }
}

fn added(def: &ColumnDef) -> String {
    if def.doc == NO_HEADING {
        format!("cells without a heading are in column `{}`", def.name)
    } else if def.quiet {
        format!(
            "the words of `{}` are kept as they stood in column `{}`",
            def.title, def.name
        )
    } else {
        format!(
            "heading `{}` is not known; its cells are in column `{}`",
            def.title, def.name
        )
    }
}

/// The media of a plan and the units of what may stand beside them.
fn media(plan: &Plan, sheet: SheetId) -> Media {
    let def = plan.def(sheet);
    let column = |name: &str| def.column(name).map(|at| plan.column(sheet, at));
    let unit = |name: &str| {
        let unit = column(name).map(|def| Units::builtin().unit(&def.unit));
        unit.and_then(Result::ok).unwrap_or_else(Unit::none)
    };
    let media = column("medium").and_then(|def| plan.sheet(def.to.as_deref()?));
    let ids = media.into_iter().flat_map(|media| {
        let order = plan.rows(media).order().iter();
        order.map(move |row| plan.id(media, *row))
    });
    Media::new(ids, unit("speed"), unit("length"))
}

/// A cell as a person would type it, bare numbers in the unit of the heading.
fn typed(plan: &Plan, sheet: SheetId, target: &Target, text: &str) -> Result<Entry, Problem> {
    if let Some(unit) = &target.unit
        && plan.column(sheet, target.column).kind == ColumnKind::Number
        && let Some((number, "")) = split_quantity(text)
        && unit.to_base(number).is_finite()
    {
        return Ok(Entry::Number(unit.to_base(number)));
    }
    read_entry(plan, sheet, target.column, text)
}

/// Why a cell was kept, in a few words.
fn why(problem: &Problem) -> &'static str {
    match problem.code {
        "not-a-choice" => "is not one of the choices",
        "unit-differs" => "is in another kind of unit",
        "unit-unknown" | "unit-ambiguous" => "has an unknown unit",
        "number-too-large" => "is too large a number",
        _ => "is not a number",
    }
}

/// What a medium was read as.
fn said(found: &Medium) -> String {
    let quantity = |value: f64, unit: &str| {
        let unit = Units::builtin().unit(unit);
        shown(value, &unit.unwrap_or_else(|_| Unit::none()), None)
    };
    let mut parts = vec![found.medium.clone().unwrap_or_default()];
    parts.extend(found.module.map(|form| format!("module {form}")));
    parts.extend(found.speed.map(|speed| quantity(speed, "Gb/s")));
    parts.extend(found.length.map(|length| quantity(length, "m")));
    parts.join(", ")
}
