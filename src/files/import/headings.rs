//! Which column each heading of a table is.
//!
//! What a person says wins, then the names of our columns, their titles, other usual words, and
//! last the columns a person added. A heading that is none of these gets a text column.

use super::report::Report;
use super::words;
use crate::files::own_column::{snake_case, text_column};
use crate::plan::Plan;
use crate::problem::Problem;
use crate::sheet::ColumnDef;
use crate::sheet::SheetDef;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::Units;

/// What a column holds whose cells stood under no heading.
pub(super) const NO_HEADING: &str = "Cells that stood under no heading.";

/// Where the cells under each heading go.
#[derive(Debug)]
pub(super) struct Columns {
    /// One for each heading.
    pub(super) targets: Vec<Target>,
    /// The sheet with the text columns that the import adds.
    pub(super) def: SheetDef,
    /// For each column of `def` whether it has to be there; the plan's own always.
    pub(super) used: Vec<bool>,
}

/// Where the cells under one heading go.
#[derive(Debug, Clone)]
pub(super) struct Target {
    /// The heading as it stands.
    pub(super) heading: String,
    /// The position of the column.
    pub(super) column: usize,
    /// The unit of bare numbers, when the heading or the person names one.
    pub(super) unit: Option<Unit>,
}

impl Columns {
    /// Finds the column of each heading.
    pub(super) fn new(
        plan: &Plan,
        sheet: SheetId,
        headings: &[String],
        map: &[(String, String)],
        report: &mut Report,
    ) -> Result<Self, Problem> {
        let mut finder = Finder {
            plan,
            sheet,
            found: vec![None; headings.len()],
        };
        finder.mapped(headings, map)?;
        for way in [
            Finder::by_name,
            Finder::by_title,
            Finder::by_other_word,
            Finder::by_own,
        ] {
            finder.find(headings, way);
        }
        must_name_a_link(plan, sheet, headings, &finder.found)?;
        let def = plan.def(sheet).clone();
        let mut columns = Self {
            targets: Vec::new(),
            used: vec![true; def.columns.len()],
            def,
        };
        for (found, heading) in finder.found.into_iter().zip(headings) {
            columns.take(found, heading, report);
        }
        Ok(columns)
    }

    fn take(&mut self, found: Option<Found>, heading: &str, report: &mut Report) {
        let (column, unit) = match found {
            Some(found) => {
                let name = &self.def.columns[found.column].name;
                if heading != name {
                    report.note(format!("heading `{heading}` is `{name}`"));
                }
                (found.column, found.unit)
            }
            None => (self.add(heading, false), None),
        };
        self.targets.push(Target {
            heading: heading.to_owned(),
            column,
            unit,
        });
    }

    /// Adds a text column, there only when something is put into it.
    pub(super) fn add(&mut self, heading: &str, quiet: bool) -> usize {
        let wish = if heading.is_empty() {
            format!("column {}", self.targets.len() + 1)
        } else {
            heading.to_owned()
        };
        let mut column = text_column(&self.def, &wish);
        column.quiet = quiet;
        if heading.is_empty() {
            column.doc = NO_HEADING.to_owned();
        }
        self.def.columns.push(column);
        self.used.push(false);
        self.def.columns.len() - 1
    }

    /// The text column for what stood under a heading before it was read as something else.
    pub(super) fn original(&mut self, plan: &Plan, sheet: SheetId, heading: &str) -> usize {
        let known = self.def.column(&snake_case(heading));
        let is_own =
            |at: &usize| plan.def(sheet).columns.get(*at).is_some() && plan.is_own(sheet, *at);
        match known.filter(is_own) {
            Some(column) if self.targets.iter().all(|target| target.column != column) => column,
            Some(_) | None => {
                let column = self.add(heading, true);
                self.def.columns[column].doc =
                    format!("What stood under `{heading}` in the table.");
                column
            }
        }
    }
}

fn must_name_a_link(
    plan: &Plan,
    sheet: SheetId,
    headings: &[String],
    found: &[Option<Found>],
) -> Result<(), Problem> {
    let names = |found: &Found| {
        let column = &plan.column(sheet, found.column).name;
        ["id", "from", "to"].contains(&column.as_str())
    };
    if found.iter().flatten().any(names) {
        return Ok(());
    }
    let shown: Vec<&str> = headings.iter().map(String::as_str).take(8).collect();
    Err(
        Problem::new("no-links", "no heading names a link or one of its ends")
            .help(format!("the headings are: {}", shown.join(", ")))
            .help("say which heading is `id`, `from` or `to`"),
    )
}

/// A column for a heading.
#[derive(Debug, Clone)]
struct Found {
    column: usize,
    unit: Option<Unit>,
}

/// Finds columns, each at most once.
struct Finder<'p> {
    plan: &'p Plan,
    sheet: SheetId,
    found: Vec<Option<Found>>,
}

impl Finder<'_> {
    fn def(&self) -> &SheetDef {
        self.plan.def(self.sheet)
    }

    fn is_free(&self, column: usize) -> bool {
        let mut found = self.found.iter().flatten();
        self.plan.column(self.sheet, column).entered() && found.all(|known| known.column != column)
    }

    /// What the person said.
    fn mapped(&mut self, headings: &[String], map: &[(String, String)]) -> Result<(), Problem> {
        for (heading, target) in map {
            let lower = heading.trim().to_lowercase();
            let at = headings
                .iter()
                .position(|known| known.to_lowercase() == lower);
            let at = at.ok_or_else(|| {
                Problem::new(
                    "no-such-heading",
                    format!("there is no heading `{heading}`"),
                )
                .did_you_mean(heading, headings.iter().map(String::as_str))
            })?;
            let found = self.said(target)?;
            if self.found[at].is_some() || !self.is_free(found.column) {
                return Err(Problem::new(
                    "mapped-twice",
                    format!("`{heading}` or `{target}` is mapped twice"),
                )
                .help("map each heading to a column of its own"));
            }
            self.found[at] = Some(found);
        }
        Ok(())
    }

    /// A `column` or `column:unit` that the person wrote.
    fn said(&self, target: &str) -> Result<Found, Problem> {
        let (name, unit) = match target.split_once(':') {
            Some((name, unit)) => (name.trim(), Some(Units::builtin().unit(unit)?)),
            None => (target.trim(), None),
        };
        let entered = self.plan.entered(self.sheet);
        let names = entered.map(|at| self.plan.column(self.sheet, at).name.as_str());
        let column = self.def().column(name);
        let column = column
            .filter(|at| self.plan.column(self.sheet, *at).entered())
            .ok_or_else(|| {
                Problem::new(
                    "no-such-column",
                    format!("there is no entered column `{name}`"),
                )
                .did_you_mean(name, names)
            })?;
        if unit.as_ref().is_some_and(|unit| !self.fits(column, unit)) {
            return Err(Problem::new(
                "unit-differs",
                format!("`{name}` is in another kind of unit"),
            )
            .help("name a unit that can be turned into the one of the column"));
        }
        Ok(Found { column, unit })
    }

    /// Whether a unit can stand in a column.
    fn fits(&self, column: usize, unit: &Unit) -> bool {
        let own = Units::builtin().unit(&self.plan.column(self.sheet, column).unit);
        own.is_ok_and(|own| !own.symbol.is_empty() && own.measure == unit.measure)
    }

    /// Gives every heading without a column the one that a way finds for it.
    fn find(&mut self, headings: &[String], way: fn(&Self, &str) -> Option<usize>) {
        for (at, heading) in headings.iter().enumerate() {
            if self.found[at].is_none() {
                self.found[at] = self.one(heading, way);
            }
        }
    }

    /// A heading as it stands, without what is in brackets, or without a unit at its end.
    fn one(&self, heading: &str, way: fn(&Self, &str) -> Option<usize>) -> Option<Found> {
        let free = |name: &str| way(self, &spaced(name)).filter(|at| self.is_free(*at));
        if let Some(column) = free(heading) {
            return Some(Found { column, unit: None });
        }
        if let Some((name, inner)) = bracketed(heading)
            && let Some(column) = free(name)
        {
            let unit = Units::builtin().unit(inner).ok();
            let unit = unit.filter(|unit| self.fits(column, unit));
            return Some(Found { column, unit });
        }
        let (name, last) = heading.rsplit_once([' ', '_', '-'])?;
        let column = free(name)?;
        let unit = Units::builtin().unit(last).ok()?;
        self.fits(column, &unit).then_some(Found {
            column,
            unit: Some(unit),
        })
    }

    fn builtin(&self, is_it: impl Fn(&ColumnDef) -> bool) -> Option<usize> {
        let columns = self.def().columns.iter().enumerate();
        let mut free =
            columns.filter(|(at, _)| !self.plan.is_own(self.sheet, *at) && self.is_free(*at));
        free.find(|(_, def)| is_it(def)).map(|(at, _)| at)
    }

    fn by_name(&self, heading: &str) -> Option<usize> {
        self.builtin(|def| spaced(&def.name) == heading)
    }

    fn by_title(&self, heading: &str) -> Option<usize> {
        self.builtin(|def| spaced(&def.title) == heading)
    }

    fn by_other_word(&self, heading: &str) -> Option<usize> {
        let name = words::column_of(heading)?;
        self.builtin(|def| def.name == name)
    }

    fn by_own(&self, heading: &str) -> Option<usize> {
        let columns = self.def().columns.iter().enumerate();
        let mut own = columns.filter(|(at, _)| self.plan.is_own(self.sheet, *at));
        let found =
            own.find(|(_, def)| spaced(&def.name) == heading || spaced(&def.title) == heading);
        found.map(|(at, _)| at).filter(|_| !heading.is_empty())
    }
}

/// A heading in lower case, its words separated by one space.
fn spaced(heading: &str) -> String {
    words::words(heading).collect::<Vec<_>>().join(" ")
}

/// A heading such as `Length (ft)` in two parts.
fn bracketed(heading: &str) -> Option<(&str, &str)> {
    let heading = heading.trim();
    let inside = heading.strip_suffix([')', ']'])?;
    inside.rsplit_once(['(', '['])
}
