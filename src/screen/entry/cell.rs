//! Help for an entered cell: the check of its text, and words it may be.

use super::advice::Advice;
use super::offers;
use super::offers::Offer;
use crate::desk::Desk;
use crate::plan::Entry;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::problem::similar;
use crate::screen::theme::Tone;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::table::ABSENT;
use crate::table::ColumnId;
use crate::table::RowId;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::Units;
use crate::units::exact;
use crate::units::shown;
use crate::units::split_quantity;
use rustc_hash::FxHashMap;

/// With more rows than this a block is not looked through for what its rows have in common.
const MOST_COMPARED: usize = 10_000;

/// The content of a cell as a person would type it, unit included.
pub(super) fn typed(desk: &Desk, sheet: SheetId, column: usize, row: RowId) -> String {
    match desk.plan().def(sheet).columns.get(column) {
        Some(def) if def.entered() => as_typed(
            desk,
            &desk.plan().entry(sheet, column, row),
            &unit_of(&def.unit),
        ),
        Some(_) | None => String::new(),
    }
}

/// An entry as a person would type it, unit included.
pub(in crate::screen) fn as_typed(desk: &Desk, entry: &Entry, unit: &Unit) -> String {
    match entry {
        Entry::Number(value) => quantity(*value, unit),
        Entry::Empty | Entry::Text(_) | Entry::Wrong(_) => entry.text(unit, desk.plan().names()),
    }
}

/// A number with its unit that reads back to the same bits.
pub(super) fn quantity(value: f64, unit: &Unit) -> String {
    let text = exact(value, unit);
    match unit.symbol.is_empty() || text.contains(' ') {
        true => text,
        false => format!("{text} {}", unit.symbol),
    }
}

/// The content that all rows have, else nothing.
pub(super) fn common(desk: &Desk, sheet: SheetId, column: usize, rows: &[RowId]) -> String {
    let Some((first, rest)) = rows.split_first() else {
        return String::new();
    };
    let is_entered = desk
        .plan()
        .def(sheet)
        .columns
        .get(column)
        .is_some_and(ColumnDef::entered);
    if !is_entered || rest.len() > MOST_COMPARED {
        return String::new();
    }
    let entry = desk.plan().entry(sheet, column, *first);
    let same = |row: &RowId| desk.plan().entry(sheet, column, *row) == entry;
    match rest.iter().all(same) {
        true => typed(desk, sheet, column, *first),
        false => String::new(),
    }
}

/// What is known of a text for a cell, or for one column of several rows; words that are like
/// `like` are offered.
pub(super) fn advise(
    desk: &Desk,
    sheet: SheetId,
    rows: &[RowId],
    column: usize,
    text: &str,
    like: &str,
) -> Advice {
    let Some(def) = desk.plan().def(sheet).columns.get(column) else {
        return computed("this column");
    };
    if !def.entered() {
        return computed(&format!("`{}`", def.name));
    }
    let mut advice = Advice::default();
    match def.kind {
        ColumnKind::Number => number(desk, sheet, column, def, text, &mut advice),
        ColumnKind::Choice => {
            if let Err(problem) = read_entry(desk.plan(), sheet, column, text) {
                advice.problems.push(problem);
            }
            choice(def, text, like, &mut advice);
        }
        ColumnKind::Row => reference((desk, sheet, rows), def, text, like, &mut advice),
        ColumnKind::Text | ColumnKind::Flag => {}
    }
    if let [row] = rows {
        let now = typed(desk, sheet, column, *row);
        if !now.is_empty() && now != text.trim() {
            advice.tell(format!("now {now}"), Tone::Plain);
        }
    }
    if rows.len() > 1 && advice.problems.is_empty() {
        let becomes = match text.trim().is_empty() {
            true => "becomes empty",
            false => "gets this value",
        };
        advice.tell(
            format!("each of the {} rows {becomes}", rows.len()),
            Tone::Plain,
        );
    }
    advice.tell(described(def), Tone::Quiet);
    advice
}

fn computed(name: &str) -> Advice {
    Advice {
        problems: vec![
            Problem::new(
                "column-computed",
                format!("{name} is computed, not entered"),
            )
            .help("change the cells its formula reads, or its formula"),
        ],
        ..Advice::default()
    }
}

/// The doc of a column, with the unit a number without one is taken in.
fn described(def: &ColumnDef) -> String {
    match def.unit.is_empty() {
        true => def.doc.clone(),
        false => format!("{} A number alone is in {}.", def.doc, def.unit)
            .trim_start()
            .to_owned(),
    }
}

fn number(
    desk: &Desk,
    sheet: SheetId,
    column: usize,
    def: &ColumnDef,
    text: &str,
    advice: &mut Advice,
) {
    match read_entry(desk.plan(), sheet, column, text) {
        Ok(Entry::Number(value)) => read_as(value, text, &unit_of(&def.unit), advice),
        Ok(Entry::Empty | Entry::Text(_) | Entry::Wrong(_)) => {}
        Err(problem) => advice.problems.push(problem),
    }
}

/// Says the value in the unit of the column when another unit was typed.
pub(super) fn read_as(value: f64, text: &str, unit: &Unit, advice: &mut Advice) {
    let word = split_quantity(text).map_or("", |(_, word)| word);
    if !word.is_empty() && word != unit.symbol {
        advice.tell(format!("= {}", shown(value, unit, None)), Tone::Plain);
    }
}

pub(in crate::screen) fn unit_of(symbol: &str) -> Unit {
    Units::builtin()
        .unit(symbol)
        .unwrap_or_else(|_| Unit::none())
}

fn choice(def: &ColumnDef, text: &str, like: &str, advice: &mut Advice) {
    let found = offers::find(def.choices.len(), |at| &def.choices[at], like);
    let offer = |at: usize| whole(text, &def.choices[at], String::new());
    advice.offers = found.all().map(offer).collect();
    advice.patient = !advice.offers.is_empty();
}

/// An offer in place of the whole text.
fn whole(text: &str, word: &str, remark: String) -> Offer {
    Offer {
        insert: word.to_owned(),
        span: 0..text.len(),
        shown: word.to_owned(),
        remark,
    }
}

fn reference(
    (desk, sheet, rows): (&Desk, SheetId, &[RowId]),
    def: &ColumnDef,
    text: &str,
    like: &str,
    advice: &mut Advice,
) {
    let Some(to) = def.to.as_deref().and_then(|name| desk.plan().sheet(name)) else {
        return;
    };
    let remarks = Remarks::new(desk, sheet, rows, to);
    let (mut list, partly) = rows_like(desk, to, like);
    // The sort is stable: within a kind of match the order of the plan stays.
    list.sort_by_key(|(row, class)| (*class, !remarks.fits(*row)));
    let offers = list.iter().map(|(row, _)| {
        let id = desk.plan().id(to, *row);
        whole(text, &id, remarks.of(desk, *row))
    });
    advice.offers = offers.collect();
    advice.partly = partly;
    let begun = list.iter().any(|(_, class)| *class == 0);
    if !text.trim().is_empty() && !begun && desk.plan().find(to, text).is_none() {
        let one = desk.plan().def(to).row_word();
        let ids = advice.offers.iter().map(|offer| offer.shown.as_str());
        let near =
            similar(text.trim(), ids).map_or(String::new(), |id| format!("; did you mean `{id}`?"));
        let told = format!("no {one} has this name yet: it is kept and leads nowhere{near}");
        advice.tell(told, Tone::Tight);
    }
}

/// Rows whose name is like a text, each with the kind of match, best first; of rows of one name
/// the last. And whether only a part of the rows was looked at.
pub(super) fn rows_like(desk: &Desk, sheet: SheetId, text: &str) -> (Vec<(RowId, u8)>, bool) {
    let rows = desk.plan().rows(sheet);
    let (order, ids) = (rows.order(), rows.column(0).codes());
    let view = desk.plan().names().view();
    let code = |at: usize| {
        let row = order.get(at)?;
        ids.get(row.at()).copied()
    };
    let name = |at: usize| view.text(code(at).unwrap_or(ABSENT));
    let found = offers::find(order.len(), name, text);
    let classes = [(&found.begun, 0), (&found.held, 1), (&found.near, 2)];
    let listed = classes
        .into_iter()
        .flat_map(|(places, class)| places.iter().map(move |at| (*at, class)));
    let listed: Vec<(usize, u8)> = listed.filter(|(at, _)| !name(*at).is_empty()).collect();
    let mut last: FxHashMap<u32, usize> = FxHashMap::default();
    for (at, _) in &listed {
        let folded = view.folded(code(*at).unwrap_or(ABSENT));
        last.entry(folded)
            .and_modify(|known| *known = (*known).max(*at))
            .or_insert(*at);
    }
    let is_last = |at: usize| last.get(&view.folded(code(at).unwrap_or(ABSENT))) == Some(&at);
    let kept = listed.iter().filter(|(at, _)| is_last(*at));
    let kept = kept.map(|(at, class)| (order[*at], *class)).collect();
    (kept, found.partly)
}

/// What is said beside the rows of a sheet.
struct Remarks {
    /// Columns of the sheet whose values are shown.
    columns: Vec<ColumnId>,
    /// For links: the reach of each interface on the medium of the row, or of each medium with
    /// its interface, and what it is called.
    reach: Option<(String, FxHashMap<u32, String>)>,
}

/// The columns that tell most about a row of a sheet.
const TELLING: [(&str, &str); 3] = [
    ("interfaces", "speed"),
    ("media", "kind"),
    ("switches", "building"),
];

impl Remarks {
    fn new(desk: &Desk, sheet: SheetId, rows: &[RowId], to: SheetId) -> Self {
        let name = desk.plan().def(to).name.as_str();
        let telling = TELLING.iter().filter(|(of, _)| *of == name);
        let columns = telling.filter_map(|(_, column)| desk.engine().find_column(to, column));
        Self {
            columns: columns.collect(),
            reach: match name {
                "interfaces" => reaches(desk, sheet, rows, "medium", "interface", "on"),
                "media" => reaches(desk, sheet, rows, "interface", "medium", "with"),
                _ => None,
            },
        }
    }

    /// Whether nothing is known against the row here.
    fn fits(&self, row: RowId) -> bool {
        self.reach
            .as_ref()
            .is_none_or(|(_, reach)| reach.contains_key(&row.0))
    }

    fn of(&self, desk: &Desk, row: RowId) -> String {
        let shown = self
            .columns
            .iter()
            .map(|column| desk.engine().shown(desk.plan(), *column, row));
        let mut parts: Vec<String> = shown.filter(|text| !text.is_empty()).collect();
        if let Some((other, reach)) = &self.reach {
            parts.push(match reach.get(&row.0).map(String::as_str) {
                Some("") => format!("reach unknown {other}"),
                Some(reach) => format!("reach {reach} {other}"),
                None => format!("no specified reach {other}"),
            });
        }
        parts.join(", ")
    }
}

/// The reach of all channels that have what the rows have in one column, by what they have in
/// the other; none where the rows differ or have nothing there.
fn reaches(
    desk: &Desk,
    sheet: SheetId,
    rows: &[RowId],
    given: &str,
    wanted: &str,
    word: &str,
) -> Option<(String, FxHashMap<u32, String>)> {
    let engine = desk.engine();
    let own = engine.find_column(sheet, given)?;
    let (first, rest) = rows.split_first()?;
    let is = engine.row_at(own, *first);
    if is == ABSENT
        || rest.len() > MOST_COMPARED
        || rest.iter().any(|row| engine.row_at(own, *row) != is)
    {
        return None;
    }
    let channels = desk.plan().sheet("channels")?;
    let column = |name| engine.find_column(channels, name);
    let (key, value, reach) = (column(given)?, column(wanted)?, column("reach")?);
    let order = desk.plan().rows(channels).order();
    let here = order.iter().filter(|row| engine.row_at(key, **row) == is);
    let found = here.map(|row| {
        let reach = engine.shown(desk.plan(), reach, *row);
        (engine.row_at(value, *row), reach)
    });
    let of = engine.def(own)?.to.as_deref()?;
    let of = desk.plan().sheet(of)?;
    let other = format!("{word} {}", desk.plan().id(of, RowId(is)));
    Some((other, found.collect()))
}
