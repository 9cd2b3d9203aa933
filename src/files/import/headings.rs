//! Which column each heading of a table is.
//!
//! What a person says wins, then what they said for the same headings before, the names of our
//! columns, their titles, other usual words, the columns a person added, and last words such as
//! `Device` that may be either end. A heading that is none of these gets a text column.

use super::report::Report;
use super::words;
use crate::files::own_column::{snake_case, text_column};
use crate::plan::Plan;
use crate::problem::Problem;
use crate::problem::several;
use crate::sheet::ColumnDef;
use crate::sheet::SheetDef;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::Units;
use rustc_hash::FxHashMap;

/// What a column holds whose cells stood under no heading.
pub(super) const NO_HEADING: &str = "Cells that stood under no heading.";

/// What a person writes for a heading whose cells are kept as text.
const AS_TEXT: &str = "text";

/// What a person writes for a heading whose cells are left out.
const LEFT_OUT: &str = "-";

/// How it was found where the cells under a heading go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// The person said so.
    Said,
    /// The person said so in an earlier import of the same headings.
    Kept,
    /// The heading says so.
    Known,
    /// It says nothing that is known; the cells are kept as text.
    Unknown,
    /// The person said that they are left out.
    LeftOut,
    /// They stand in a list of a plan and are computed; they are left out.
    Computed,
}

/// The column of verdicts, which checks add to a sheet.
pub(super) const VERDICT: &str = "verdict";

/// Where the cells under each heading go.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    /// One for each heading.
    pub(super) targets: Vec<Target>,
    /// The sheet with the text columns that the import adds.
    pub(super) def: SheetDef,
    /// For each column of `def` whether it has to be there; the plan's own always.
    pub(super) used: Vec<bool>,
    /// Whether the list was exported from a plan, so that its cells are read as they stand.
    pub(super) is_ours: bool,
}

/// Where the cells under one heading go.
#[derive(Debug, Clone)]
pub(super) struct Target {
    /// The heading as it stands.
    pub(super) heading: String,
    /// The position of the column; nothing goes there where the cells are left out.
    pub(super) column: usize,
    /// The unit of bare numbers, when the heading or the person names one.
    pub(super) unit: Option<Unit>,
    /// How it was found.
    pub(super) how: How,
}

impl Columns {
    /// Finds the column of each heading; `kept` is what was said for the same headings before.
    pub(super) fn new(
        plan: &Plan,
        sheet: SheetId,
        headings: &[String],
        map: &[(String, String)],
        kept: &[(String, String)],
        report: &mut Report,
    ) -> Result<Self, Problem> {
        let index = Index::new(plan, sheet);
        let mut finder = Finder::new(&index, headings.len());
        finder.mapped(headings, map)?;
        finder.kept(headings, kept);
        finder.find_all(headings);
        must_name_a_link(plan, sheet, headings, &finder.found)?;
        let def = plan.def(sheet).clone();
        let mut columns = Self {
            targets: Vec::new(),
            used: vec![true; def.columns.len()],
            is_ours: is_ours(&def, headings),
            def,
        };
        let mut n_computed = 0;
        for (found, heading) in finder.found.into_iter().zip(headings) {
            let is_said = found.as_ref().is_some_and(|found| found.how != How::Known);
            match columns.is_ours && !is_said && is_computed(&columns.def, heading) {
                true => {
                    n_computed += 1;
                    columns.targets.push(Target {
                        heading: heading.clone(),
                        column: usize::MAX,
                        unit: None,
                        how: How::Computed,
                    });
                }
                false => columns.take(found, heading, report),
            }
        }
        if n_computed > 0 {
            report.note(format!(
                "a list of a plan: {} left out, as the plan computes them; --map 'HEADING=text' keeps one as text",
                several(n_computed, "computed column is", "computed columns are")
            ));
        }
        Ok(columns)
    }

    fn take(&mut self, found: Option<Found>, heading: &str, report: &mut Report) {
        let (column, unit, how) = match found {
            Some(Found {
                place: Place::Column(column),
                unit,
                how,
            }) => {
                let name = &self.def.columns[column].name;
                let goes_without_saying = self.is_ours && how == How::Known;
                if heading != name && !goes_without_saying {
                    let unit = unit.as_ref().map(|unit| format!(", in {}", unit.symbol));
                    let unit = unit.unwrap_or_default();
                    report.note(format!("heading `{heading}` is `{name}`{unit}"));
                }
                (column, unit, how)
            }
            Some(Found {
                place: Place::Text,
                how,
                ..
            }) => (self.add(heading, false), None, how),
            Some(Found {
                place: Place::Nowhere,
                ..
            }) => {
                report.note(format!("heading `{heading}` is left out, as you say"));
                (usize::MAX, None, How::LeftOut)
            }
            None => (self.add(heading, false), None, How::Unknown),
        };
        self.targets.push(Target {
            heading: heading.to_owned(),
            column,
            unit,
            how,
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

/// Whether headings are those of a list that was exported from a plan: the id, the verdict and more
/// that is computed, spelled as an export spells them.
fn is_ours(def: &SheetDef, headings: &[String]) -> bool {
    let computed = headings.iter().filter(|heading| is_computed(def, heading));
    headings.first().is_some_and(|first| first == "id")
        && headings.iter().any(|heading| heading == VERDICT)
        && computed.count() > 1
}

/// Whether an export writes a heading above a computed column: `margin (dB)`.
fn is_computed(def: &SheetDef, heading: &str) -> bool {
    let is_it = |column: &ColumnDef| {
        let unit = heading.strip_prefix(column.name.as_str());
        unit.is_some_and(|rest| match column.unit.as_str() {
            "" => rest.is_empty(),
            unit => {
                rest.strip_prefix(" (")
                    .and_then(|rest| rest.strip_suffix(')'))
                    == Some(unit)
            }
        })
    };
    let mut computed = def.columns.iter().filter(|column| !column.entered());
    heading == VERDICT || computed.any(is_it)
}

fn must_name_a_link(
    plan: &Plan,
    sheet: SheetId,
    headings: &[String],
    found: &[Option<Found>],
) -> Result<(), Problem> {
    if found
        .iter()
        .flatten()
        .any(|found| found.names_link(plan, sheet))
    {
        return Ok(());
    }
    let shown: Vec<&str> = headings.iter().map(String::as_str).take(8).collect();
    Err(
        Problem::new("no-links", "no heading names a link or one of its ends")
            .help(format!("the headings are: {}", shown.join(", ")))
            .help("say which heading is `id`, `from` or `to`: --map 'HEADING=from'")
            .help("where the headings stand in another row, name it: --heading-row 3"),
    )
}

/// What is said of a sheet without links.
pub(super) fn must_be_known() -> Problem {
    Problem::new("no-such-sheet", "there is no sheet `links`").help("use a plan with links")
}

/// A column for a heading.
#[derive(Debug, Clone)]
struct Found {
    place: Place,
    unit: Option<Unit>,
    how: How,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    Column(usize),
    Text,
    Nowhere,
}

impl Found {
    fn names_link(&self, plan: &Plan, sheet: SheetId) -> bool {
        match self.place {
            Place::Column(column) => {
                let column = &plan.column(sheet, column).name;
                ["id", "from", "to"].contains(&column.as_str())
            }
            Place::Text | Place::Nowhere => false,
        }
    }
}

/// The entered columns of a sheet by what a heading may say.
#[derive(Debug)]
pub(super) struct Index<'p> {
    plan: &'p Plan,
    sheet: SheetId,
    by_name: FxHashMap<String, usize>,
    by_title: FxHashMap<String, usize>,
    own: FxHashMap<String, usize>,
}

impl<'p> Index<'p> {
    fn new(plan: &'p Plan, sheet: SheetId) -> Self {
        let (mut by_name, mut by_title) = (FxHashMap::default(), FxHashMap::default());
        let mut own = FxHashMap::default();
        for at in plan.entered(sheet) {
            let def = plan.column(sheet, at);
            let (name, title) = (spaced(&def.name), spaced(&def.title));
            if plan.is_own(sheet, at) {
                own.entry(name).or_insert(at);
                own.entry(title).or_insert(at);
            } else {
                by_name.entry(name).or_insert(at);
                by_title.entry(title).or_insert(at);
            }
        }
        own.remove("");
        Self {
            plan,
            sheet,
            by_name,
            by_title,
            own,
        }
    }

    fn of_word(&self, name: &str) -> Option<usize> {
        self.by_name.get(&spaced(name)).copied()
    }
}

/// What is known of headings before any are chosen, to find the row in which they stand.
pub(super) struct Known<'p> {
    index: Index<'p>,
    said: Vec<String>,
}

impl<'p> Known<'p> {
    /// Over the links of a plan; what a person maps counts as known.
    pub(super) fn new(plan: &'p Plan, map: &[(String, String)]) -> Option<Self> {
        let index = Index::new(plan, plan.sheet("links")?);
        let said = map.iter().map(|(heading, _)| heading.trim().to_lowercase());
        Some(Self {
            index,
            said: said.collect(),
        })
    }

    /// Whether headings name a link or its ends, and how many are known.
    pub(super) fn score(&self, headings: &[String]) -> (bool, usize) {
        let mut finder = Finder::new(&self.index, headings.len());
        finder.find_all(headings);
        let mut n_known = 0;
        let mut names_link = false;
        for (found, heading) in finder.found.iter().zip(headings) {
            let is_said = self.said.contains(&heading.to_lowercase());
            n_known += usize::from(is_said || found.is_some());
            names_link |= is_said
                || found
                    .as_ref()
                    .is_some_and(|found| found.names_link(self.index.plan, self.index.sheet));
        }
        (names_link, n_known)
    }
}

/// Finds columns, each at most once.
struct Finder<'i> {
    index: &'i Index<'i>,
    found: Vec<Option<Found>>,
}

impl<'i> Finder<'i> {
    fn new(index: &'i Index<'i>, n_headings: usize) -> Self {
        Self {
            index,
            found: vec![None; n_headings],
        }
    }

    fn find_all(&mut self, headings: &[String]) {
        for way in [
            Self::by_name,
            Self::by_title,
            Self::by_other_word,
            Self::by_own,
            Self::by_either_end,
        ] {
            self.find(headings, way);
        }
    }

    fn def(&self) -> &SheetDef {
        self.index.plan.def(self.index.sheet)
    }

    fn is_free(&self, column: usize) -> bool {
        let mut found = self.found.iter().flatten();
        found.all(|known| known.place != Place::Column(column))
    }

    /// What the person said.
    fn mapped(&mut self, headings: &[String], map: &[(String, String)]) -> Result<(), Problem> {
        for (heading, target) in map {
            let at = position(headings, heading).ok_or_else(|| {
                Problem::new(
                    "no-such-heading",
                    format!("there is no heading `{heading}`"),
                )
                .did_you_mean(heading, headings.iter().map(String::as_str))
                .help(format!("the headings are: {}", headings.join(", ")))
            })?;
            let found = self.said(target)?;
            let is_taken = match found.place {
                Place::Column(column) => !self.is_free(column),
                Place::Text | Place::Nowhere => false,
            };
            if self.found[at].is_some() || is_taken {
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

    /// What the person said before, as far as it still goes.
    fn kept(&mut self, headings: &[String], kept: &[(String, String)]) {
        for (heading, target) in kept {
            let Some(at) = position(headings, heading).filter(|at| self.found[*at].is_none())
            else {
                continue;
            };
            let Ok(mut found) = self.said(target) else {
                continue;
            };
            found.how = How::Kept;
            let is_free = match found.place {
                Place::Column(column) => self.is_free(column),
                Place::Text | Place::Nowhere => true,
            };
            if is_free {
                self.found[at] = Some(found);
            }
        }
    }

    /// A `column`, `column:unit`, `text` or `-` that the person wrote.
    fn said(&self, target: &str) -> Result<Found, Problem> {
        let place = match target.trim() {
            AS_TEXT => Some(Place::Text),
            LEFT_OUT => Some(Place::Nowhere),
            _ => None,
        };
        if let Some(place) = place {
            return Ok(Found {
                place,
                unit: None,
                how: How::Said,
            });
        }
        let (name, unit) = match target.split_once(':') {
            Some((name, unit)) => (name.trim(), Some(Units::builtin().unit(unit.trim())?)),
            None => (target.trim(), None),
        };
        let (plan, sheet) = (self.index.plan, self.index.sheet);
        let names = plan
            .entered(sheet)
            .map(|at| plan.column(sheet, at).name.as_str());
        let column = self.def().column(name);
        let column = column
            .filter(|at| plan.column(sheet, *at).entered())
            .ok_or_else(|| {
                Problem::new(
                    "no-such-column",
                    format!("there is no entered column `{name}`"),
                )
                .did_you_mean(name, names)
                .help("write a column, `text` to keep the cells as they are, or `-` to leave them out")
            })?;
        if unit.as_ref().is_some_and(|unit| !self.fits(column, unit)) {
            return Err(Problem::new(
                "unit-differs",
                format!("`{name}` is in another kind of unit"),
            )
            .help("name a unit that can be turned into the one of the column"));
        }
        Ok(Found {
            place: Place::Column(column),
            unit,
            how: How::Said,
        })
    }

    /// Whether a unit can stand in a column.
    fn fits(&self, column: usize, unit: &Unit) -> bool {
        let own = Units::builtin().unit(&self.index.plan.column(self.index.sheet, column).unit);
        own.is_ok_and(|own| !own.symbol.is_empty() && own.measure == unit.measure)
    }

    /// Gives every heading without a column the one that a way finds for it.
    fn find(&mut self, headings: &[String], way: fn(&Self, &str) -> Option<usize>) {
        for (at, heading) in headings.iter().enumerate() {
            if self.found[at].is_none() && !heading.is_empty() {
                self.found[at] = self.one(heading, way);
            }
        }
    }

    /// A heading as it stands, without what is in brackets, or without a unit at its end.
    fn one(&self, heading: &str, way: fn(&Self, &str) -> Option<usize>) -> Option<Found> {
        let free = |name: &str| way(self, &spaced(name)).filter(|at| self.is_free(*at));
        let found = |column: usize, unit: Option<Unit>| Found {
            place: Place::Column(column),
            unit,
            how: How::Known,
        };
        if let Some(column) = free(heading) {
            return Some(found(column, None));
        }
        if let Some((name, inner)) = bracketed(heading)
            && let Some(column) = free(name)
        {
            let unit = known_unit(inner);
            let unit = unit.filter(|unit| self.fits(column, unit));
            return Some(found(column, unit));
        }
        let (name, last) = heading.rsplit_once([' ', '_', '-', ','])?;
        let column = free(name)?;
        let unit = known_unit(last)?;
        self.fits(column, &unit).then(|| found(column, Some(unit)))
    }

    fn by_name(&self, heading: &str) -> Option<usize> {
        self.index.by_name.get(heading).copied()
    }

    fn by_title(&self, heading: &str) -> Option<usize> {
        self.index.by_title.get(heading).copied()
    }

    fn by_other_word(&self, heading: &str) -> Option<usize> {
        self.index.of_word(words::column_of(heading)?)
    }

    fn by_own(&self, heading: &str) -> Option<usize> {
        self.index.own.get(heading).copied()
    }

    /// The near end for the first such heading, the far end for the second.
    fn by_either_end(&self, heading: &str) -> Option<usize> {
        let ends = words::ends_of(heading)?;
        let mut columns = ends.iter().filter_map(|name| self.index.of_word(name));
        columns.find(|column| self.is_free(*column))
    }
}

/// The unit of a word. A long one is none, and looking for the nearest would take long.
pub(super) fn known_unit(word: &str) -> Option<Unit> {
    const LONGEST: usize = 24;
    let word = Some(word.trim()).filter(|word| word.len() <= LONGEST)?;
    Units::builtin().unit(word).ok()
}

/// The heading of a name in any case.
fn position(headings: &[String], name: &str) -> Option<usize> {
    let lower = name.trim().to_lowercase();
    headings
        .iter()
        .position(|known| known.to_lowercase() == lower)
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
