//! The text of a plan file as a plan, with everything that was not as expected.
//!
//! What can be kept is kept and told; only a text that is no plan, is cut in a way that hides its
//! end, or comes from a newer version is refused. The rows themselves are in `rows.rs`.

use super::extras::{self, TOP};
use super::rows::{self, MAX_LISTED, Reading};
use super::source::{self, Source};
use super::{FORMAT, MAX_BYTES};
use crate::files::own_column::{MAX_COLUMNS, too_many_columns};
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::sheet::CaseDef;
use crate::sheet::CheckDef;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::units::Units;
use serde::Deserialize;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

pub(super) type Value<'v> = Spanned<DeValue<'v>>;

/// Brings the document of an older format to the next one.
type Migration = fn(&mut DeTable<'_>);

/// One step for each format before this one, oldest first.
const MIGRATIONS: [Migration; FORMAT as usize - 1] = [];

/// Reads a plan over an empty one, and says what was not as expected.
///
/// # Errors
/// A text that is not a plan file, is damaged so that its parts cannot be told apart, is too
/// large, or comes from a newer version.
pub fn read(
    text: &str,
    fresh: impl FnOnce() -> Result<Plan, Problem> + Send,
) -> Result<(Plan, Vec<Problem>), Problem> {
    if text.len() > MAX_BYTES {
        return Err(
            Problem::new("plan-too-large", "the plan is larger than 256 MiB")
                .help("split it into several plans"),
        );
    }
    let text = source::plain(text);
    must_be_a_plan(&text)?;
    let (seal_holds, opening) = rayon::join(|| source::seal_holds(&text), || opened(&text, fresh));
    let (plan, mut problems) = opening?;
    if !seal_holds {
        problems.insert(0, changed_outside());
    }
    Ok((plan, problems))
}

/// Everything but the checksum, which takes as long as a good part of the reading.
fn opened(
    text: &str,
    fresh: impl FnOnce() -> Result<Plan, Problem>,
) -> Result<(Plan, Vec<Problem>), Problem> {
    let source = Source::new(text);
    let mut document = DeTable::parse(&source.toml)
        .map_err(|error| damaged(&source, &error))?
        .into_inner();
    let format = format_of(&document)?;
    for step in MIGRATIONS.iter().skip(format - 1) {
        step(&mut document);
    }
    let mut opening = Opening {
        plan: fresh()?,
        problems: Vec::new(),
        n_more: 0,
        source: &source,
    };
    opening.document(&document)?;
    Ok((opening.plan, opening.problems))
}

/// The text of a file.
///
/// # Errors
/// Bytes that are not UTF-8.
pub fn text_of(bytes: Vec<u8>) -> Result<String, Problem> {
    String::from_utf8(bytes).map_err(|error| {
        let before = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = 1 + before.iter().filter(|byte| **byte == b'\n').count();
        Problem::new(
            "not-text",
            format!("line {line} is not text in UTF-8, so this is not a plan file"),
        )
        .help("save it as UTF-8, or import it as a table")
    })
}

fn changed_outside() -> Problem {
    Problem::new(
        "changed-outside",
        "this plan was changed outside or cut short",
    )
    .help("look whether its rows are complete; saving accepts it as it is")
}

fn not_a_plan() -> Problem {
    Problem::new(
        "not-a-plan",
        format!("this is not a plan file: `portledger = {FORMAT}` is missing"),
    )
    .help("import a table into a new plan, or open another file")
}

/// Looks at the first line alone, because a newer format need not be readable beyond it.
fn must_be_a_plan(text: &str) -> Result<(), Problem> {
    let first = text
        .lines()
        .map(str::trim)
        .find(|line| !line.is_empty() && !line.starts_with('#'));
    let number = first
        .and_then(|line| line.strip_prefix("portledger"))
        .and_then(|rest| rest.trim_start().strip_prefix('='))
        .and_then(|rest| rest.trim().parse::<u64>().ok());
    match number {
        Some(format) => must_be_known(format),
        // It may stand further down in a file that a person put in another order.
        None if text.lines().any(|line| line.starts_with("portledger")) => Ok(()),
        None => Err(not_a_plan()),
    }
}

fn must_be_known(format: u64) -> Result<(), Problem> {
    if (1..=FORMAT).contains(&format) {
        return Ok(());
    }
    let problem = Problem::new(
        "plan-newer",
        format!("this plan has format {format}; this version reads up to {FORMAT}"),
    );
    Err(problem.help("open it with a newer version of portledger"))
}

fn format_of(document: &DeTable<'_>) -> Result<usize, Problem> {
    let Some(DeValue::Integer(number)) = document.get("portledger").map(Spanned::get_ref) else {
        return Err(not_a_plan());
    };
    let format = number.to_string().parse().map_err(|_| not_a_plan())?;
    must_be_known(format)?;
    usize::try_from(format).map_err(|_| not_a_plan())
}

fn damaged(source: &Source<'_>, error: &toml::de::Error) -> Problem {
    let at = error.span().map_or(source.toml.len(), |span| span.start);
    let message = error.message().lines().next().unwrap_or_default();
    Problem::new(
        "plan-damaged",
        format!("the plan cannot be read: {}", message.to_lowercase()),
    )
    .within(format!("line {}", source.line(at)), source.line_text(at))
    .help("mend the line, or open an older copy of the plan")
}

/// A plan while its file is read.
pub(super) struct Opening<'s> {
    pub(super) plan: Plan,
    problems: Vec<Problem>,
    /// Problems beyond those that are listed.
    n_more: usize,
    source: &'s Source<'s>,
}

impl Opening<'_> {
    fn document(&mut self, document: &DeTable<'_>) -> Result<(), Problem> {
        for (name, value) in document {
            match name.get_ref().as_ref() {
                "portledger" | "column" | "formula" | "check" | "proposal" | "rows" | "view" => {}
                "mapping" => self.mappings(name, value)?,
                "title" => self.title(value)?,
                "id" => self.id(value)?,
                "assumptions" => self.assumptions(value)?,
                "severities" => self.severities(value)?,
                _ => self.unknown(TOP, name, value)?,
            }
        }
        self.each(document, "column", Self::own_column)?;
        self.each(document, "formula", Self::formula)?;
        self.each(document, "check", Self::own_check)?;
        self.each(document, "proposal", Self::proposal)?;
        if let Some(value) = document.get("rows") {
            self.rows(value)?;
        }
        for problem in self.misfits() {
            match self.problems.len() + 1 < MAX_LISTED {
                true => self.problems.push(problem),
                false => self.n_more += 1,
            }
        }
        // Last of all, when every column is there.
        if let Some((name, value)) = document.get_key_value("view") {
            self.views(name, value)?;
        }
        if self.n_more > 0 {
            self.problems.push(Problem::new(
                "more-problems",
                format!("{} more parts of the file have no effect", self.n_more),
            ));
        }
        Ok(())
    }

    /// A problem at a place of the file.
    fn at(&self, problem: Problem, span: &Range<usize>) -> Problem {
        let line = self.source.line(span.start);
        problem.within(format!("line {line}"), self.source.line_text(span.start))
    }

    /// Adds a problem at a place of the file.
    pub(super) fn tell(&mut self, problem: Problem, span: &Range<usize>) {
        // One place is kept for what the checksum says.
        if self.problems.len() + 1 < MAX_LISTED {
            let problem = self.at(problem, span);
            self.problems.push(problem);
        } else {
            self.n_more += 1;
        }
    }

    fn wrong_shape(&self, what: &str, wanted: &str, span: &Range<usize>) -> Problem {
        let problem = Problem::new("wrong-shape", format!("`{what}` has to be {wanted}"));
        self.at(
            problem.help("mend the line, then open the plan again"),
            span,
        )
    }

    /// Keeps a key nobody knows, and says so.
    pub(super) fn unknown(
        &mut self,
        table: &str,
        name: &Spanned<std::borrow::Cow<'_, str>>,
        value: &Value<'_>,
    ) -> Result<(), Problem> {
        extras::keep(&mut self.plan, table, name.get_ref(), value.get_ref())
            .map_err(|problem| self.at(problem, &name.span()))?;
        let problem = Problem::new(
            "unknown-key",
            format!("`{}` is not known here and has no effect", name.get_ref()),
        )
        .help("it is kept in the file; check its spelling");
        self.tell(problem, &name.span());
        Ok(())
    }

    fn id(&mut self, value: &Value<'_>) -> Result<(), Problem> {
        self.plan.id = text(value)
            .ok_or_else(|| self.wrong_shape("id", "a text", &value.span()))?
            .to_owned();
        Ok(())
    }

    fn title(&mut self, value: &Value<'_>) -> Result<(), Problem> {
        self.plan.title = text(value)
            .ok_or_else(|| self.wrong_shape("title", "a text", &value.span()))?
            .to_owned();
        Ok(())
    }

    fn table<'v>(&self, what: &str, value: &'v Value<'v>) -> Result<&'v DeTable<'v>, Problem> {
        match value.get_ref() {
            DeValue::Table(table) => Ok(table),
            _ => Err(self.wrong_shape(what, "a table", &value.span())),
        }
    }

    fn assumptions(&mut self, value: &Value<'_>) -> Result<(), Problem> {
        for (name, value) in self.table("assumptions", value)? {
            match self.plan.assumption(name.get_ref()) {
                Some(param) => self.assumption(param, name.get_ref(), value)?,
                None => self.unknown("assumptions", name, value)?,
            }
        }
        Ok(())
    }

    fn assumption(
        &mut self,
        param: crate::table::ParamId,
        name: &str,
        value: &Value<'_>,
    ) -> Result<(), Problem> {
        let (mut given, mut from) = (None, String::new());
        match value.get_ref() {
            DeValue::Table(table) => {
                for (key, value) in table {
                    match key.get_ref().as_ref() {
                        "value" => given = self.simple(name, value)?,
                        "source" => from = self.simple(name, value)?.unwrap_or_default(),
                        _ => self.unknown(&format!("assumptions {name}"), key, value)?,
                    }
                }
            }
            _ => given = self.simple(name, value)?,
        }
        let given = given.unwrap_or_default();
        let entry = self.assumed(param, &given, &value.span());
        self.plan.apply(Edit::SetAssumption {
            param,
            entry,
            source: from,
            own: true,
        })?;
        Ok(())
    }

    /// The value of an assumption; one that cannot be read is kept and told.
    fn assumed(&mut self, param: crate::table::ParamId, given: &str, span: &Range<usize>) -> Entry {
        let def = &self.plan.assumptions()[usize::from(param.0)].def;
        if def.text && !given.is_empty() {
            return Entry::Text(self.plan.names().code(given));
        }
        let name = def.name.clone();
        match self.plan.read_assumption(param, given) {
            Ok(entry) => entry,
            Err(mut problem) => {
                problem.message = format!("assumption `{name}`: {}", problem.message);
                self.tell(problem, span);
                Entry::Wrong(given.to_owned())
            }
        }
    }

    /// A text, or a number or flag as text.
    fn simple(&self, what: &str, value: &Value<'_>) -> Result<Option<String>, Problem> {
        match value.get_ref() {
            DeValue::String(text) => Ok(Some(text.clone().into_owned())),
            DeValue::Integer(number) => Ok(Some(number.to_string())),
            DeValue::Float(number) => Ok(Some(number.to_string())),
            DeValue::Boolean(flag) => Ok(Some(flag.to_string())),
            DeValue::Datetime(_) | DeValue::Array(_) | DeValue::Table(_) => {
                Err(self.wrong_shape(what, "a text", &value.span()))
            }
        }
    }

    fn severities(&mut self, value: &Value<'_>) -> Result<(), Problem> {
        for (name, value) in self.table("severities", value)? {
            let severity = match text(value) {
                Some("off") => Some(None),
                Some(word) => Severity::from_word(word).map(Some),
                None => None,
            };
            match severity {
                Some(severity) => {
                    let check = name.get_ref().clone().into_owned();
                    self.plan.severities.insert(check, severity);
                }
                None => self.unknown("severities", name, value)?,
            }
        }
        Ok(())
    }

    /// Reads each element of a list of tables; one that cannot be used is kept and told.
    fn each(
        &mut self,
        document: &DeTable<'_>,
        list: &str,
        read: fn(&mut Self, &Value<'_>, &DeTable<'_>) -> Result<(), Problem>,
    ) -> Result<(), Problem> {
        let Some(value) = document.get(list) else {
            return Ok(());
        };
        let DeValue::Array(elements) = value.get_ref() else {
            return Err(self.wrong_shape(list, "a list of tables", &value.span()));
        };
        for element in elements.iter() {
            let table = self.table(list, element)?;
            if let Err(mut problem) = read(self, element, table) {
                extras::keep_element(&mut self.plan, list, table)
                    .map_err(|problem| self.at(problem, &element.span()))?;
                problem.message = format!("[[{list}]] has no effect: {}", problem.message);
                problem
                    .help
                    .push("it is kept in the file as it is".to_owned());
                self.tell(problem, &element.span());
            }
        }
        Ok(())
    }

    /// Keeps the keys of an element that are not among the known ones.
    pub(super) fn unknown_keys(
        &mut self,
        table: &str,
        element: &DeTable<'_>,
        known: &[&str],
    ) -> Result<(), Problem> {
        for (name, value) in element {
            if !known.contains(&name.get_ref().as_ref()) {
                self.unknown(table, name, value)?;
            }
        }
        Ok(())
    }

    fn own_column(&mut self, element: &Value<'_>, table: &DeTable<'_>) -> Result<(), Problem> {
        let own: OwnColumn = understood(element)?;
        let (sheet, name) = (own.sheet.clone(), own.name.clone());
        let def = own.def(&self.plan)?;
        let id = self.sheet(&sheet)?;
        if self.plan.def(id).columns.len() >= MAX_COLUMNS {
            return Err(too_many_columns());
        }
        self.plan.apply(Edit::AddColumn { sheet: id, def })?;
        self.unknown_keys(&format!("column {sheet}.{name}"), table, &COLUMN_KEYS)
    }

    fn sheet(&self, name: &str) -> Result<crate::table::SheetId, Problem> {
        self.plan.sheet(name).ok_or_else(|| {
            Problem::new("no-such-sheet", format!("there is no sheet `{name}`"))
                .did_you_mean(name, self.plan.schema().iter().map(|def| def.name.as_str()))
        })
    }

    fn formula(&mut self, element: &Value<'_>, table: &DeTable<'_>) -> Result<(), Problem> {
        let own: OwnFormula = understood(element)?;
        let sheet = self.sheet(&own.sheet)?;
        let columns = &self.plan.def(sheet).columns;
        let column = self.plan.def(sheet).column(&own.column).ok_or_else(|| {
            Problem::new(
                "no-such-column",
                format!("there is no column `{}.{}`", own.sheet, own.column),
            )
            .did_you_mean(&own.column, columns.iter().map(|def| def.name.as_str()))
        })?;
        if self.plan.overridden(sheet, column).is_some() {
            return Err(Problem::new(
                "formula-twice",
                format!("`{}.{}` has two formulas", own.sheet, own.column),
            ));
        }
        self.plan.apply(Edit::SetFormula {
            sheet,
            column,
            formula: Some(own.formula),
        })?;
        let kept = format!("formula {}.{}", own.sheet, own.column);
        self.unknown_keys(&kept, table, &["sheet", "column", "formula"])
    }

    fn own_check(&mut self, element: &Value<'_>, table: &DeTable<'_>) -> Result<(), Problem> {
        let own: OwnCheck = understood(element)?;
        self.sheet(&own.sheet)?;
        let mut known = self.plan.own_checks.iter();
        if known.any(|(sheet, check)| *sheet == own.sheet && check.name == own.name) {
            return Err(Problem::new(
                "check-twice",
                format!("there are two checks `{}`", own.name),
            ));
        }
        let kept = format!("check {}.{}", own.sheet, own.name);
        let check = CheckDef {
            name: own.name,
            doc: own.doc,
            source: own.source,
            cases: own.cases,
        };
        self.plan.own_checks.push((own.sheet, check));
        self.unknown_keys(&kept, table, &["sheet", "name", "doc", "source", "case"])
    }

    fn rows(&mut self, value: &Value<'_>) -> Result<(), Problem> {
        let mut reading = Reading::default();
        for (name, value) in self.table("rows", value)? {
            let text = text(value).ok_or_else(|| {
                self.wrong_shape(name.get_ref(), "a block of rows", &value.span())
            })?;
            let (body, line) = self
                .source
                .body(text)
                .unwrap_or_else(|| (text, self.source.block_line(value.span().start)));
            match self.plan.sheet(name.get_ref()) {
                Some(sheet) => rows::read(&mut self.plan, sheet, body, line, &mut reading)?,
                None => {
                    let body = DeValue::String(body.into());
                    self.unknown("rows", name, &Spanned::new(value.span(), body))?;
                }
            }
        }
        self.problems.append(&mut reading.finish());
        Ok(())
    }
}

pub(super) fn text<'v>(value: &'v Value<'_>) -> Option<&'v str> {
    match value.get_ref() {
        DeValue::String(text) => Some(text),
        DeValue::Integer(_)
        | DeValue::Float(_)
        | DeValue::Boolean(_)
        | DeValue::Datetime(_)
        | DeValue::Array(_)
        | DeValue::Table(_) => None,
    }
}

/// An element of a list of tables in the form it has to have.
pub(super) fn understood<'v, T: Deserialize<'v>>(element: &Value<'v>) -> Result<T, Problem> {
    T::deserialize(ValueDeserializer::from(element.clone())).map_err(|error| {
        let message = error.message().lines().next().unwrap_or_default();
        Problem::new("not-understood", message.to_lowercase())
    })
}

const COLUMN_KEYS: [&str; 12] = [
    "sheet", "name", "title", "kind", "doc", "unit", "choices", "to", "formula", "decimals",
    "source", "quiet",
];

#[derive(Deserialize)]
struct OwnColumn {
    sheet: String,
    name: String,
    title: Option<String>,
    kind: ColumnKind,
    #[serde(default)]
    doc: String,
    #[serde(default)]
    unit: String,
    #[serde(default)]
    choices: Vec<String>,
    to: Option<String>,
    formula: Option<String>,
    decimals: Option<u8>,
    #[serde(default)]
    source: String,
    #[serde(default)]
    quiet: bool,
}

impl OwnColumn {
    /// The column, if its unit and the sheet it points to are known.
    fn def(self, plan: &Plan) -> Result<ColumnDef, Problem> {
        Units::builtin().unit(&self.unit)?;
        let points = self.to.as_deref().and_then(|to| plan.sheet(to)).is_some();
        if self.kind == ColumnKind::Row && !points {
            return Err(Problem::new(
                "points-nowhere",
                format!("column `{}` points to no sheet", self.name),
            )
            .help("name the sheet with `to`"));
        }
        if self.kind == ColumnKind::Flag && self.formula.is_none() {
            return Err(Problem::new(
                "flag-entered",
                format!("column `{}` is a flag and needs a formula", self.name),
            ));
        }
        Ok(ColumnDef {
            title: self.title.unwrap_or_else(|| self.name.clone()),
            name: self.name,
            doc: self.doc,
            unit: self.unit,
            kind: self.kind,
            choices: self.choices,
            to: self.to,
            formula: self.formula,
            decimals: self.decimals,
            source: self.source,
            quiet: self.quiet,
        })
    }
}

#[derive(Deserialize)]
struct OwnFormula {
    sheet: String,
    column: String,
    formula: String,
}

#[derive(Deserialize)]
struct OwnCheck {
    sheet: String,
    name: String,
    #[serde(default)]
    doc: String,
    #[serde(default)]
    source: String,
    #[serde(rename = "case", default)]
    cases: Vec<CaseDef>,
}
