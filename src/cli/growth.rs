//! `growth`: when each switch is full, and what the next step up gives.

use super::Outcome;
use super::args::{self, Form};
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::problem::clean;
use crate::study::growth::Growth;
use crate::study::growth::growth as study;
use crate::study::growth::year_of;
use crate::units::significant;

/// Says how the switches of a plan fill.
pub fn growth(
    asked: &args::Growth,
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(&asked.plan, out)?;
    let all = study(desk.plan(), desk.engine())?;
    fillings(&desk, &all, asked.from).write(form, out);
    if form == Form::Table {
        steps(&desk, &all, asked.from, out);
    }
    Ok(Outcome::Quiet)
}

/// Years in words; the calendar year where the present one is known.
fn said_years(years: Option<f64>, from: Option<i32>) -> String {
    match (years, from) {
        (None, _) => "unknown".to_owned(),
        (Some(years), None) => format!("{years:.1} yr"),
        (Some(years), Some(from)) => match year_of(from, years) {
            Some(year) => format!("{years:.1} yr, {year}"),
            None => format!("{years:.1} yr"),
        },
    }
}

fn fillings(desk: &Desk, all: &[Growth], from: Option<i32>) -> Table<'static> {
    let mut headings = ["switch", "thing", "taken", "of", "growth a year"]
        .map(Heading::text)
        .to_vec();
    headings.push(Heading {
        name: "full in".to_owned(),
        unit: "yr".to_owned(),
        is_number: true,
    });
    headings.push(Heading::text("year"));
    headings.push(Heading::text("not entered"));
    let sheet = desk.plan().sheet("switches");
    let id = |growth: &Growth| {
        sheet.map_or_else(String::new, |sheet| desk.plan().id(sheet, growth.switch))
    };
    let rows: Vec<Vec<Datum>> = all
        .iter()
        .flat_map(|growth| growth.fillings.iter().map(move |filling| (growth, filling)))
        .map(|(growth, filling)| {
            let year = filling.years.zip(from);
            let year = year.and_then(|(years, from)| year_of(from, years));
            vec![
                Datum::text(id(growth)),
                Datum::text(filling.thing.word()),
                Datum::text(&filling.used),
                Datum::text(&filling.of),
                Datum::text(filling.growth.clone().unwrap_or_default()),
                filling
                    .years
                    .map_or(Datum::text(""), |years| Datum::Number(years, Some(1))),
                Datum::text(year.map_or_else(String::new, |year| year.to_string())),
                Datum::text(filling.missing.join(" ")),
            ]
        })
        .collect();
    Table::new(headings, rows.len(), move |at| rows[at].clone())
}

/// The steps up, as sentences under the table.
fn steps(desk: &Desk, all: &[Growth], from: Option<i32>, out: &mut Printer) {
    let Some(sheet) = desk.plan().sheet("switches") else {
        return;
    };
    let ratio = |value: Option<f64>| match value {
        Some(value) => format!("{} to 1", significant(value, 4)),
        None => "unknown".to_owned(),
    };
    for growth in all.iter().filter(|growth| !growth.steps.is_empty()) {
        out.line("");
        out.line(&clean(&desk.plan().id(sheet, growth.switch)));
        for step in &growth.steps {
            let text = match &step.hurdle {
                Some(hurdle) => format!("{}: {hurdle}", step.what),
                None => format!(
                    "{}: ratio {}, {}, uplinks full in {}",
                    step.what,
                    ratio(step.ratio),
                    match step.worst_ratio {
                        Some(_) => format!("with one cable out {}", ratio(step.worst_ratio)),
                        None => "one cable out leaves none".to_owned(),
                    },
                    said_years(step.years, from)
                ),
            };
            out.wrapped("  ", 2, &clean(&text));
        }
    }
}
