//! `order`: what to buy, and the labels of all cables.

use super::Outcome;
use super::args::{self, Form};
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::problem::clean;
use crate::problem::several;
use crate::study::Look;
use crate::study::labels::labels;
use crate::study::order::Line;
use crate::study::order::OrderList;
use crate::study::order::order_list;

/// Lists what to buy, or the labels.
pub fn order(asked: &args::Order, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(&asked.plan, out)?;
    if asked.labels {
        label_table(&desk)?.write(form, out);
        return Ok(Outcome::Quiet);
    }
    let list = order_list(desk.plan(), desk.engine())?;
    match (asked.behind, form) {
        (true, _) => behind_table(&desk, &list)?.write(form, out),
        (false, Form::Table) => write(&desk, &list, out)?,
        (false, Form::Csv | Form::Json) => line_table(&desk, &list).write(form, out),
    }
    Ok(Outcome::Quiet)
}

fn number(name: &str) -> Heading {
    Heading {
        is_number: true,
        ..Heading::text(name)
    }
}

fn line_table<'a>(desk: &'a Desk, list: &'a OrderList) -> Table<'a> {
    let headings = vec![
        Heading::text("family"),
        Heading::text("part"),
        number("to buy"),
        Heading::text("unit"),
        number("needed"),
        number("spares"),
        number("in stock"),
        number("on order"),
        number("price"),
        number("cost"),
        Heading::text("from the list"),
    ];
    let parts = desk.plan().sheet("parts");
    Table::new(headings, list.lines.len(), move |at| {
        let line: &Line = &list.lines[at];
        let part = line.part.zip(parts);
        let part = part.map_or_else(String::new, |(row, sheet)| desk.plan().id(sheet, row));
        let money = |amount: Option<f64>| match amount {
            Some(amount) => Datum::Number(amount, Some(2)),
            None => Datum::text("not priced"),
        };
        vec![
            Datum::text(line.family.word()),
            Datum::text(&line.name),
            Datum::Number(line.to_buy, Some(1)),
            Datum::text(line.unit),
            Datum::Number(line.needed, Some(1)),
            Datum::Number(line.spares, Some(0)),
            match line.on_hand {
                Some(n) => Datum::Number(n, Some(0)),
                None => Datum::text("not counted"),
            },
            Datum::Number(line.on_order, Some(1)),
            money(line.price),
            money(line.cost),
            Datum::text(part),
        ]
    })
}

fn write(desk: &Desk, list: &OrderList, out: &mut Printer) -> Result<(), Problem> {
    if list.lines.is_empty() {
        out.line("nothing to order: no link is planned or ordered");
        return Ok(());
    }
    line_table(desk, list).write(Form::Table, out);
    out.line("");
    let currency = list.currency.as_deref();
    for total in &list.totals {
        let name = total.family.map_or("all", |family| family.word());
        let said = total.said(currency);
        out.line(&clean(&format!("{name}: {said}")));
    }
    if currency.is_none() && list.totals.iter().any(|total| total.cost > 0.0) {
        out.line("no currency is stated; set it with: portledger set PLAN assume currency value");
    }
    for note in &list.notes {
        out.wrapped("", 0, note);
    }
    if !list.open.is_empty() {
        let links = pick::sheet(desk, "links")?;
        let n = several(list.open.len(), "planned link is", "planned links are");
        out.line("");
        out.line(&format!("{n} not ready to be ordered:"));
        for (link, why) in &list.open {
            let id = desk.plan().id(links, *link);
            out.wrapped("  ", 2, &clean(&format!("{id}: {why}")));
        }
    }
    Ok(())
}

fn behind_table<'a>(desk: &'a Desk, list: &'a OrderList) -> Result<Table<'a>, Problem> {
    let links = pick::sheet(desk, "links")?;
    let rows: Vec<(&Line, usize)> = list
        .lines
        .iter()
        .flat_map(|line| (0..line.behind.len()).map(move |at| (line, at)))
        .collect();
    let headings = vec![
        Heading::text("family"),
        Heading::text("part"),
        Heading::text("link"),
        number("count"),
        Heading::text("for"),
        Heading::text("state"),
    ];
    Ok(Table::new(headings, rows.len(), move |at| {
        let (line, at) = rows[at];
        let behind = &line.behind[at];
        vec![
            Datum::text(line.family.word()),
            Datum::text(&line.name),
            Datum::text(desk.plan().id(links, behind.link)),
            Datum::Number(behind.count, Some(1)),
            Datum::text(behind.what.words()),
            Datum::text(if behind.is_ordered {
                "ordered"
            } else {
                "planned"
            }),
        ]
    }))
}

fn label_table(desk: &Desk) -> Result<Table<'_>, Problem> {
    let sheet = pick::sheet(desk, "links")?;
    let look = Look {
        plan: desk.plan(),
        engine: desk.engine(),
        sheet,
    };
    let all = labels(look);
    let names = [
        "label",
        "link",
        "cable",
        "from",
        "from port",
        "to",
        "to port",
    ];
    let headings = names.map(Heading::text).to_vec();
    Ok(Table::new(headings, all.len(), move |at| {
        let label = &all[at];
        let of = |name: &str| Datum::text(look.text(name, label.link).unwrap_or_default());
        vec![
            Datum::text(&label.text),
            Datum::text(look.id(label.link)),
            Datum::text(label.cable.to_string()),
            of("from"),
            of("from_port"),
            of("to"),
            of("to_port"),
        ]
    }))
}
