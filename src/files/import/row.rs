//! One row of a table as the cells of a link, or as one that is set aside.
//!
//! Cells that cannot be read stay as they are; what is told about them is in `report.rs`.

use super::ends;
use super::headings::{Columns, How, NO_HEADING, Target, VERDICT};
use super::layout::spanning;
use super::numbers;
use super::numbers::Decimal;
use super::report::{Reason, Report};
use super::survey::Survey;
use super::words::{self, Media, Medium};
use crate::files::own_column::MAX_COLUMNS;
use crate::files::spreadsheet::Area;
use crate::files::spreadsheet::Cell;
use crate::files::spreadsheet::Kind;
use crate::files::spreadsheet::RowView;
use crate::files::spreadsheet::address;
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

/// What is written for a formula without a result.
const NOT_CALCULATED: &str = "not calculated";

/// The longest text that is read as a number, in bytes.
const LONGEST_NUMBER: usize = 80;

/// So many letters of a row that is set aside are told.
const MAX_ASIDE: usize = 60;

/// Where the cells under a heading go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mapped {
    /// The heading as it stands.
    pub heading: String,
    /// The name of the column; empty where the cells are left out.
    pub column: String,
    /// The unit of bare numbers, where it is not that of the column.
    pub unit: Option<String>,
    /// How it was found.
    pub how: How,
    /// How many cells hold something.
    pub n_cells: usize,
    /// The first of them.
    pub samples: Vec<String>,
}

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
    survey: Survey,
    about: About<'p>,
    /// The headings of the columns that name a link, where they are there.
    named: Named,
    places: Places,
    /// For each heading of numbers the unit of bare ones.
    units: Vec<Option<Unit>>,
    /// For each heading the words that were read under it.
    read_words: Vec<FxHashMap<String, (Entry, Option<&'static str>)>>,
    media: Media,
    read_media: FxHashMap<String, Option<Medium>>,
    links: Vec<Link>,
    n_headings: usize,
    /// Both ends of rows, to find those that say the same from the other end.
    both_ends: FxHashMap<[u32; 4], usize>,
    /// What is filled down: heading and the last text under it.
    above: FxHashMap<usize, String>,
}

/// What is known of the page beside its cells.
#[derive(Debug, Clone, Copy)]
pub(super) struct About<'p> {
    /// Merged cells.
    pub(super) merged: &'p [Area],
    /// Whether it was a text, in which rows may break off.
    pub(super) is_text: bool,
    /// Whether serial days count from 1904.
    pub(super) from_1904: bool,
    /// Whether hidden rows are left out.
    pub(super) leaves_hidden: bool,
}

/// Positions of columns that are written to beside those of the headings.
#[derive(Debug, Clone, Copy, Default)]
struct Places {
    from: Option<usize>,
    from_port: Option<usize>,
    to: Option<usize>,
    to_port: Option<usize>,
    members: Option<usize>,
    module: Option<usize>,
    speed: Option<usize>,
    length: Option<usize>,
}

impl Places {
    fn new(plan: &Plan, sheet: SheetId) -> Self {
        let of = |name: &str| plan.def(sheet).column(name);
        Self {
            from: of("from"),
            from_port: of("from_port"),
            to: of("to"),
            to_port: of("to_port"),
            members: of("members"),
            module: of("module"),
            speed: of("speed"),
            length: of("length"),
        }
    }
}

/// Positions of the headings that name a link.
#[derive(Debug, Clone, Copy, Default)]
struct Named {
    id: Option<usize>,
    from: Option<usize>,
    from_port: Option<usize>,
    to: Option<usize>,
    to_port: Option<usize>,
}

impl Named {
    fn new(plan: &Plan, sheet: SheetId, targets: &[Target]) -> Self {
        let of = |name: &str| {
            let column = plan.def(sheet).column(name)?;
            targets.iter().position(|target| target.column == column)
        };
        Self {
            id: of("id"),
            from: of("from"),
            from_port: of("from_port"),
            to: of("to"),
            to_port: of("to_port"),
        }
    }
}

/// How the cells of a heading are read.
#[derive(Debug, Clone, Copy)]
enum Way {
    /// As a person would type them.
    Typed,
    /// As any text.
    Plain,
    /// As a number with a unit.
    Number,
    /// As a length, also in feet by their mark.
    Length,
    /// As a speed.
    Speed,
    /// As a device with its port, for that column.
    DeviceAndPort(usize),
    /// As a port, which may be a range.
    Port,
    /// As a list of a plan writes it, bare numbers in the unit of the heading.
    Exact,
    /// As text for a column that the plan does not have yet.
    Text,
    /// As text in which serial days are dates.
    Date,
    /// By other words for a choice; the text itself goes to a second column.
    Word(fn(&str) -> Option<&'static str>, usize),
    /// As a medium that may say more; the text itself goes to a second column.
    Medium(usize),
    /// Not at all.
    LeftOut,
}

/// What cells of a row say beside their own column.
#[derive(Debug, Default)]
struct Beside {
    medium: Medium,
    /// How many ports a range names, at the near end and at the far end.
    near_ports: Option<u32>,
    far_ports: Option<u32>,
    /// How many cables a speed names.
    lanes: Option<u32>,
}

impl<'p> Rows<'p> {
    pub(super) fn new(
        plan: &'p Plan,
        sheet: SheetId,
        mut columns: Columns,
        survey: Survey,
        about: About<'p>,
    ) -> Self {
        let targets = columns.targets.clone();
        let named = Named::new(plan, sheet, &targets);
        let ways = targets.iter().enumerate();
        let ways: Vec<Way> = ways
            .map(|(at, target)| way(plan, sheet, &mut columns, &survey, named, at, target))
            .collect();
        Self {
            ways,
            media: media(plan, sheet),
            plan,
            sheet,
            columns,
            survey,
            about,
            named,
            places: Places::new(plan, sheet),
            units: targets
                .iter()
                .map(|target| bare_unit(plan, sheet, target))
                .collect(),
            read_words: vec![FxHashMap::default(); targets.len()],
            read_media: FxHashMap::default(),
            links: Vec::new(),
            n_headings: targets.len(),
            both_ends: FxHashMap::default(),
            above: FxHashMap::default(),
        }
    }

    /// Reads a row, which becomes a link or is set aside.
    pub(super) fn read(&mut self, row: RowView<'_>, report: &mut Report) {
        let holds =
            |cell: &Cell<'_>| !cell.text.trim().is_empty() || cell.kind == Kind::NotCalculated;
        let cells: Vec<Cell<'_>> = row.cells().filter(holds).collect();
        if let Some(reason) = self.aside(row, &cells) {
            return report.set_aside(row.number(), reason, shortened(&cells));
        }
        let last = cells.iter().rfind(|cell| cell.column < MAX_COLUMNS);
        self.widen(last.map_or(0, |cell| cell.column + 1));
        let mut link = Link {
            row: row.number(),
            cells: Vec::with_capacity(cells.len() + 4),
        };
        let mut beside = Beside::default();
        for cell in &cells {
            self.cell(&mut link, cell, &mut beside, report);
        }
        self.fill_down(&mut link, &cells, report);
        self.add_members(&mut link, &beside, report);
        self.add_said(&mut link, &beside.medium);
        self.look_for_mirror(&link, report);
        if row.is_hidden() {
            report.at(
                "hidden rows are read as well, --leave-hidden leaves them out",
                row.number(),
            );
        }
        self.links.push(link);
    }

    /// Why a row is no link.
    fn aside(&self, row: RowView<'_>, cells: &[Cell<'_>]) -> Option<Reason> {
        let first = cells.first().map(|cell| cell.text.trim());
        let Some(first) = first else {
            return Some(Reason::Empty);
        };
        if row.is_hidden() && self.about.leaves_hidden {
            return Some(Reason::Hidden);
        }
        let given = |at: Option<usize>| {
            let at = at?;
            let cell = cells.iter().find(|cell| cell.column == at)?;
            Some(cell).filter(|cell| !words::is_blank(cell.text))
        };
        // Of a list of a plan every row has a verdict; others were added by somebody.
        let verdict = self
            .columns
            .targets
            .iter()
            .position(|target| target.how == How::Computed && target.heading == VERDICT);
        // Their cells are no words for nothing, not even `-`.
        let has_cell = |at: Option<usize>| cells.iter().any(|cell| Some(cell.column) == at);
        if has_cell(self.named.id) && given(verdict).is_some() {
            return None;
        }
        let n_named = [self.named.id, self.named.from, self.named.to]
            .into_iter()
            .filter(|at| given(*at).is_some())
            .count();
        let is_heading = |cell: &Cell<'_>| {
            let target = self.columns.targets.get(cell.column);
            target.is_some_and(|target| target.heading.eq_ignore_ascii_case(cell.text.trim()))
        };
        if cells.len() > 1 && cells.iter().all(is_heading) {
            return Some(Reason::Headings);
        }
        let sums = |cell: &Cell<'_>| {
            let formula = cell
                .formula
                .map(str::to_ascii_uppercase)
                .unwrap_or_default();
            ["SUM(", "SUBTOTAL(", "AVERAGE("]
                .iter()
                .any(|name| formula.starts_with(name))
        };
        let has_ends = given(self.named.from).is_some() && given(self.named.to).is_some();
        if (words::is_total(first) && !has_ends) || (n_named == 0 && cells.iter().any(sums)) {
            return Some(Reason::Total);
        }
        if first.starts_with('#') && cells.len() == 1 {
            return Some(Reason::Section);
        }
        if n_named == 0 && !self.is_filled(row, cells) {
            let is_beside = cells.iter().all(|cell| cell.column >= self.n_headings);
            let is_section = cells.len() == 1 && first.contains(char::is_alphabetic);
            return Some(match (is_beside, is_section, self.too_short(row, false)) {
                (true, _, _) => Reason::Beside,
                (_, true, _) => Reason::Section,
                (_, _, Some(reason)) => reason,
                (_, _, None) => Reason::Nameless,
            });
        }
        let has_id = given(self.named.id).is_some();
        let is_named = match self.named.id {
            Some(_) => has_id || has_ends,
            None => n_named > 0,
        };
        if let Some(reason) = self.too_short(row, is_named) {
            return Some(reason);
        }
        match cells {
            [cell] if self.is_section(row, cell) => Some(Reason::Section),
            _ => None,
        }
    }

    /// Whether the only cell of a row is the heading of a section: it does not look like an id.
    fn is_section(&self, row: RowView<'_>, cell: &Cell<'_>) -> bool {
        let text = cell.text.trim();
        let across = spanning(self.about.merged, row.number(), cell.column);
        let is_across = across.is_some_and(|area| area.right > area.left);
        let looks = text.ends_with(':')
            || !text.contains(|c: char| c.is_ascii_digit())
            || text.split_whitespace().count() > 2;
        self.n_headings > 2 && cell.kind == Kind::Text && (is_across || looks)
    }

    /// A row of a text that breaks off before it names a link.
    fn too_short(&self, row: RowView<'_>, is_named: bool) -> Option<Reason> {
        let (n_cells, n_headings) = (row.width(), self.n_headings);
        let breaks_off = self.about.is_text && n_cells < n_headings && !is_named;
        breaks_off.then_some(Reason::Short {
            n_cells,
            n_headings,
        })
    }

    /// Whether an end of a row without names is filled down.
    fn is_filled(&self, row: RowView<'_>, cells: &[Cell<'_>]) -> bool {
        [
            (self.named.from, self.named.from_port),
            (self.named.to, self.named.to_port),
        ]
        .into_iter()
        .any(|(end, port)| end.is_some_and(|end| self.fills(row.number(), cells, end, port)))
    }

    /// Whether a device is taken from above: it is merged over the row, or left empty beside a port.
    fn fills(&self, row: usize, cells: &[Cell<'_>], end: usize, port: Option<usize>) -> bool {
        let stands = |at: usize| cells.iter().any(|cell| cell.column == at);
        let merged =
            spanning(self.about.merged, row, end).is_some_and(|area| (area.top as usize) < row);
        let has_port = port.is_some_and(|port| {
            let cell = cells.iter().find(|cell| cell.column == port);
            cell.is_some_and(|cell| !words::is_blank(cell.text))
        });
        !stands(end) && self.above.contains_key(&end) && (merged || has_port)
    }

    /// Puts devices in that stand in a row above, and keeps those of this one.
    fn fill_down(&mut self, link: &mut Link, cells: &[Cell<'_>], report: &mut Report) {
        if self.columns.is_ours {
            return;
        }
        let ends = [
            (
                self.named.from,
                self.named.from_port,
                self.places.from,
                "from",
            ),
            (self.named.to, self.named.to_port, self.places.to, "to"),
        ];
        for (end, port, column, name) in ends {
            let Some((end, column)) = end.zip(column) else {
                continue;
            };
            if self.fills(link.row, cells, end, port) {
                let code = self.plan.names().code(&self.above[&end]);
                link.cells.push((column, Entry::Text(code)));
                report.at(&format!("{name} is taken from the row above"), link.row);
            } else if let Some(code) = link.code(column) {
                let view = self.plan.names().view();
                let text = view.text(code);
                match self.above.get_mut(&end) {
                    Some(above) if above == text => {}
                    Some(above) => text.clone_into(above),
                    None => drop(self.above.insert(end, text.to_owned())),
                }
            } else if cells.iter().any(|cell| cell.column == end) {
                self.above.remove(&end);
            }
        }
    }

    /// Adds text columns for cells beyond the headings.
    fn widen(&mut self, n_wanted: usize) {
        while self.columns.targets.len() < n_wanted {
            let column = self.columns.add("", false);
            self.columns.targets.push(Target {
                heading: String::new(),
                column,
                unit: None,
                how: How::Unknown,
            });
            self.ways.push(Way::Text);
        }
    }

    fn cell(&mut self, link: &mut Link, cell: &Cell<'_>, beside: &mut Beside, report: &mut Report) {
        let at = cell.column;
        let Some(way) = self.ways.get(at).copied() else {
            let place = address(at, link.row);
            report.at(
                &format!("cell {place} stands far from the table and is left out"),
                link.row,
            );
            return;
        };
        if let Way::LeftOut = way {
            return;
        }
        let text = cell.text.trim();
        let entry = match cell.kind {
            Kind::Error | Kind::NotCalculated => self.no_value(cell, way, report, link.row),
            Kind::Text | Kind::Number | Kind::Date | Kind::Flag => {
                self.value(link, cell, text, way, beside, report)
            }
        };
        if let Some(entry) = entry {
            link.cells.push((self.columns.targets[at].column, entry));
        }
    }

    /// A cell that a spreadsheet has no value for.
    fn no_value(
        &mut self,
        cell: &Cell<'_>,
        way: Way,
        report: &mut Report,
        row: usize,
    ) -> Option<Entry> {
        let column = self.columns.targets[cell.column].column;
        let name = &self.columns.def.columns[column].name;
        let text = match cell.kind {
            Kind::NotCalculated => {
                let what = format!(
                    "{name} is not calculated in the file; open it once where it comes from and save it"
                );
                report.at(&what, row);
                NOT_CALCULATED
            }
            _ => {
                report.at(&format!("{name} holds the error {}", cell.text), row);
                cell.text
            }
        };
        match way {
            // A name is no place for that: the link gets a number.
            _ if column == 0 => None,
            Way::Text | Way::Date => {
                self.columns.used[column] = true;
                Some(Entry::Text(self.plan.names().code(text)))
            }
            _ => Some(Entry::Wrong(text.to_owned())),
        }
    }

    fn value(
        &mut self,
        link: &mut Link,
        cell: &Cell<'_>,
        text: &str,
        way: Way,
        beside: &mut Beside,
        report: &mut Report,
    ) -> Option<Entry> {
        let at = cell.column;
        let column = self.columns.targets[at].column;
        let is_remark = |def: &ColumnDef| def.name == "notes";
        let is_own = matches!(way, Way::Text | Way::Date);
        let is_literal = is_own || self.columns.is_ours;
        if !is_literal && words::is_blank(text) && !is_remark(&self.columns.def.columns[column]) {
            let name = &self.columns.def.columns[column].name;
            report.at(&format!("{name} `{text}` taken as empty"), link.row);
            return None;
        }
        let entry = match way {
            Way::LeftOut => return None,
            Way::Text => {
                self.columns.used[column] = true;
                Ok(Entry::Text(self.plan.names().code(text)))
            }
            Way::Date => {
                self.columns.used[column] = true;
                let date = date_of(cell, self.about.from_1904);
                Ok(Entry::Text(
                    self.plan.names().code(date.as_deref().unwrap_or(text)),
                ))
            }
            Way::Typed => read_entry(self.plan, self.sheet, column, text),
            Way::Exact => typed(self.plan, self.sheet, &self.columns.targets[at], text),
            Way::Plain => Ok(Entry::Text(self.plan.names().code(text))),
            Way::Number | Way::Length | Way::Speed => {
                match self.number(cell, text, way, beside, link.row, report) {
                    Ok(entry) => entry,
                    // What may be either of two numbers was told already.
                    Err(Unclear) => return Some(Entry::Wrong(text.to_owned())),
                }
            }
            Way::DeviceAndPort(port) => match ends::device_and_port(text) {
                Some((device, rest)) => {
                    let code = self.plan.names().code(rest);
                    link.cells.push((port, Entry::Text(code)));
                    let name = &self.columns.def.columns[column].name;
                    report.at(
                        &format!("{name} holds device and port, parted at the last space"),
                        link.row,
                    );
                    self.ports(at, rest, beside);
                    read_entry(self.plan, self.sheet, column, device)
                }
                None => Ok(Entry::Text(self.plan.names().code(text))),
            },
            Way::Port => {
                self.ports(at, text, beside);
                Ok(Entry::Text(self.plan.names().code(text)))
            }
            Way::Word(meaning, original) => {
                self.keep_original(link, original, text);
                self.word(at, text, meaning, original, report)
            }
            Way::Medium(original) => {
                self.keep_original(link, original, text);
                beside.medium = self.medium(column, text, original, link.row, report);
                let medium = beside.medium.medium.as_deref().unwrap_or(text);
                Ok(Entry::Text(self.plan.names().code(medium)))
            }
        };
        Some(entry.unwrap_or_else(|problem| {
            let name = &self.columns.def.columns[column].name;
            report.kept(name, text, why(&problem), link.row);
            Entry::Wrong(text.to_owned())
        }))
    }

    /// A number in the unit of its cell, of its heading or of its column.
    fn number(
        &self,
        cell: &Cell<'_>,
        text: &str,
        way: Way,
        beside: &mut Beside,
        row: usize,
        report: &mut Report,
    ) -> Result<Result<Entry, Problem>, Unclear> {
        let target = &self.columns.targets[cell.column];
        // No number is as long, and looking for what was meant would take long.
        if text.len() > LONGEST_NUMBER {
            return Ok(Err(Problem::new("not-a-quantity", "this is not a number")));
        }
        let plain = match (cell.kind, self.survey.decimal(cell.column)) {
            (Kind::Text, Some(decimal)) => numbers::plain(text, decimal),
            (Kind::Text, None) if numbers::is_unclear(text) => {
                let name = &self.columns.def.columns[target.column].name;
                let why = "may be a decimal or a thousand (say --decimal comma or --decimal point)";
                report.kept(name, text, why, row);
                return Err(Unclear);
            }
            (Kind::Text, None) => numbers::plain(text, Decimal::Point),
            (_, _) => Cow::Borrowed(text),
        };
        let in_feet = match way {
            Way::Length => numbers::feet(&plain),
            _ => None,
        };
        let plain = in_feet.map_or(plain, Cow::Owned);
        if let (Way::Speed, None) = (way, &target.unit) {
            let is_mega = self.survey.seen[cell.column].largest >= 1000.0;
            if let Some((speed, lanes)) = numbers::speed(&plain, is_mega) {
                beside.lanes = lanes;
                let entry = typed(self.plan, self.sheet, target, &speed);
                let bare = split_quantity(&plain).filter(|(_, rest)| rest.is_empty());
                if bare.is_some_and(|_| speed.ends_with("Mb/s")) && entry.is_ok() {
                    report.reading("speed", text, &speed);
                }
                return Ok(entry);
            }
        }
        if let Some(unit) = &self.units[cell.column]
            && let Some((number, "")) = split_quantity(&plain)
            && unit.to_base(number).is_finite()
        {
            return Ok(Ok(Entry::Number(unit.to_base(number))));
        }
        Ok(typed(self.plan, self.sheet, target, &plain))
    }

    /// Notes how many ports a text names.
    fn ports(&self, at: usize, text: &str, beside: &mut Beside) {
        let n = ends::n_ports(text);
        let is_near = Some(at) == self.named.from_port || Some(at) == self.named.from;
        match is_near {
            true => beside.near_ports = n,
            false => beside.far_ports = n,
        }
    }

    /// A range of ports, or lanes of a speed, as members of the link.
    fn add_members(&self, link: &mut Link, beside: &Beside, report: &mut Report) {
        let (Some(column), n) = (self.places.members, (beside.near_ports, beside.far_ports)) else {
            return;
        };
        let members = match n {
            (Some(near), Some(far)) if near != far => {
                report.at(
                    "the ranges of ports differ at the two ends, no members are taken",
                    link.row,
                );
                return;
            }
            (Some(n), _) | (None, Some(n)) => n,
            (None, None) => match beside.lanes {
                Some(lanes) => lanes,
                None => return,
            },
        };
        if !link.has(column) {
            link.cells.push((column, Entry::Number(f64::from(members))));
            report.at(
                &format!("a range of ports or lanes read as {members} members"),
                link.row,
            );
        }
    }

    /// Tells of a row that names the same two ends as another, the other way round.
    fn look_for_mirror(&mut self, link: &Link, report: &mut Report) {
        let Places {
            from,
            from_port,
            to,
            to_port,
            ..
        } = self.places;
        let codes = [from, from_port, to, to_port].map(|column| link.code(column?));
        let [Some(a), Some(ap), Some(b), Some(bp)] = codes else {
            return;
        };
        if let Some(row) = self.both_ends.get(&[b, bp, a, ap]) {
            let what = format!("the two ends of row {row} stand here the other way round");
            report.at(&what, link.row);
        }
        self.both_ends.entry([a, ap, b, bp]).or_insert(link.row);
    }

    fn keep_original(&self, link: &mut Link, original: usize, text: &str) {
        let code = self.plan.names().code(text);
        link.cells.push((original, Entry::Text(code)));
    }

    /// A choice by its own word or by another one for it.
    fn word(
        &mut self,
        at: usize,
        text: &str,
        meaning: fn(&str) -> Option<&'static str>,
        original: usize,
        report: &mut Report,
    ) -> Result<Entry, Problem> {
        let column = self.columns.targets[at].column;
        let known = self.read_words[at].get(text).cloned();
        let (entry, word) = match known {
            Some(known) => known,
            None => {
                let found = match read_entry(self.plan, self.sheet, column, text) {
                    Ok(entry) => (entry, None),
                    Err(problem) => {
                        self.columns.used[original] = true;
                        let word = meaning(text).ok_or(problem)?;
                        let entry = read_entry(self.plan, self.sheet, column, word)?;
                        (entry, Some(word))
                    }
                };
                self.read_words[at].insert(text.to_owned(), found.clone());
                found
            }
        };
        if let Some(word) = word {
            report.reading(&self.columns.def.columns[column].name, text, word);
        }
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
        if !plain.eq_ignore_ascii_case(text) {
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
        for (column, entry) in [
            (self.places.module, module),
            (self.places.speed, says.speed.map(Entry::Number)),
            (self.places.length, says.length.map(Entry::Number)),
        ] {
            if let (Some(column), Some(entry)) = (column, entry)
                && !link.has(column)
            {
                link.cells.push((column, entry));
            }
        }
    }

    /// Where the cells under each heading go.
    fn mapped(&self) -> Vec<Mapped> {
        let targets = self.columns.targets.iter().enumerate();
        let mapped = targets.map(|(at, target)| {
            let seen = self.survey.seen.get(at);
            let def = self.columns.def.columns.get(target.column);
            Mapped {
                heading: target.heading.clone(),
                column: def.map_or_else(String::new, |def| def.name.clone()),
                unit: target.unit.as_ref().map(|unit| unit.symbol.clone()),
                how: target.how,
                n_cells: seen.map_or(0, |seen| seen.n_cells),
                samples: seen.map(|seen| seen.samples.clone()).unwrap_or_default(),
            }
        });
        mapped.collect()
    }

    /// The links and the columns they need, those that stayed unused left out, and where the cells
    /// under each heading went.
    pub(super) fn into_links(
        self,
        report: &mut Report,
    ) -> (Vec<Link>, Vec<ColumnDef>, Vec<Mapped>) {
        let mapped = self.mapped();
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
        (links, columns, mapped)
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

/// How the cells of a heading are read.
fn way(
    plan: &Plan,
    sheet: SheetId,
    columns: &mut Columns,
    survey: &Survey,
    named: Named,
    at: usize,
    target: &Target,
) -> Way {
    if matches!(target.how, How::LeftOut | How::Computed) {
        return Way::LeftOut;
    }
    let Some(def) = plan.def(sheet).columns.get(target.column) else {
        let is_date = words::words(&target.heading).any(|word| word == "date" || word == "day");
        return if is_date { Way::Date } else { Way::Text };
    };
    if columns.is_ours {
        return match def.kind {
            ColumnKind::Number => Way::Exact,
            ColumnKind::Text | ColumnKind::Row => Way::Plain,
            ColumnKind::Choice | ColumnKind::Flag => Way::Typed,
        };
    }
    let port = |name: &str, mapped: Option<usize>| {
        let column = plan.def(sheet).column(name);
        column.filter(|_| mapped.is_none() && survey.is_parted(at))
    };
    match (def.name.as_str(), def.kind) {
        ("role", _) => Way::Word(
            words::role_of,
            columns.original(plan, sheet, &target.heading),
        ),
        ("state", _) => Way::Word(
            words::state_of,
            columns.original(plan, sheet, &target.heading),
        ),
        ("medium", _) => Way::Medium(columns.original(plan, sheet, &target.heading)),
        ("from", _) => port("from_port", named.from_port).map_or(Way::Plain, Way::DeviceAndPort),
        ("to", _) => port("to_port", named.to_port).map_or(Way::Plain, Way::DeviceAndPort),
        ("from_port" | "to_port", _) => Way::Port,
        ("speed", _) => Way::Speed,
        (_, ColumnKind::Number) if def.unit == "m" => Way::Length,
        (_, ColumnKind::Number) => Way::Number,
        (_, ColumnKind::Text | ColumnKind::Row) => Way::Plain,
        (_, ColumnKind::Choice | ColumnKind::Flag) => Way::Typed,
    }
}

/// The unit of bare numbers under a heading: its own or that of its column.
fn bare_unit(plan: &Plan, sheet: SheetId, target: &Target) -> Option<Unit> {
    let def = plan.def(sheet).columns.get(target.column)?;
    let own = Units::builtin().unit(&def.unit).ok();
    let is_number = def.kind == ColumnKind::Number;
    target.unit.clone().or(own).filter(|_| is_number)
}

/// A text that may be one of two numbers.
struct Unclear;

/// What stands in a row, in one line of limited length.
fn shortened(cells: &[Cell<'_>]) -> String {
    let texts = cells
        .iter()
        .map(|cell| cell.text.split_whitespace().collect::<Vec<_>>().join(" "));
    let text = texts
        .filter(|text| !text.is_empty())
        .collect::<Vec<_>>()
        .join(", ");
    match text.char_indices().nth(MAX_ASIDE) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text,
    }
}

/// What stands in a row, in one line of limited length.
pub(super) fn in_line(row: RowView<'_>) -> String {
    shortened(&row.cells().collect::<Vec<_>>())
}

/// The date that a serial day of a spreadsheet means; the 29th of February 1900, which never was,
/// counts there.
fn date_of(cell: &Cell<'_>, from_1904: bool) -> Option<String> {
    if cell.kind != Kind::Number {
        return None;
    }
    let serial: f64 = cell.text.parse().ok()?;
    let is_day = serial.fract() == 0.0 && (1.0..2_958_466.0).contains(&serial);
    if !is_day {
        return None;
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a whole number below three million"
    )]
    let days = serial as i64;
    // Days from 1 March of the year 0, of which the year 400 begins anew.
    let epoch = match (from_1904, days > 60) {
        (true, _) => 695_361,
        (false, true) => 693_899,
        (false, false) => 693_900,
    };
    let days = days + epoch;
    let (era, of_era) = (days.div_euclid(146_097), days.rem_euclid(146_097));
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let day = of_year - (153 * month + 2) / 5 + 1;
    let month = if month < 10 { month + 3 } else { month - 9 };
    let year = year + era * 400 + i64::from(month <= 2);
    Some(format!("{year:04}-{month:02}-{day:02}"))
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
