//! `options`: what could carry links at their speed, ranked, and why the rest cannot.

use super::Outcome;
use super::args::{self, Form};
use super::look::verdict_glyph;
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::problem::clean;
use crate::study::options::Choice;
use crate::study::options::Criterion;
use crate::study::options::Options;
use crate::study::options::Standing;
use crate::study::options::options as study;
use crate::study::options::said_order;

/// Says what could carry links.
pub fn options(
    asked: &args::Options,
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(&asked.plan, out)?;
    let sheet = pick::sheet(&desk, "links")?;
    let links = asked.links.iter().map(|id| pick::row(&desk, sheet, id));
    let links = links.collect::<Result<Vec<_>, Problem>>()?;
    let order = asked.rank.iter().map(|word| Criterion::of_word(word));
    let mut order = order.collect::<Result<Vec<_>, Problem>>()?;
    if order.is_empty() {
        order = Criterion::ALL.to_vec();
    }
    let found = study(desk.plan(), desk.engine(), &links, &order)?;
    match form {
        Form::Table => write(&desk, &found, out),
        Form::Csv | Form::Json => table(found.choices.iter().collect(), true).write(form, out),
    }
    Ok(Outcome::Quiet)
}

/// Choices as rows; with those that are refused, also why.
fn table(choices: Vec<&Choice>, is_whole: bool) -> Table<'_> {
    let number = |name: &str, unit: &str| Heading {
        name: name.to_owned(),
        unit: unit.to_owned(),
        is_number: true,
    };
    let mut headings = ["interface", "far interface", "medium", "verdict"]
        .map(Heading::text)
        .to_vec();
    headings.extend([
        number("price", ""),
        number("watts", "W"),
        number("latency", "µs"),
        number("margin", "dB"),
        Heading::text(if is_whole { "why" } else { "to be known" }),
    ]);
    Table::new(headings, choices.len(), move |at| {
        let choice = choices[at];
        let value = |value: Option<f64>, times: f64, decimals| match value {
            Some(value) => Datum::Number(value * times, Some(decimals)),
            None => Datum::text(""),
        };
        let price = match (choice.price, is_whole) {
            (None, false) => Datum::text("not priced"),
            (price, _) => value(price, 1.0, 2),
        };
        vec![
            Datum::text(&choice.interface),
            Datum::text(choice.far.clone().unwrap_or_default()),
            Datum::text(&choice.medium),
            Datum::Marked(verdict_glyph(&choice.verdict), choice.verdict.clone()),
            price,
            value(choice.watts, 1.0, 1),
            value(choice.latency, 1e6, 3),
            value(choice.margin, 1.0, 2),
            Datum::text(choice.why.clone().unwrap_or_default()),
        ]
    })
}

fn write(desk: &Desk, found: &Options, out: &mut Printer) {
    let carries: Vec<&Choice> = found.of(Standing::Carries).collect();
    match carries.is_empty() {
        true => out.line("nothing in the tables carries it"),
        false => table(carries, false).write(Form::Table, out),
    }
    out.line("");
    out.wrapped("", 0, &format!("Ranked: {}.", said_order(&found.order)));
    let currency = crate::study::order::currency(desk.plan());
    if let Some(currency) = currency.filter(|_| found.choices.iter().any(|c| c.price.is_some())) {
        out.wrapped("", 0, &clean(&format!("Prices in {currency}.")));
    }
    for (standing, title) in [
        (Standing::Unknown, "Cannot be told:"),
        (Standing::Refused, "Refused:"),
    ] {
        let others: Vec<&Choice> = found.of(standing).collect();
        if others.is_empty() {
            continue;
        }
        out.line("");
        out.line(title);
        for choice in others {
            let why = choice.why.as_deref().unwrap_or("no reason is told");
            out.wrapped("  ", 2, &clean(&format!("{}: {why}", choice.name())));
        }
    }
}
