//! What the rows of a table show before any is read: signs of decimals, units, ports in cells.
//!
//! Decisions for whole columns; nothing is changed here.

use super::block::{AT_ONCE, Body};
use super::ends;
use super::headings::{Columns, How, Target};
use super::numbers::{Decimal, Signs};
use super::report::Report;
use super::row::Named;
use super::words;
use crate::files::spreadsheet::Kind;
use crate::files::spreadsheet::RowView;
use crate::plan::Plan;
use crate::sheet::ColumnKind;
use crate::table::SheetId;
use crate::units::split_quantity;
use std::thread;

/// What the cells under one heading show.
#[derive(Debug, Clone, Default)]
pub(super) struct Seen {
    /// Their decimal signs, where numbers are expected.
    pub(super) signs: Signs,
    /// Bare numbers.
    pub(super) n_bare: usize,
    /// Numbers with a unit of their own.
    pub(super) n_with_unit: usize,
    /// The largest bare number.
    pub(super) largest: f64,
    /// Cells that hold a device and a port.
    pub(super) n_parted: usize,
    /// Cells that hold anything.
    pub(super) n_cells: usize,
    /// Texts, as against numbers and dates of a spreadsheet.
    pub(super) n_texts: usize,
    /// Cells that a spreadsheet made a number or a date of.
    pub(super) n_others: usize,
    /// Those of them that are no plain numbers.
    pub(super) n_mangled: usize,
    /// The first contents, to be shown.
    pub(super) samples: Vec<String>,
}

/// So many contents are shown of a heading.
const N_SAMPLES: usize = 3;

/// So many letters of each.
const MOST_OF_A_SAMPLE: usize = 60;

/// What the cells under all headings show.
#[derive(Debug)]
pub(super) struct Survey {
    /// One for each heading.
    pub(super) seen: Vec<Seen>,
    /// The decimal sign that the file shows as a whole.
    decimal: Option<Decimal>,
    /// Whether an end is empty in a row that has its port, so that it may stand in a row above.
    pub(super) has_open_end: bool,
    is_said: bool,
    separator: Option<char>,
}

impl Survey {
    /// Looks at all rows, on so many threads.
    pub(super) fn new(
        plan: &Plan,
        sheet: SheetId,
        targets: &[Target],
        body: Body<'_>,
        n_threads: usize,
        said: Option<Decimal>,
        separator: Option<char>,
    ) -> Self {
        let defs = &plan.def(sheet).columns;
        let looks: Vec<Look> = targets
            .iter()
            .map(|target| match defs.get(target.column) {
                Some(def) if def.kind == ColumnKind::Number => Look::Number,
                Some(def) if def.name == "from" || def.name == "to" => Look::End,
                Some(_) if target.column == 0 => Look::Id,
                Some(_) | None => Look::Text,
            })
            .collect();
        let named = Named::new(plan, sheet, targets);
        let ends = [(named.from, named.from_port), (named.to, named.to_port)];
        let ends = ends.into_iter().filter_map(|(end, port)| end.zip(port));
        let ends: Vec<(usize, usize)> = ends.collect();
        let n_each = body.n_rows().div_ceil(n_threads.max(1)).max(AT_ONCE);
        let mut found = Found::new(&looks);
        thread::scope(|scope| {
            let starts = (0..body.n_rows()).step_by(n_each).skip(1);
            let others = starts.map(|start| {
                let rows = body.rows(start..(start + n_each).min(body.n_rows()));
                let (looks, ends) = (&looks, &ends);
                scope.spawn(move || Found::of(rows, looks, ends))
            });
            let others: Vec<_> = others.collect();
            let first = body.rows(0..n_each.min(body.n_rows()));
            found = Found::of(first, &looks, &ends);
            for other in others {
                // What was not looked at because of a panic is not known; reading goes on.
                if let Ok(other) = other.join() {
                    found.append(other);
                }
            }
        });
        let Found {
            mut seen,
            has_open_end,
        } = found;
        for sample in seen.iter_mut().flat_map(|seen| &mut seen.samples) {
            if let Some((end, _)) = sample.char_indices().nth(MOST_OF_A_SAMPLE) {
                sample.truncate(end);
            }
        }
        let all = seen
            .iter()
            .fold(Signs::default(), |all, seen| all.and(seen.signs));
        Self {
            seen,
            has_open_end,
            decimal: said.or(all.most()),
            is_said: said.is_some(),
            separator,
        }
    }

    /// The decimal sign of a column: its own, that of the file, that which goes with the separator;
    /// none where `1,234` could be either.
    pub(super) fn decimal(&self, at: usize) -> Option<Decimal> {
        let own = self.seen.get(at).map(|seen| seen.signs).unwrap_or_default();
        if self.is_said {
            return self.decimal;
        }
        let by_separator = match self.separator {
            Some(';') => Some(Decimal::Comma),
            Some(_) | None => None,
        };
        own.most()
            .or(self.decimal)
            .or(by_separator)
            .or(match own.unclear {
                0 => Some(Decimal::Point),
                _ => None,
            })
    }

    /// Whether the cells under a heading hold device and port.
    pub(super) fn is_parted(&self, at: usize) -> bool {
        let seen = self.seen.get(at);
        seen.is_some_and(|seen| seen.n_parted > 0 && seen.n_parted * 2 >= seen.n_cells)
    }
}

/// What some rows show.
struct Found {
    seen: Vec<Seen>,
    has_open_end: bool,
}

impl Found {
    fn new(looks: &[Look]) -> Self {
        Self {
            seen: vec![Seen::default(); looks.len()],
            has_open_end: false,
        }
    }

    /// Looks at rows; `ends` are the headings of ends and of their ports.
    fn of<'g>(
        rows: impl Iterator<Item = RowView<'g>>,
        looks: &[Look],
        ends: &[(usize, usize)],
    ) -> Self {
        let mut found = Self::new(looks);
        for row in rows {
            for cell in row.cells() {
                let Some((seen, look)) =
                    found.seen.get_mut(cell.column).zip(looks.get(cell.column))
                else {
                    break;
                };
                seen.see(*look, cell.kind, cell.text);
            }
            if !found.has_open_end {
                found.has_open_end = ends
                    .iter()
                    .any(|(end, port)| row.cell(*port).is_some() && !stands(row, *end));
            }
        }
        found
    }

    /// Takes in what the rows show that follow.
    fn append(&mut self, later: Self) {
        for (seen, later) in self.seen.iter_mut().zip(later.seen) {
            seen.append(later);
        }
        self.has_open_end |= later.has_open_end;
    }
}

fn stands(row: RowView<'_>, column: usize) -> bool {
    let cell = row.cell(column);
    cell.is_some_and(|cell| cell.kind == Kind::NotCalculated || !cell.text.trim().is_empty())
}

/// Tells what was decided for whole columns, where it could be otherwise.
pub(super) fn tell(
    plan: &Plan,
    sheet: SheetId,
    columns: &Columns,
    survey: &Survey,
    report: &mut Report,
) {
    for (at, (target, seen)) in columns.targets.iter().zip(&survey.seen).enumerate() {
        let Some(def) = plan.def(sheet).columns.get(target.column) else {
            continue;
        };
        let (name, heading) = (&def.name, &target.heading);
        if seen.signs.comma + seen.signs.unclear > 0
            && let Some(decimal) = survey.decimal(at)
        {
            let sign = match decimal {
                Decimal::Comma => "comma",
                Decimal::Point => "point",
            };
            report.note(format!("{name} is read with a decimal {sign}"));
        }
        if target.column == 0 {
            tell_of_ids(seen, report);
        }
        if def.unit != "m" || seen.n_bare == 0 || target.unit.is_some() {
            continue;
        }
        let hint = format!("if they are feet, say --map '{heading}={name}:ft'");
        if seen.n_with_unit > 0 {
            report.note(format!(
                "{name} has units in some cells, those without one are in m; {hint}"
            ));
        } else if seen.largest > LONG && target.how != How::Said {
            report.note(format!(
                "{name} names no unit and goes up to {}, taken as m; {hint}",
                seen.largest
            ));
        }
    }
}

/// A bare length beyond this is often one in feet.
const LONG: f64 = 330.0;

fn tell_of_ids(seen: &Seen, report: &mut Report) {
    if seen.n_others > 0 && (seen.n_texts > 0 || seen.n_mangled > 0) {
        let what = format!(
            "{} of the ids are numbers or dates among {} texts: a spreadsheet may have changed them \
             (1E5 becomes 100000, 3-4 a date)",
            seen.n_others, seen.n_texts
        );
        report.note(what);
    }
}

#[derive(Debug, Clone, Copy)]
enum Look {
    Number,
    End,
    Id,
    Text,
}

impl Seen {
    /// Takes in what the cells show that follow.
    fn append(&mut self, later: Self) {
        self.signs = self.signs.and(later.signs);
        self.n_bare += later.n_bare;
        self.n_with_unit += later.n_with_unit;
        self.largest = self.largest.max(later.largest);
        self.n_parted += later.n_parted;
        self.n_cells += later.n_cells;
        self.n_texts += later.n_texts;
        self.n_others += later.n_others;
        self.n_mangled += later.n_mangled;
        for sample in later.samples {
            self.sample(sample);
        }
    }

    /// Keeps one of the first contents, in full until all rows were seen.
    fn sample(&mut self, text: String) {
        if self.samples.len() < N_SAMPLES && !self.samples.contains(&text) {
            self.samples.push(text);
        }
    }

    fn see(&mut self, look: Look, kind: Kind, text: &str) {
        self.n_cells += 1;
        if self.samples.len() < N_SAMPLES
            && !text.is_empty()
            && self.samples.iter().all(|known| known != text)
        {
            self.samples.push(text.to_owned());
        }
        match look {
            Look::Number => self.number(kind, text),
            Look::End if ends::device_and_port(text).is_some() => self.n_parted += 1,
            Look::Id => match is_mangled(kind, text) {
                true => {
                    self.n_others += 1;
                    self.n_mangled += usize::from(kind != Kind::Number);
                }
                false => self.n_texts += 1,
            },
            Look::End | Look::Text => {}
        }
    }

    fn number(&mut self, kind: Kind, text: &str) {
        if kind == Kind::Text {
            if words::is_blank(text) {
                return;
            }
            self.signs.see(text);
        }
        match split_quantity(text) {
            Some((value, "")) => {
                self.n_bare += 1;
                self.largest = self.largest.max(value);
            }
            Some(_) => self.n_with_unit += 1,
            None => {}
        }
    }
}

/// Whether a spreadsheet made something else of an id: a number in powers of ten, or a date.
fn is_mangled(kind: Kind, text: &str) -> bool {
    match kind {
        Kind::Number | Kind::Date => true,
        Kind::Text => looks_mangled(text),
        Kind::Flag | Kind::Error | Kind::NotCalculated => false,
    }
}

/// `1E+05`, `4-Mar`, `Mar-04`, `2031-03-04`.
fn looks_mangled(text: &str) -> bool {
    const MONTHS: [&str; 12] = [
        "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
    ];
    let is_number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let is_month = |text: &str| MONTHS.contains(&text.to_lowercase().as_str());
    if let Some((mantissa, exponent)) = text.split_once("E+") {
        return mantissa.parse::<f64>().is_ok() && is_number(exponent);
    }
    let Some((a, b)) = text.split_once('-') else {
        return false;
    };
    match b.split_once('-') {
        None => (is_number(a) && is_month(b)) || (is_month(a) && is_number(b)),
        Some((month, day)) => a.len() == 4 && [a, month, day].into_iter().all(is_number),
    }
}
