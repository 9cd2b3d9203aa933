//! A column of a person's own, written in one line, and what it says.
//!
//! `rack`, `rack text`, `height [m]`, `slots number`, `phase one of plan, pull, test`,
//! `spare_switch row of switches`, and with a formula `half [m] = length / 2`. A title may stand
//! before it in quotes. Nothing here changes a plan.

use super::advice::Advice;
use super::cell::unit_of;
use super::formula;
use super::formula::Ask;
use super::names::is_name;
use super::offers;
use super::offers::Offer;
use crate::desk::Desk;
use crate::files::own_column::MAX_COLUMNS;
use crate::files::own_column::TAKEN;
use crate::files::own_column::too_many_columns;
use crate::formula::Formula;
use crate::formula::Ty;
use crate::formula::check_unit;
use crate::problem::Problem;
use crate::screen::theme::Tone;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::table::RowId;
use crate::table::SheetId;
use crate::units::Units;
use std::ops::Range;

/// The forms that a line may have, for help.
const FORMS: &str = "write `name`, `name [unit]`, `name one of a, b`, `name row of sheet`, or with a formula \
                     `name [unit] = formula`; a title may stand before it in quotes";

/// Reads the line of an own column.
///
/// # Errors
/// Everything that is wrong with it, each with its place in the line.
pub fn read_column(desk: &Desk, sheet: SheetId, text: &str) -> Result<ColumnDef, Vec<Problem>> {
    let ask = ask(desk, sheet, None, text, text.len());
    read(ask).map(|made| made.def)
}

/// An own column that was read.
struct Made {
    def: ColumnDef,
    formula: Option<Formula>,
}

/// Where the formula of a line begins; the end of the line where it has none.
pub(super) fn formula_start(text: &str) -> usize {
    let head = head_end(text);
    let rest = &text[head..];
    match rest.strip_prefix('=') {
        Some(after) => text.len() - after.trim_start().len(),
        None => text.len(),
    }
}

/// Where the sign of equality stands, or the end; a title may hold one.
fn head_end(text: &str) -> usize {
    let mut quoted = false;
    let found = text.char_indices().find(|(_, c)| {
        quoted ^= *c == '"';
        *c == '=' && !quoted
    });
    found.map_or(text.len(), |(at, _)| at)
}

fn ask<'a>(
    desk: &'a Desk,
    sheet: SheetId,
    row: Option<RowId>,
    whole: &'a str,
    cursor: usize,
) -> Ask<'a> {
    let from = formula_start(whole);
    Ask {
        desk,
        sheet,
        row,
        whole,
        from,
        cursor,
    }
}

/// What the line would make, and help for its formula.
pub(super) fn advise(
    desk: &Desk,
    sheet: SheetId,
    row: Option<RowId>,
    text: &str,
    cursor: usize,
    offering: bool,
) -> Advice {
    if text.trim().is_empty() {
        return Advice::of(FORMS);
    }
    let ask = ask(desk, sheet, row, text, cursor);
    let mut advice = Advice::default();
    match read(ask) {
        Ok(made) => explain(ask, &made, &mut advice),
        Err(problems) => {
            advice.problems = problems;
            if head_end(text) == text.len() {
                advice.tell(FORMS, Tone::Quiet);
            }
        }
    }
    let in_formula = head_end(text) < text.len() && cursor > head_end(text);
    match in_formula {
        true => formula::helped(ask, advice, offering),
        false => {
            if offering {
                advice.offers = kinds(ask);
            }
            advice
        }
    }
}

fn explain(ask: Ask<'_>, made: &Made, advice: &mut Advice) {
    let def = &made.def;
    let holds = match def.kind {
        ColumnKind::Number if def.unit.is_empty() => "plain numbers".to_owned(),
        ColumnKind::Number => format!("values in {}", def.unit),
        ColumnKind::Text => "texts".to_owned(),
        ColumnKind::Choice => format!("one of: {}", def.choices.join(", ")),
        ColumnKind::Flag => "yes or no".to_owned(),
        ColumnKind::Row => {
            let to = def
                .to
                .as_deref()
                .and_then(|name| ask.desk.plan().sheet(name));
            let one = to.map_or("row", |to| ask.desk.plan().def(to).row_word());
            format!("the name of {}", one_of(one))
        }
    };
    let made_by = match def.formula {
        Some(_) => "computed",
        None => "entered",
    };
    advice.tell(
        format!(
            "makes a column `{}`, titled {}: {made_by}, {holds}",
            def.name, def.title
        ),
        Tone::Plain,
    );
    if let Some(formula) = &made.formula {
        let unit = unit_of(&def.unit);
        let show = |cell: &_| formula::shown_in(&unit, cell);
        if let Some(value) = formula::preview(ask, formula, show) {
            advice.tell(value, Tone::Computed);
        }
    }
}

/// The parts of a line before its formula.
struct Head<'t> {
    title: Option<&'t str>,
    name: &'t str,
    name_at: Range<usize>,
    kind: &'t str,
    kind_at: Range<usize>,
}

fn head(text: &str) -> Result<Head<'_>, Problem> {
    let end = head_end(text);
    let (mut at, mut title) = (blanks(text, 0), None);
    if let Some(inner) = text[at..end].strip_prefix('"') {
        let length = inner.find('"').ok_or_else(|| {
            Problem::new("text-open", "the title has no closing quote")
                .at(at..at + 1, "it starts here")
        })?;
        title = Some(inner[..length].trim()).filter(|title| !title.is_empty());
        at = blanks(text, at + length + 2);
    }
    let rest = &text[at..end.max(at)];
    let length = rest
        .find(|c: char| c.is_whitespace() || c == '[')
        .unwrap_or(rest.len());
    let kind = rest[length..].trim();
    let kind_from = at + length + (rest[length..].len() - rest[length..].trim_start().len());
    Ok(Head {
        title,
        name: &rest[..length],
        name_at: at..at + length,
        kind,
        kind_at: kind_from..kind_from + kind.len(),
    })
}

/// The first byte from here on that is no blank.
fn blanks(text: &str, from: usize) -> usize {
    let rest = text.get(from..).unwrap_or_default();
    from + (rest.len() - rest.trim_start().len())
}

fn read(ask: Ask<'_>) -> Result<Made, Vec<Problem>> {
    let head = head(ask.whole).map_err(|problem| vec![problem.within("column", ask.whole)])?;
    let mut problems = Vec::new();
    if let Err(problem) = is_free(ask, &head) {
        problems.push(problem.within("column", ask.whole));
    }
    let kind = match kind(ask, &head) {
        Ok(kind) => Some(kind),
        Err(problem) => {
            problems.push(problem.within("column", ask.whole));
            None
        }
    };
    let has_formula = head_end(ask.whole) < ask.whole.len();
    let formula = match has_formula.then(|| ask.compile()) {
        Some(Ok(formula)) => Some(formula),
        Some(Err(wrong)) => {
            problems.extend(wrong);
            None
        }
        None => None,
    };
    let Some(kind) = kind.filter(|_| problems.is_empty()) else {
        return Err(problems);
    };
    let def = def(ask, &head, kind, formula.as_ref()).map_err(|problem| vec![problem])?;
    Ok(Made { def, formula })
}

/// Whether a column may have this name here.
fn is_free(ask: Ask<'_>, head: &Head<'_>) -> Result<(), Problem> {
    let (name, schema) = (head.name, ask.desk.engine().schema());
    let at = head.name_at.clone();
    let wrong = |code, message: String| Problem::new(code, message).at(at.clone(), "");
    if name.is_empty() {
        return Err(wrong("name-missing", "the column needs a name".to_owned()));
    }
    if !is_name(name) {
        return Err(wrong(
            "name-form",
            format!("`{name}` cannot be a name in a formula"),
        )
        .help("use letters, digits and _, a letter first; a title in quotes may be anything"));
    }
    if schema[ask.sheet.at()].column(name).is_some() {
        return Err(wrong(
            "column-there",
            format!("there is already a column `{name}`"),
        )
        .help("choose another name"));
    }
    let is_sheet = schema.iter().any(|sheet| sheet.name == name);
    if is_sheet || TAKEN.contains(&name) || Units::builtin().is_symbol(name) {
        return Err(wrong(
            "name-taken",
            format!("`{name}` means something else in a formula"),
        )
        .help("choose another name"));
    }
    if ask.desk.plan().def(ask.sheet).columns.len() >= MAX_COLUMNS {
        return Err(too_many_columns());
    }
    Ok(())
}

/// What a column was said to hold.
enum Kind {
    /// Nothing was said.
    Any,
    Text,
    /// Numbers in this unit.
    Number(String),
    Choice(Vec<String>),
    Row(String),
}

fn kind(ask: Ask<'_>, head: &Head<'_>) -> Result<Kind, Problem> {
    let text = head.kind;
    let bracketed = text
        .strip_prefix('[')
        .and_then(|rest| rest.strip_suffix(']'));
    if let Some(unit) = bracketed {
        return unit_kind(unit.trim(), head);
    }
    if let Some(list) = text.strip_prefix("one of") {
        let words = list
            .split(',')
            .map(str::trim)
            .filter(|word| !word.is_empty());
        let words: Vec<String> = words.map(str::to_owned).collect();
        return match words.len() {
            0 | 1 => Err(
                Problem::new("choice-short", "a choice needs two words or more")
                    .at(head.kind_at.clone(), "")
                    .help("write them with commas between: `one of planned, pulled, tested`"),
            ),
            _ => Ok(Kind::Choice(words)),
        };
    }
    if let Some(sheet) = text.strip_prefix("row of") {
        return row_kind(ask, sheet.trim(), head);
    }
    match text {
        "" => Ok(Kind::Any),
        "text" => Ok(Kind::Text),
        "number" => Ok(Kind::Number(String::new())),
        unit => unit_kind(unit, head),
    }
}

fn unit_kind(unit: &str, head: &Head<'_>) -> Result<Kind, Problem> {
    match Units::builtin().unit(unit) {
        Ok(unit) => Ok(Kind::Number(unit.symbol)),
        Err(problem) => {
            let found = problem.help.clone();
            let problem = Problem::new(
                "kind-unknown",
                format!("`{unit}` is no unit and no kind of column"),
            )
            .at(head.kind_at.clone(), "");
            let problem = found.into_iter().fold(problem, Problem::help);
            Err(problem.help("write text, number, a unit, `one of a, b` or `row of switches`"))
        }
    }
}

fn row_kind(ask: Ask<'_>, name: &str, head: &Head<'_>) -> Result<Kind, Problem> {
    if ask.desk.plan().sheet(name).is_some() {
        return Ok(Kind::Row(name.to_owned()));
    }
    let names = ask
        .desk
        .plan()
        .schema()
        .iter()
        .map(|sheet| sheet.name.as_str());
    Err(
        Problem::new("sheet-unknown", format!("there is no sheet `{name}`"))
            .at(head.kind_at.clone(), "")
            .did_you_mean(name, names.clone())
            .help(format!(
                "the sheets are: {}",
                names.collect::<Vec<_>>().join(", ")
            )),
    )
}

fn def(
    ask: Ask<'_>,
    head: &Head<'_>,
    kind: Kind,
    formula: Option<&Formula>,
) -> Result<ColumnDef, Problem> {
    let mut def = ColumnDef {
        name: head.name.to_owned(),
        title: head.title.map_or_else(|| titled(head.name), str::to_owned),
        doc: String::new(),
        unit: String::new(),
        kind: ColumnKind::Text,
        choices: Vec::new(),
        to: None,
        formula: formula.map(|formula| formula.text.trim().to_owned()),
        decimals: None,
        source: String::new(),
        quiet: false,
    };
    match kind {
        Kind::Any | Kind::Text => {}
        Kind::Number(unit) => {
            def.kind = ColumnKind::Number;
            def.unit = unit;
        }
        Kind::Choice(words) => {
            def.kind = ColumnKind::Choice;
            def.choices = words;
        }
        Kind::Row(sheet) => {
            def.kind = ColumnKind::Row;
            def.to = Some(sheet);
        }
    }
    match formula {
        Some(formula) if head.kind.is_empty() => by_formula(ask, formula, &mut def),
        Some(formula) => {
            let wanted = match def.kind {
                ColumnKind::Number => Ty::Number(unit_of(&def.unit).measure),
                ColumnKind::Text | ColumnKind::Choice => Ty::Text,
                ColumnKind::Flag => Ty::Flag,
                ColumnKind::Row => {
                    let to = def
                        .to
                        .as_deref()
                        .and_then(|name| ask.desk.plan().sheet(name));
                    to.map_or(Ty::Text, Ty::Row)
                }
            };
            let placed = |problem| super::advice::moved(problem, ask.from, ask.whole);
            check_unit(formula, wanted).map_err(placed)?;
        }
        None => {}
    }
    Ok(def)
}

/// Takes the kind and the unit of a column from its formula.
fn by_formula(ask: Ask<'_>, formula: &Formula, def: &mut ColumnDef) {
    match formula.ty {
        Ty::Number(_) => {
            def.kind = ColumnKind::Number;
            def.unit = formula::unit_for(ask.desk, formula).symbol;
        }
        Ty::Text => def.kind = ColumnKind::Text,
        Ty::Flag => def.kind = ColumnKind::Flag,
        Ty::Row(sheet) => {
            def.kind = ColumnKind::Row;
            def.to = Some(ask.desk.plan().def(sheet).name.clone());
        }
    }
}

/// A name as a heading: `rack_unit` is titled Rack unit.
fn titled(name: &str) -> String {
    let words = name.replace('_', " ");
    let words = words.trim();
    let mut letters = words.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

/// A word with its article.
fn one_of(word: &str) -> String {
    match word.starts_with(['a', 'e', 'i', 'o', 'u']) {
        true => format!("an {word}"),
        false => format!("a {word}"),
    }
}

/// What may stand behind the name.
fn kinds(ask: Ask<'_>) -> Vec<Offer> {
    let Ok(head) = head(ask.whole) else {
        return Vec::new();
    };
    if head.name.is_empty() || ask.cursor < head.kind_at.start || head.name_at.end == ask.cursor {
        return Vec::new();
    }
    let sheets = ask.desk.plan().schema().iter().map(|sheet| {
        let remark = format!("the name of {}", one_of(sheet.row_word()));
        (format!("row of {}", sheet.name), remark)
    });
    let fixed = [
        ("text", "any text"),
        ("number", "a plain number"),
        ("one of ", "one of a few words, with commas between"),
    ];
    let fixed = fixed.map(|(word, remark)| (word.to_owned(), remark.to_owned()));
    let words: Vec<(String, String)> = fixed.into_iter().chain(sheets).collect();
    let found = offers::find(words.len(), |at| &words[at].0, head.kind);
    let begun = found.begun.into_iter().map(|at| &words[at]);
    let offer = |(word, remark): &(String, String)| Offer {
        insert: word.clone(),
        span: head.kind_at.clone(),
        shown: word.trim().to_owned(),
        remark: remark.clone(),
    };
    begun.map(offer).collect()
}
