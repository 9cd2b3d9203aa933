//! One row of a table as the cells of a link, or as one that is set aside.
//!
//! Rows are read in blocks, several at once on as many threads; `block.rs` puts what they give
//! together. Cells that cannot be read stay as they are; what is told about them is in `report.rs`.

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
use crate::table::ABSENT;
use crate::table::SheetId;
use crate::table::TextHash;
use crate::units::Unit;
use crate::units::Units;
use crate::units::shown;
use crate::units::split_quantity;
use rustc_hash::{FxHashMap, FxHasher};
use std::borrow::Cow;
use std::hash::Hasher;
use std::sync::Arc;

/// What is written for a formula without a result.
const NOT_CALCULATED: &str = "not calculated";

/// The longest text, in bytes, that is read as a number in the ways of people; a longer one has to
/// be written as a plan writes it, which reads it as well.
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

/// Reads rows of a table; each thread has one of its own.
#[derive(Clone)]
pub(super) struct Rows<'p> {
    plan: &'p Plan,
    sheet: SheetId,
    pub(super) columns: Columns,
    /// For each heading how its cells are read.
    ways: Vec<Way>,
    survey: &'p Survey,
    about: About<'p>,
    /// The headings of the columns that name a link, where they are there.
    named: Named,
    /// The heading of the verdicts, in a list of a plan.
    verdict: Option<usize>,
    pub(super) places: Places,
    /// For each heading of numbers the unit of bare ones.
    units: Vec<Option<Unit>>,
    /// For each heading the words that were read under it; most tables have few.
    read_words: Vec<FxHashMap<&'p str, Arc<Reading>>>,
    read_speeds: FxHashMap<(Kind, &'p str), Arc<Speed>>,
    media: Arc<Media>,
    read_media: FxHashMap<&'p str, Option<Arc<MediumSaid>>>,
    n_headings: usize,
    /// What is filled down: heading and the last text under it.
    above: FxHashMap<usize, String>,
    texts: Texts<'p>,
}

/// What a word under a heading was read as.
#[derive(Debug)]
struct Reading {
    entry: Result<Read, &'static str>,
    /// What is told of it, where it was read as something else.
    told: Option<String>,
    /// Whether the word itself has to be kept.
    is_other: bool,
}

/// An entry apart from the names of a plan.
#[derive(Debug, Clone)]
enum Read {
    Empty,
    Number(f64),
    Text(String),
}

/// What a cell of a speed was read as.
#[derive(Debug)]
struct Speed {
    entry: Result<Option<f64>, &'static str>,
    /// How many cables it names, where it was read as a speed.
    lanes: Option<Option<u32>>,
    /// What is told of it, where the unit was guessed.
    told: Option<String>,
}

/// What a medium was read as.
#[derive(Debug)]
struct MediumSaid {
    medium: Medium,
    /// What is told of it, where it is spelled in another way.
    told: Option<String>,
}

/// What a block of rows gave. Texts are numbers of `texts`, not yet codes of the plan.
#[derive(Debug, Default)]
pub(super) struct Part<'p> {
    pub(super) links: Vec<Link>,
    pub(super) texts: Vec<(Cow<'p, str>, TextHash)>,
    pub(super) report: Report,
}

/// The texts of a block, most of them once. What stands in the row above often stands again.
#[derive(Clone)]
struct Texts<'p> {
    all: Vec<(Cow<'p, str>, TextHash)>,
    /// By a hash, the text that was seen last with it.
    seen: Vec<u32>,
}

/// So many texts are remembered in a block, a power of two.
const N_SEEN: usize = 1 << 12;

impl<'p> Texts<'p> {
    fn new() -> Self {
        Self {
            all: Vec::new(),
            seen: vec![ABSENT; N_SEEN],
        }
    }

    /// The number of a text in this block.
    fn number(&mut self, text: &'p str) -> u32 {
        match self.known(text) {
            (_, Some(number)) => number,
            (place, None) => self.add(Cow::Borrowed(text), place),
        }
    }

    /// The same for a text that does not stand in the table.
    fn number_of_other(&mut self, text: &str) -> u32 {
        match self.known(text) {
            (_, Some(number)) => number,
            (place, None) => self.add(Cow::Owned(text.to_owned()), place),
        }
    }

    fn known(&self, text: &str) -> (usize, Option<u32>) {
        let place = place(text);
        let number = self.seen[place];
        let known = self.all.get(number as usize);
        (
            place,
            known.filter(|(known, _)| known == text).map(|_| number),
        )
    }

    fn add(&mut self, text: Cow<'p, str>, place: usize) -> u32 {
        let number = u32::try_from(self.all.len()).unwrap_or(ABSENT);
        let hash = TextHash::of(&text);
        self.all.push((text, hash));
        self.seen[place] = number;
        number
    }

    fn text(&self, number: u32) -> &str {
        self.all.get(number as usize).map_or("", |(text, _)| text)
    }

    /// All texts; from now on numbers begin anew.
    fn take(&mut self) -> Vec<(Cow<'p, str>, TextHash)> {
        self.seen.fill(ABSENT);
        let n = self.all.len();
        std::mem::replace(&mut self.all, Vec::with_capacity(n))
    }
}

fn place(text: &str) -> usize {
    let mut hasher = FxHasher::default();
    hasher.write(text.as_bytes());
    usize::try_from(hasher.finish() >> 40).unwrap_or(0) % N_SEEN
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
pub(super) struct Places {
    pub(super) from: Option<usize>,
    pub(super) from_port: Option<usize>,
    pub(super) to: Option<usize>,
    pub(super) to_port: Option<usize>,
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
pub(super) struct Named {
    id: Option<usize>,
    pub(super) from: Option<usize>,
    pub(super) from_port: Option<usize>,
    pub(super) to: Option<usize>,
    pub(super) to_port: Option<usize>,
}

impl Named {
    pub(super) fn new(plan: &Plan, sheet: SheetId, targets: &[Target]) -> Self {
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
    medium: Option<Arc<MediumSaid>>,
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
        survey: &'p Survey,
        about: About<'p>,
    ) -> Self {
        let targets = columns.targets.clone();
        let named = Named::new(plan, sheet, &targets);
        let ways = targets.iter().enumerate();
        let ways: Vec<Way> = ways
            .map(|(at, target)| way(plan, sheet, &mut columns, survey, named, at, target))
            .collect();
        Self {
            ways,
            verdict: targets
                .iter()
                .position(|target| target.how == How::Computed && target.heading == VERDICT),
            media: Arc::new(media(plan, sheet)),
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
            read_speeds: FxHashMap::default(),
            read_media: FxHashMap::default(),
            n_headings: targets.len(),
            above: FxHashMap::default(),
            texts: Texts::new(),
        }
    }

    /// Reads a block of rows.
    pub(super) fn block(&mut self, rows: impl Iterator<Item = RowView<'p>>) -> Part<'p> {
        let mut part = Part::default();
        let (mut cells, mut room) = (Vec::new(), Vec::new());
        for row in rows {
            cells.clear();
            cells.extend(row.cells().filter(holds));
            if let Some(link) = self.read(row, &cells, &mut room, &mut part.report) {
                part.links.push(link);
            }
        }
        part.texts = self.texts.take();
        part
    }

    /// Reads a row, which becomes a link or is set aside; `room` is for its cells meanwhile.
    fn read(
        &mut self,
        row: RowView<'p>,
        cells: &[Cell<'p>],
        room: &mut Vec<(usize, Entry)>,
        report: &mut Report,
    ) -> Option<Link> {
        if let Some(reason) = self.aside(row, cells) {
            report.set_aside(row.number(), reason, shortened(cells));
            return None;
        }
        let last = cells.iter().rfind(|cell| cell.column < MAX_COLUMNS);
        self.widen(last.map_or(0, |cell| cell.column + 1));
        let mut link = Link {
            row: row.number(),
            cells: std::mem::take(room),
        };
        let mut beside = Beside::default();
        for cell in cells {
            self.cell(&mut link, cell, &mut beside, report);
        }
        self.fill_down(&mut link, cells, report);
        self.add_members(&mut link, &beside, report);
        if let Some(said) = &beside.medium {
            self.add_said(&mut link, &said.medium);
        }
        if row.is_hidden() {
            let what = "hidden rows are read as well, --leave-hidden leaves them out";
            report.at_the_end_of(what, row.number());
        }
        // As much memory as it needs: a million links are long kept.
        *room = link.cells;
        link.cells = Vec::with_capacity(room.len());
        link.cells.append(room);
        Some(link)
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
        // Their cells are no words for nothing, not even `-`.
        let has_cell = |at: Option<usize>| cells.iter().any(|cell| Some(cell.column) == at);
        if has_cell(self.named.id) && given(self.verdict).is_some() {
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
        if (!has_ends && words::is_total(first)) || (n_named == 0 && cells.iter().any(sums)) {
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
                let number = self.texts.number_of_other(&self.above[&end]);
                link.cells.push((column, Entry::Text(number)));
                report.at(&format!("{name} is taken from the row above"), link.row);
            } else if let Some(number) = link.code(column) {
                let text = self.texts.text(number);
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

    /// How many columns the plan has without those that an import adds.
    pub(super) fn n_known(&self) -> usize {
        self.plan.def(self.sheet).columns.len()
    }

    /// Takes in which columns another reader of the same table needed.
    pub(super) fn join(&mut self, other: Self) {
        self.widen(other.columns.targets.len());
        for (used, also) in self.columns.used.iter_mut().zip(other.columns.used) {
            *used |= also;
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

    fn cell(&mut self, link: &mut Link, cell: &Cell<'p>, beside: &mut Beside, report: &mut Report) {
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
        cell: &Cell<'p>,
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
                Some(Entry::Text(self.texts.number(text)))
            }
            _ => Some(Entry::Wrong(text.to_owned())),
        }
    }

    fn value(
        &mut self,
        link: &mut Link,
        cell: &Cell<'p>,
        text: &'p str,
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
                Ok(Entry::Text(self.texts.number(text)))
            }
            Way::Date => {
                self.columns.used[column] = true;
                Ok(Entry::Text(match date_of(cell, self.about.from_1904) {
                    Some(date) => self.texts.number_of_other(&date),
                    None => self.texts.number(text),
                }))
            }
            Way::Typed => self.typed_word(at, text),
            Way::Exact => self.exact(at, text),
            Way::Plain => Ok(Entry::Text(self.texts.number(text))),
            Way::Number | Way::Length => match self.number(cell, text, way, link.row, report) {
                Ok(entry) => entry.map_err(|problem| why(&problem)),
                // What may be either of two numbers was told already.
                Err(Unclear) => return Some(Entry::Wrong(text.to_owned())),
            },
            Way::Speed => match self.speed(cell, text, beside, link.row, report) {
                Ok(entry) => entry,
                Err(Unclear) => return Some(Entry::Wrong(text.to_owned())),
            },
            Way::DeviceAndPort(port) => match ends::device_and_port(text) {
                Some((device, rest)) => {
                    link.cells
                        .push((port, Entry::Text(self.texts.number(rest))));
                    let name = &self.columns.def.columns[column].name;
                    report.at(
                        &format!("{name} holds device and port, parted at the last space"),
                        link.row,
                    );
                    self.ports(at, rest, beside);
                    Ok(match device.trim() {
                        "" => Entry::Empty,
                        device => Entry::Text(self.texts.number(device)),
                    })
                }
                None => Ok(Entry::Text(self.texts.number(text))),
            },
            Way::Port => {
                self.ports(at, text, beside);
                Ok(Entry::Text(self.texts.number(text)))
            }
            Way::Word(meaning, original) => {
                self.keep_original(link, original, text);
                self.word(at, text, meaning, original, report)
            }
            Way::Medium(original) => {
                self.keep_original(link, original, text);
                beside.medium = self.medium(column, text, original, link.row, report);
                let said = beside.medium.as_ref();
                let medium = said.and_then(|said| said.medium.medium.as_deref());
                Ok(Entry::Text(match medium {
                    Some(medium) => self.texts.number_of_other(medium),
                    None => self.texts.number(text),
                }))
            }
        };
        Some(entry.unwrap_or_else(|why| {
            let name = &self.columns.def.columns[column].name;
            report.kept(name, text, why, link.row);
            Entry::Wrong(text.to_owned())
        }))
    }

    /// A cell of numbers as a list of a plan writes it.
    fn exact(&self, at: usize, text: &str) -> Result<Entry, &'static str> {
        let read = quantity(self.plan, self.sheet, &self.columns.targets[at], text);
        read.map(number_or_nothing).map_err(|problem| why(&problem))
    }

    /// The plain form of a number that is read for a column: its digits and its decimal sign.
    fn plain(
        &self,
        cell: &Cell<'_>,
        text: &'p str,
        row: usize,
        report: &mut Report,
    ) -> Result<Cow<'p, str>, Unclear> {
        Ok(match (cell.kind, self.survey.decimal(cell.column)) {
            (Kind::Text, Some(decimal)) => numbers::plain(text, decimal),
            (Kind::Text, None) if numbers::is_unclear(text) => {
                let column = self.columns.targets[cell.column].column;
                let name = &self.columns.def.columns[column].name;
                let why = "may be a decimal or a thousand (say --decimal comma or --decimal point)";
                report.kept(name, text, why, row);
                return Err(Unclear);
            }
            (Kind::Text, None) => numbers::plain(text, Decimal::Point),
            (_, _) => Cow::Borrowed(text),
        })
    }

    /// A number in the unit of its cell, of its heading or of its column.
    fn number(
        &self,
        cell: &Cell<'_>,
        text: &'p str,
        way: Way,
        row: usize,
        report: &mut Report,
    ) -> Result<Result<Entry, Problem>, Unclear> {
        let target = &self.columns.targets[cell.column];
        let is_long = text.len() > LONGEST_NUMBER;
        let plain = match is_long {
            true => Cow::Borrowed(text),
            false => self.plain(cell, text, row, report)?,
        };
        let in_feet = match way {
            Way::Length if !is_long => numbers::feet(&plain),
            _ => None,
        };
        let plain = in_feet.map_or(plain, Cow::Owned);
        if let Some(number) = self.bare(cell.column, &plain) {
            return Ok(Ok(Entry::Number(number)));
        }
        Ok(quantity(self.plan, self.sheet, target, &plain).map(number_or_nothing))
    }

    /// A bare number under a heading, in base units.
    fn bare(&self, at: usize, plain: &str) -> Option<f64> {
        let unit = self.units[at].as_ref()?;
        let (number, rest) = split_quantity(plain)?;
        let number = Some(unit.to_base(number)).filter(|_| rest.is_empty());
        number.filter(|number| number.is_finite())
    }

    /// A speed, which may name lanes.
    fn speed(
        &mut self,
        cell: &Cell<'_>,
        text: &'p str,
        beside: &mut Beside,
        row: usize,
        report: &mut Report,
    ) -> Result<Result<Entry, &'static str>, Unclear> {
        let key = (cell.kind, text);
        let known = match self.read_speeds.get(&key) {
            Some(known) => Arc::clone(known),
            None => {
                let plain = match text.len() > LONGEST_NUMBER {
                    true => Cow::Borrowed(text),
                    false => self.plain(cell, text, row, report)?,
                };
                let read = Arc::new(self.speed_of(cell.column, text, &plain));
                self.read_speeds.insert(key, Arc::clone(&read));
                read
            }
        };
        if let Some(lanes) = known.lanes {
            beside.lanes = lanes;
        }
        if let Some(told) = &known.told {
            report.read(told);
        }
        Ok(known.entry.map(number_or_nothing))
    }

    fn speed_of(&self, at: usize, text: &str, plain: &str) -> Speed {
        let target = &self.columns.targets[at];
        let is_mega = self.survey.seen[at].largest >= 1000.0;
        let found = match target.unit {
            Some(_) => None,
            None => numbers::speed(plain, is_mega),
        };
        if let Some((speed, lanes)) = found {
            let entry = quantity(self.plan, self.sheet, target, &speed);
            let bare = split_quantity(plain).filter(|(_, rest)| rest.is_empty());
            let is_told = bare.is_some() && speed.ends_with("Mb/s") && entry.is_ok();
            return Speed {
                entry: entry.map_err(|problem| why(&problem)),
                lanes: Some(lanes),
                told: is_told.then(|| Report::reading("speed", text, &speed)),
            };
        }
        let entry = match self.bare(at, plain) {
            Some(number) => Ok(Some(number)),
            None => quantity(self.plan, self.sheet, target, plain).map_err(|problem| why(&problem)),
        };
        Speed {
            entry,
            lanes: None,
            told: None,
        }
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

    fn keep_original(&mut self, link: &mut Link, original: usize, text: &'p str) {
        link.cells
            .push((original, Entry::Text(self.texts.number(text))));
    }

    /// A word as a person would type it.
    fn typed_word(&mut self, at: usize, text: &'p str) -> Result<Entry, &'static str> {
        let known = self.read_words[at].get(text).cloned();
        let reading = known.unwrap_or_else(|| {
            let entry = self.read_typed(at, text);
            let reading = Arc::new(Reading {
                entry: entry.map_err(|problem| why(&problem)),
                told: None,
                is_other: false,
            });
            self.read_words[at].insert(text, Arc::clone(&reading));
            reading
        });
        self.entry(&reading)
    }

    fn read_typed(&self, at: usize, text: &str) -> Result<Read, Problem> {
        let column = self.columns.targets[at].column;
        Ok(match read_entry(self.plan, self.sheet, column, text)? {
            Entry::Empty => Read::Empty,
            Entry::Number(number) => Read::Number(number),
            Entry::Text(code) => Read::Text(self.plan.names().text(code)),
            Entry::Wrong(text) => Read::Text(text),
        })
    }

    fn entry(&mut self, reading: &Reading) -> Result<Entry, &'static str> {
        Ok(match reading.entry.as_ref().map_err(|why| *why)? {
            Read::Empty => Entry::Empty,
            Read::Number(number) => Entry::Number(*number),
            Read::Text(text) => Entry::Text(self.texts.number_of_other(text)),
        })
    }

    /// A choice by its own word or by another one for it.
    fn word(
        &mut self,
        at: usize,
        text: &'p str,
        meaning: fn(&str) -> Option<&'static str>,
        original: usize,
        report: &mut Report,
    ) -> Result<Entry, &'static str> {
        let known = self.read_words[at].get(text).cloned();
        let reading = known.unwrap_or_else(|| {
            let reading = Arc::new(self.read_word(at, text, meaning));
            self.read_words[at].insert(text, Arc::clone(&reading));
            reading
        });
        self.columns.used[original] |= reading.is_other;
        if let Some(told) = &reading.told {
            report.read(told);
        }
        self.entry(&reading)
    }

    fn read_word(
        &self,
        at: usize,
        text: &str,
        meaning: fn(&str) -> Option<&'static str>,
    ) -> Reading {
        let problem = match self.read_typed(at, text) {
            Ok(entry) => {
                return Reading {
                    entry: Ok(entry),
                    told: None,
                    is_other: false,
                };
            }
            Err(problem) => problem,
        };
        let read = meaning(text).map(|word| (word, self.read_typed(at, word)));
        let (entry, told) = match read {
            None => (Err(why(&problem)), None),
            Some((_, Err(problem))) => (Err(why(&problem)), None),
            Some((word, Ok(entry))) => {
                let column = self.columns.targets[at].column;
                let name = &self.columns.def.columns[column].name;
                (Ok(entry), Some(Report::reading(name, text, word)))
            }
        };
        Reading {
            entry,
            told,
            is_other: true,
        }
    }

    /// What a medium cell says; nothing where it is not understood.
    fn medium(
        &mut self,
        column: usize,
        text: &'p str,
        original: usize,
        row: usize,
        report: &mut Report,
    ) -> Option<Arc<MediumSaid>> {
        let name = &self.columns.def.columns[column].name;
        let known = self.read_media.get(text).cloned();
        let found = known.unwrap_or_else(|| {
            let found = self.media.read(text).map(|medium| {
                let plain = medium.medium.as_deref().unwrap_or_default();
                let is_other = !plain.eq_ignore_ascii_case(text);
                let told = is_other.then(|| Report::reading(name, text, &said(&medium)));
                Arc::new(MediumSaid { medium, told })
            });
            self.read_media.insert(text, found.clone());
            found
        });
        match &found {
            None => report.kept(name, text, "is not a known medium", row),
            Some(said) => {
                if let Some(told) = &said.told {
                    self.columns.used[original] = true;
                    report.read(told);
                }
            }
        }
        found
    }

    /// Fills what the medium said beside itself into cells that are empty.
    fn add_said(&mut self, link: &mut Link, says: &Medium) {
        let module = says.module.map(|form| Entry::Text(self.texts.number(form)));
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
    pub(super) fn mapped(&self) -> Vec<Mapped> {
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
}

/// Whether a cell holds anything.
fn holds(cell: &Cell<'_>) -> bool {
    !cell.text.trim().is_empty() || cell.kind == Kind::NotCalculated
}

/// What is told of a column that an import adds.
pub(super) fn added(def: &ColumnDef) -> String {
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

/// A number as a person would type it, bare ones in the unit of the heading.
fn quantity(
    plan: &Plan,
    sheet: SheetId,
    target: &Target,
    text: &str,
) -> Result<Option<f64>, Problem> {
    if let Some(unit) = &target.unit
        && let Some((number, "")) = split_quantity(text)
        && unit.to_base(number).is_finite()
    {
        return Ok(Some(unit.to_base(number)));
    }
    match read_entry(plan, sheet, target.column, text)? {
        Entry::Number(number) => Ok(Some(number)),
        Entry::Empty => Ok(None),
        Entry::Text(_) | Entry::Wrong(_) => Err(no_number()),
    }
}

fn number_or_nothing(number: Option<f64>) -> Entry {
    number.map_or(Entry::Empty, Entry::Number)
}

/// No number is as long, and looking for what was meant would take long.
fn no_number() -> Problem {
    Problem::new("not-a-quantity", "this is not a number")
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
