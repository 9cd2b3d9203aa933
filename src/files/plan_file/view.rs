//! How a person wants to see each sheet, as the tables `[view.links]` of a plan file.
//!
//! Both ways. What is not understood is kept as it is and told, as everywhere in the file.

use super::extras::{self, TOP};
use super::read::{Opening, Value, text};
use super::toml_text::{key, quoted};
use super::write::{sheets, table};
use crate::plan::Edit;
use crate::plan::MAX_WIDTH;
use crate::plan::Plan;
use crate::plan::SheetView;
use crate::problem::Problem;
use crate::sheet::SheetDef;
use crate::table::SheetId;
use crate::trade;
use std::borrow::Cow;
use std::fmt::Write;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

type Name<'v> = Spanned<Cow<'v, str>>;

/// The table of sheets nobody knows.
const VIEW: &str = "view";

/// The table of keys nobody knows.
fn of_sheet(sheet: &str) -> String {
    format!("view {sheet}")
}

/// The table of widths nobody understands.
fn of_widths(sheet: &str) -> String {
    format!("view {sheet} width")
}

impl Opening<'_> {
    /// Reads all views; the columns of the plan have to be there.
    pub(super) fn views(&mut self, name: &Name<'_>, value: &Value<'_>) -> Result<(), Problem> {
        let DeValue::Table(views) = value.get_ref() else {
            return self.unknown(TOP, name, value);
        };
        let judged = trade::judged(&self.plan).schema;
        for (name, value) in views {
            match (self.plan.sheet(name.get_ref()), value.get_ref()) {
                (Some(sheet), DeValue::Table(table)) => {
                    self.view(sheet, &judged[sheet.at()], table, value)?;
                }
                (Some(_) | None, _) => self.unknown(VIEW, name, value)?,
            }
        }
        Ok(())
    }

    fn view(
        &mut self,
        sheet: SheetId,
        def: &SheetDef,
        table: &DeTable<'_>,
        at: &Value<'_>,
    ) -> Result<(), Problem> {
        let mut view = SheetView::default();
        for (name, value) in table {
            let understood = match (name.get_ref().as_ref(), value.get_ref()) {
                ("order", _) => names(value).map(|names| view.order = names),
                ("hidden", _) => names(value).map(|names| view.hidden.extend(names)),
                ("width", DeValue::Table(widths)) => {
                    self.widths(&def.name, widths, &mut view)?;
                    Some(())
                }
                _ => None,
            };
            if understood.is_none() {
                self.unknown(&of_sheet(&def.name), name, value)?;
            }
        }
        let mut told: Vec<&str> = Vec::new();
        for name in view.names().filter(|name| def.column(name).is_none()) {
            if !told.contains(&name) {
                told.push(name);
                self.tell(no_such_column(def, name), &at.span());
            }
        }
        self.plan.apply(Edit::SetView { sheet, view })?;
        Ok(())
    }

    fn widths(
        &mut self,
        sheet: &str,
        widths: &DeTable<'_>,
        view: &mut SheetView,
    ) -> Result<(), Problem> {
        for (name, value) in widths {
            match width(value) {
                Some(width) => drop(
                    view.width
                        .insert(name.get_ref().clone().into_owned(), width),
                ),
                None => self.unknown(&of_widths(sheet), name, value)?,
            }
        }
        Ok(())
    }
}

fn no_such_column(def: &SheetDef, name: &str) -> Problem {
    let what = format!(
        "the view of `{}` names `{name}`, which is no column",
        def.name
    );
    Problem::new("view-column", what)
        .did_you_mean(name, def.columns.iter().map(|column| column.name.as_str()))
        .help("it is kept in the file and has no effect")
}

/// A list of names; `None` for anything else.
fn names(value: &Value<'_>) -> Option<Vec<String>> {
    let DeValue::Array(names) = value.get_ref() else {
        return None;
    };
    names
        .iter()
        .map(|name| text(name).map(str::to_owned))
        .collect()
}

/// A width; `None` for anything else.
fn width(value: &Value<'_>) -> Option<u16> {
    let DeValue::Integer(number) = value.get_ref() else {
        return None;
    };
    let width = number.to_string().parse().ok()?;
    (1..=MAX_WIDTH).contains(&width).then_some(width)
}

/// Writes the views that say something.
pub(super) fn push(out: &mut String, plan: &Plan) {
    let is_set = |name: &str| {
        let sheet = plan.sheet(name);
        sheet.is_some_and(|sheet| !lines(plan, sheet).is_empty())
    };
    let unknown = extras::of_table(plan, VIEW).filter(|(name, _)| !is_set(name));
    let unknown = unknown.fold(String::new(), |mut lines, (name, value)| {
        // Writing to a string cannot fail, here and below.
        let _ = writeln!(lines, "{} = {value}", key(name));
        lines
    });
    table(out, VIEW, &unknown);
    for sheet in sheets(plan) {
        let name = format!("{VIEW}.{}", key(&plan.def(sheet).name));
        table(out, &name, &lines(plan, sheet));
    }
}

/// The lines of the table of one sheet.
fn lines(plan: &Plan, sheet: SheetId) -> String {
    let (view, name) = (plan.view(sheet), &plan.def(sheet).name);
    let mut lines = String::new();
    let listed = |names: &mut dyn Iterator<Item = &String>| {
        let names: Vec<String> = names.map(|name| quoted(name)).collect();
        format!("[{}]", names.join(", "))
    };
    if !view.order.is_empty() {
        let _ = writeln!(lines, "order = {}", listed(&mut view.order.iter()));
    }
    if !view.hidden.is_empty() {
        let _ = writeln!(lines, "hidden = {}", listed(&mut view.hidden.iter()));
    }
    let widths = widths(plan, sheet);
    if !widths.is_empty() {
        let _ = writeln!(lines, "width = {{ {} }}", widths.join(", "));
    }
    let is_set = |key: &str| match key {
        "order" => !view.order.is_empty(),
        "hidden" => !view.hidden.is_empty(),
        "width" => !widths.is_empty(),
        _ => false,
    };
    for (name, value) in extras::of_table(plan, &of_sheet(name)) {
        if !is_set(name) {
            let _ = writeln!(lines, "{} = {value}", key(name));
        }
    }
    lines
}

/// The widths of a sheet, those included that were not understood.
fn widths(plan: &Plan, sheet: SheetId) -> Vec<String> {
    let (view, table) = (plan.view(sheet), of_widths(&plan.def(sheet).name));
    let known = view.width.iter();
    let mut widths: Vec<String> = known
        .map(|(name, width)| format!("{} = {width}", key(name)))
        .collect();
    let unknown =
        extras::of_table(plan, &table).filter(|(name, _)| !view.width.contains_key(*name));
    widths.extend(unknown.map(|(name, value)| format!("{} = {value}", key(name))));
    widths
}
