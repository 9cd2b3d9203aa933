//! `calc`: one formula, with its unit.

use super::Outcome;
use super::args::{Calc, Form};
use super::look::number_json;
use super::pick;
use super::print::Printer;
use crate::desk::Desk;
use crate::formula::Formula;
use crate::formula::Ty;
use crate::problem::Problem;
use crate::problem::clean;
use crate::table::{Cell, RowId, SheetId};
use crate::units::{Unit, Units, significant};
use serde_json::{Value, json};

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
        Cell::Number(value) => number_json(&significant(unit.from_base(value), DIGITS)),
        Cell::Text(text) => json!(text),
        Cell::Flag(flag) => json!(flag),
        Cell::Missing | Cell::Failed => return Ok(absent(form, out)),
    };
    match form {
        Form::Json if unit.symbol.is_empty() => out.line(&json!({ "value": value }).to_string()),
        Form::Json => out.line(&format!(
            "{{\"value\":{value},\"unit\":{}}}",
            json!(unit.symbol)
        )),
        Form::Table | Form::Csv => out.line(plain(&value, &unit).trim_end()),
    }
    Ok(Outcome::Quiet)
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
    let unit = Units::builtin().unit(asked)?;
    if unit.measure == measure {
        return Ok(unit);
    }
    let kind = if usual.symbol.is_empty() {
        "a plain number"
    } else {
        &usual.symbol
    };
    Err(Problem::new(
        "unit-differs",
        format!("the result is in {kind}, which is no {asked}"),
    )
    .help(format!(
        "ask for it in {kind} or another unit of the same kind"
    )))
}

fn plain(value: &Value, unit: &Unit) -> String {
    let text = match value {
        Value::String(text) => clean(text).into_owned(),
        Value::Bool(flag) => if *flag { "yes" } else { "no" }.to_owned(),
        other => other.to_string(),
    };
    format!("{text} {}", unit.symbol)
}

/// Says that there is no value.
fn absent(form: Form, out: &mut Printer) -> Outcome {
    if form == Form::Json {
        out.line("{\"value\":null}");
    }
    out.problem(
        &Problem::new("no-value", "the formula has no value here")
            .help("an input is missing, or the result is not a number, such as a division by zero"),
    );
    Outcome::Undone
}
