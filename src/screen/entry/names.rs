//! Words that may be meant at the cursor of a formula: columns, assumptions, functions, and the
//! words and rows that a text is compared with.

use super::cell::rows_like;
use super::formula::Ask;
use super::offers;
use super::offers::Offer;
use crate::formula::Function;
use crate::formula::Ty;
use crate::formula::assist::Call;
use crate::formula::assist::Spot;
use crate::formula::assist::Typing;
use crate::formula::functions::Body;
use crate::formula::functions::Special;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::sheet::SheetDef;
use crate::table::SheetId;
use std::ops::Range;

/// A word that may stand in a formula.
struct Word {
    name: String,
    insert: String,
    remark: String,
}

/// What names may follow a dot.
enum Members {
    Assumptions,
    Columns(SheetId),
}

/// What may be meant at the cursor, and whether it was looked for in a part only.
pub(super) fn offers(ask: Ask<'_>, spot: &Spot) -> (Vec<Offer>, bool) {
    match &spot.typing {
        Typing::Nothing => (Vec::new(), false),
        Typing::Name { path, typed, span } => {
            let is_bare = path.is_empty() && typed.is_empty() && !ask.text().trim().is_empty();
            let words = match is_bare {
                true => Vec::new(),
                false => words(ask, path, spot),
            };
            (like(ask, words, typed, span), false)
        }
        Typing::Text {
            typed,
            span,
            closed,
            beside,
        } => {
            let end = if *closed { "" } else { "\"" };
            texts(ask, beside.as_deref(), spot.calls.last(), typed, span, end)
        }
    }
}

/// The words like what was typed, best first.
fn like(ask: Ask<'_>, words: Vec<Word>, typed: &str, span: &Range<usize>) -> Vec<Offer> {
    let found = offers::find(words.len(), |at| &words[at].name, typed);
    let mut list: Vec<&Word> = found.all().map(|at| &words[at]).collect();
    // The word as it stands is no longer to be chosen, but what it is stays in view.
    list.sort_by_key(|word| word.name != typed);
    let offer = |word: &Word| Offer {
        insert: word.insert.clone(),
        span: span.start + ask.from..span.end + ask.from,
        shown: word.name.clone(),
        remark: word.remark.clone(),
    };
    list.into_iter().map(offer).collect()
}

fn words(ask: Ask<'_>, path: &[String], spot: &Spot) -> Vec<Word> {
    if path.is_empty() {
        return first_words(ask, spot);
    }
    match members(ask, path) {
        Some(Members::Assumptions) => assumptions(ask, ""),
        Some(Members::Columns(sheet)) => columns(ask, sheet).collect(),
        None => Vec::new(),
    }
}

/// Everything a name may begin with.
fn first_words(ask: Ask<'_>, spot: &Spot) -> Vec<Word> {
    let library = &ask.desk.engine().knowledge().library;
    let gathers = spot
        .calls
        .iter()
        .filter_map(|call| library.get(&call.name))
        .any(|function| {
            matches!(
                function.body,
                Body::Special(Special::Gather(_) | Special::RowOf)
            )
        });
    let opens = |name: &str| {
        ask.text()[spot_end(spot)..]
            .starts_with('(')
            .then(|| name.to_owned())
    };
    let functions = library.iter().map(|function| Word {
        name: function.name.to_owned(),
        insert: opens(function.name).unwrap_or_else(|| format!("{}(", function.name)),
        remark: format!("{}  {}", function.signature(), function.doc),
    });
    let sheets = ask.desk.engine().schema().iter().map(sheet_word);
    let own = columns(ask, ask.sheet);
    let rest = assumptions(ask, "assume.").into_iter().chain(functions);
    match gathers {
        true => sheets.chain(own).chain(language()).chain(rest).collect(),
        false => own.chain(language()).chain(rest).chain(sheets).collect(),
    }
}

/// The end of the name that is being typed.
fn spot_end(spot: &Spot) -> usize {
    match &spot.typing {
        Typing::Name { span, .. } | Typing::Text { span, .. } => span.end,
        Typing::Nothing => 0,
    }
}

fn sheet_word(def: &SheetDef) -> Word {
    Word {
        name: def.name.clone(),
        insert: format!("{}.", def.name),
        remark: format!("sheet  {}", def.doc),
    }
}

/// The words of the language.
fn language() -> impl Iterator<Item = Word> {
    let words = [
        ("and", "both hold"),
        ("or", "one of them holds"),
        ("not", "it does not hold"),
        ("yes", "holds"),
        ("no", "does not hold"),
        ("missing", "no value"),
        ("this", "the row itself"),
        ("assume", "the assumptions of the plan"),
    ];
    words.into_iter().map(|(name, remark)| Word {
        name: name.to_owned(),
        insert: match name {
            "assume" => "assume.".to_owned(),
            _ => name.to_owned(),
        },
        remark: remark.to_owned(),
    })
}

fn assumptions(ask: Ask<'_>, before: &str) -> Vec<Word> {
    let known = ask.desk.plan().assumptions().iter();
    let word = |name: &str, unit: &str, doc: &str| {
        let name = format!("{before}{name}");
        Word {
            insert: name.clone(),
            name,
            remark: joined(unit, doc),
        }
    };
    known
        .map(|known| word(&known.def.name, &known.def.unit, &known.def.doc))
        .collect()
}

fn columns(ask: Ask<'_>, sheet: SheetId) -> impl Iterator<Item = Word> {
    let defs = ask.desk.engine().schema()[sheet.at()].columns.iter();
    // Behind the plan's own columns stand those of checks, which are read by their findings.
    let n_own = ask.desk.plan().def(sheet).columns.len();
    let usable = defs
        .enumerate()
        .filter(move |(at, def)| *at < n_own || !def.quiet);
    usable.map(|(_, def)| Word {
        name: def.name.clone(),
        insert: def.name.clone(),
        remark: joined(&kind_word(def), &def.doc),
    })
}

fn joined(unit: &str, doc: &str) -> String {
    match unit.is_empty() {
        true => doc.to_owned(),
        false => format!("{unit}  {doc}"),
    }
}

/// Whether a word can be a name in a formula.
pub(super) fn is_name(word: &str) -> bool {
    word.starts_with(|c: char| c.is_alphabetic() || c == '_')
        && word.chars().all(|c| c.is_alphanumeric() || c == '_')
}

/// The unit of a column, or what it holds.
pub(super) fn kind_word(def: &ColumnDef) -> String {
    match def.kind {
        ColumnKind::Number if def.unit.is_empty() => "number".to_owned(),
        ColumnKind::Number => def.unit.clone(),
        ColumnKind::Text => "text".to_owned(),
        ColumnKind::Choice => "choice".to_owned(),
        ColumnKind::Flag => "yes or no".to_owned(),
        ColumnKind::Row => format!("row of {}", def.to.as_deref().unwrap_or("a sheet")),
    }
}

/// What a chain of names leads to.
fn members(ask: Ask<'_>, path: &[String]) -> Option<Members> {
    let plan = ask.desk.plan();
    let (first, rest) = path.split_first()?;
    let mut sheet = match first.as_str() {
        "assume" if rest.is_empty() => return Some(Members::Assumptions),
        "this" => ask.sheet,
        name => match plan.sheet(name) {
            Some(sheet) => sheet,
            None => leads_to(ask, ask.sheet, name)?,
        },
    };
    for name in rest {
        sheet = leads_to(ask, sheet, name)?;
    }
    Some(Members::Columns(sheet))
}

fn column<'a>(ask: Ask<'a>, sheet: SheetId, name: &str) -> Option<&'a ColumnDef> {
    let def = &ask.desk.engine().schema()[sheet.at()];
    def.columns.get(def.column(name)?)
}

fn leads_to(ask: Ask<'_>, sheet: SheetId, name: &str) -> Option<SheetId> {
    let to = column(ask, sheet, name)?.to.as_deref()?;
    ask.desk.plan().sheet(to)
}

/// The column that a dotted name means.
fn column_of<'a>(ask: Ask<'a>, name: &str) -> Option<&'a ColumnDef> {
    let path: Vec<String> = name.trim().split('.').map(str::to_owned).collect();
    let (last, before) = path.split_last()?;
    let sheet = match before.is_empty() {
        true => ask.sheet,
        false => match members(ask, before)? {
            Members::Columns(sheet) => sheet,
            Members::Assumptions => return None,
        },
    };
    column(ask, sheet, last)
}

/// Texts that may stand in quotes at the cursor.
fn texts(
    ask: Ask<'_>,
    beside: Option<&str>,
    call: Option<&Call>,
    typed: &str,
    span: &Range<usize>,
    end: &str,
) -> (Vec<Offer>, bool) {
    let library = &ask.desk.engine().knowledge().library;
    let function = call.and_then(|call| library.get(&call.name));
    let compared = match (beside, call) {
        (Some(name), _) => column_of(ask, name),
        (None, Some(call)) if call.name == "one_of" => column_of(ask, &call.first),
        (None, _) => None,
    };
    let sheet = match compared {
        Some(def) => def.to.as_deref().and_then(|to| ask.desk.plan().sheet(to)),
        None => call
            .zip(function)
            .and_then(|(call, function)| row_param(function, call.argument)),
    };
    if let Some(sheet) = sheet {
        let (rows, partly) = rows_like(ask.desk, sheet, typed);
        let words = rows
            .into_iter()
            .map(|(row, _)| ask.desk.plan().id(sheet, row));
        let offers = words.map(|word| quoted(ask, word, span, end));
        return (offers.collect(), partly);
    }
    let choices = compared.map_or(&[][..], |def| &def.choices);
    let found = offers::find(choices.len(), |at| &choices[at], typed);
    let words = found.all().map(|at| choices[at].clone());
    (
        words.map(|word| quoted(ask, word, span, end)).collect(),
        false,
    )
}

fn quoted(ask: Ask<'_>, word: String, span: &Range<usize>, end: &str) -> Offer {
    Offer {
        insert: format!("{word}{end}"),
        span: span.start + ask.from..span.end + ask.from,
        shown: word,
        remark: String::new(),
    }
}

/// The sheet whose rows an argument takes.
fn row_param(function: &Function, argument: usize) -> Option<SheetId> {
    match function.param(argument)?.ty? {
        Ty::Row(sheet) => Some(sheet),
        Ty::Number(_) | Ty::Text | Ty::Flag => None,
    }
}
