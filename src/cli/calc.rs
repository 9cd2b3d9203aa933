//! `calc`: one formula, with its unit.

use super::Outcome;
use super::args::{Calc, Form};
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table, json_text};
use crate::desk::Desk;
use crate::formula::Formula;
use crate::formula::Ty;
use crate::problem::Problem;
use crate::problem::clean;
use crate::table::{Cell, RowId, SheetId};
use crate::units::{Unit, Units, significant};

/// Digits that are kept: enough for any table, few enough to hide the noise of binary fractions.
const DIGITS: usize = 12;

/// Computes one formula and prints its value.
pub fn calc(calc: &Calc, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = match &calc.plan {
        Some(path) => pick::open(path, out)?,
        None => Desk::empty("")?,
    };
    let at = place(&desk, calc)?;
    let (formula, cell) = desk.engine().evaluate(desk.plan(), &calc.formula, at)?;
    let unit = unit_of(&formula, &cell, calc.unit.as_deref())?;
    let value = match cell {
        Cell::Number(value) => Datum::Number(rounded(unit.from_base(value)), None),
        Cell::Text(text) => Datum::Text(text),
        Cell::Flag(flag) => Datum::Flag(flag),
        Cell::Missing | Cell::Failed => {
            if form == Form::Json {
                out.line("{\"value\":null}");
            }
            return Err(absent(&desk, &formula, at).into());
        }
    };
    write(value, &unit, form, out);
    Ok(Outcome::Quiet)
}

fn rounded(value: f64) -> f64 {
    significant(value, DIGITS).parse().unwrap_or(value)
}

fn write(value: Datum, unit: &Unit, form: Form, out: &mut Printer) {
    match form {
        Form::Json if unit.symbol.is_empty() => {
            out.line(&format!("{{\"value\":{}}}", value.json()))
        }
        Form::Json => out.line(&format!(
            "{{\"value\":{},\"unit\":{}}}",
            value.json(),
            json_text(&unit.symbol)
        )),
        Form::Csv => {
            let heading = Heading {
                unit: unit.symbol.clone(),
                ..Heading::text("value")
            };
            Table::new(vec![heading], 1, move |_| vec![value.clone()]).write(form, out);
        }
        Form::Table => out.line(format!("{} {}", plain(&value), unit.symbol).trim_end()),
    }
}

/// The value for a person, with all digits that are kept.
fn plain(value: &Datum) -> String {
    match value {
        Datum::Number(value, _) => significant(*value, DIGITS),
        Datum::Flag(flag) => if *flag { "yes" } else { "no" }.to_owned(),
        Datum::Text(text) | Datum::Marked(_, text) => clean(text).into_owned(),
        Datum::NoNumber => String::new(),
    }
}

/// The row that the formula is about, if any.
fn place(desk: &Desk, calc: &Calc) -> Result<Option<(SheetId, RowId)>, Problem> {
    let (Some(sheet), Some(row)) = (&calc.sheet, &calc.row) else {
        return Ok(None);
    };
    let sheet = pick::sheet(desk, sheet)?;
    Ok(Some((sheet, pick::row(desk, sheet, row)?)))
}

/// The unit asked for, else one from the formula, else one in which the value is short.
fn unit_of(formula: &Formula, cell: &Cell, asked: Option<&str>) -> Result<Unit, Problem> {
    let Ty::Number(measure) = formula.ty else {
        return Ok(Unit::none());
    };
    let usual = Units::builtin().default_for(measure);
    let Some(asked) = asked else {
        let fitting = match cell {
            Cell::Number(value) => Units::builtin().fitting(*value, measure),
            Cell::Text(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed => usual,
        };
        return Ok(formula.unit_hint.clone().unwrap_or(fitting));
    };
    let kind = if usual.symbol.is_empty() {
        "a plain number"
    } else {
        &usual.symbol
    };
    let step = format!("ask for it in {kind} or another unit of the same kind");
    let unit = Units::builtin()
        .unit(asked)
        .map_err(|problem| problem.help(step.clone()))?;
    if unit.measure == measure {
        return Ok(unit);
    }
    Err(Problem::new(
        "unit-differs",
        format!("the result is in {kind}, which is no {asked}"),
    )
    .help(step))
}

/// Says why there is no value: names without one, else the arithmetic.
fn absent(desk: &Desk, formula: &Formula, at: Option<(SheetId, RowId)>) -> Problem {
    let missing = formula.leaves().into_iter().find(|leaf| {
        let cell = desk.engine().evaluate_part(desk.plan(), leaf, at);
        matches!(cell, Cell::Missing | Cell::Failed)
    });
    let problem = match missing {
        Some(leaf) => {
            let name = &formula.text[leaf.span.clone()];
            Problem::new("no-value", format!("`{name}` has no value here"))
                .at(leaf.span.clone(), "")
                .help("enter it, or say what counts instead: first_given(name, value)")
        }
        None => Problem::new("no-value", "the result is not a number")
            .at(0..formula.text.len(), "")
            .help("look for a division by zero, a root of less than zero, or a number too large"),
    };
    problem.within("formula", formula.text.as_str())
}
