//! The order list, and the links behind one of its lines.

use super::lay::Lay;
use super::lay::piece;
use super::row::Row;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::study::order::Line;
use crate::study::order::OrderList;
use crate::study::order::money;
use crate::study::order::order_list as study;
use crate::units::significant;

/// So many links behind a line are listed.
const MOST: usize = 1000;

/// What to buy; each line leads to the links behind it.
pub fn order_list(desk: &Desk, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Order list", width, theme);
    match study(desk.plan(), desk.engine()) {
        Ok(list) if list.lines.is_empty() => {
            let text = "Nothing to order: no link is planned or ordered.";
            lay.say(0, text, Tone::Plain);
        }
        Ok(list) => tell(&mut lay, desk, &list),
        Err(problem) => lay.say(0, &problem.message, Tone::Wrong),
    }
    lay.page()
}

fn tell(lay: &mut Lay, desk: &Desk, list: &OrderList) {
    let told = "For the links that are planned, with spares, less what is in stock. Enter opens \
                the links behind a line.";
    lay.say(0, told, Tone::Quiet);
    let currency = list.currency.as_deref();
    let mut family = None;
    for (at, line) in list.lines.iter().enumerate() {
        if family != Some(line.family) {
            family = Some(line.family);
            let total = list.totals.iter().find(|total| total.family == family);
            let total =
                total.map_or_else(|| "nothing to buy".to_owned(), |total| total.said(currency));
            lay.heading(&format!("{}: {total}", line.family.word()));
        }
        one_line(lay, at, line, currency);
    }
    if let Some(total) = list.totals.iter().find(|total| total.family.is_none()) {
        lay.heading(&format!("All: {}", total.said(currency)));
        if currency.is_none() && total.cost > 0.0 {
            lay.say(
                0,
                "No currency is stated; it is an assumption.",
                Tone::Quiet,
            );
        }
    }
    for note in &list.notes {
        lay.say(0, &format!("Note: {note}."), Tone::Quiet);
    }
    if list.open.is_empty() {
        return;
    }
    lay.heading("Not ready to be ordered");
    if let Some(links) = desk.plan().sheet("links") {
        for (link, why) in &list.open {
            let row = Row::new(desk, links, *link);
            let pieces = [
                piece(format!("{}: ", row.id()), Tone::Heading),
                piece(why.clone(), Tone::Plain),
            ];
            lay.item(0, 2, &pieces, row.target("id"));
        }
    }
}

/// A quantity with what is counted.
fn amount(value: f64, line: &Line) -> String {
    let number = significant(value, 6);
    match line.unit {
        "pieces" => number,
        unit => format!("{number} {unit}"),
    }
}

fn one_line(lay: &mut Lay, at: usize, line: &Line, currency: Option<&str>) {
    let tone = if line.to_buy > 0.0 {
        Tone::Heading
    } else {
        Tone::Quiet
    };
    let mut told = vec![piece(line.name.clone(), tone)];
    let mut made = vec![format!("{} needed", amount(line.needed, line))];
    if line.spares > 0.0 {
        made.push(format!("{} spare", amount(line.spares, line)));
    }
    made.push(match line.on_hand {
        Some(n) => format!("{} in stock", amount(n, line)),
        None => "stock not counted".to_owned(),
    });
    if line.on_order > 0.0 {
        made.push(format!("{} on order", amount(line.on_order, line)));
    }
    told.push(piece(format!("  {}", made.join(", ")), Tone::Quiet));
    if line.to_buy > 0.0 {
        told.push(match line.cost {
            Some(cost) => piece(format!("; {}", money(cost, currency)), Tone::Computed),
            None => piece("; not priced", Tone::Unknown),
        });
    }
    let cells = [(piece(format!("{:>7}", amount(line.to_buy, line)), tone), 7)];
    lay.row(&cells, &told, Target::Behind(at));
}

/// The links behind a line of the order list.
pub fn behind(desk: &Desk, at: usize, width: usize, theme: Theme) -> Page {
    let list = study(desk.plan(), desk.engine());
    let line = list.ok().and_then(|list| list.lines.into_iter().nth(at));
    let (Some(line), Some(links)) = (line, desk.plan().sheet("links")) else {
        return Lay::new("Order list", width, theme).page();
    };
    let mut lay = Lay::new(&format!("Behind: {}", line.name), width, theme);
    let told = format!(
        "{} needed and {} spare, {} to buy, {} on order.",
        amount(line.needed, &line),
        amount(line.spares, &line),
        amount(line.to_buy, &line),
        amount(line.on_order, &line)
    );
    lay.say(0, &told, Tone::Plain);
    if line.each > 1.0 {
        let text = format!("One piece is enough for {}.", significant(line.each, 6));
        lay.say(0, &text, Tone::Quiet);
    }
    lay.gap();
    for behind in line.behind.iter().take(MOST) {
        let row = Row::new(desk, links, behind.link);
        let ends = ["from", "to"].map(|end| row.shown(end).unwrap_or_default());
        let state = if behind.is_ordered { ", ordered" } else { "" };
        let cells = [
            (
                piece(
                    format!("{:>7}", amount(behind.count, &line)),
                    Tone::Computed,
                ),
                7,
            ),
            (piece(row.id(), Tone::Heading), 10),
        ];
        let rest = format!("{}{state}; {} to {}", behind.what.words(), ends[0], ends[1]);
        lay.row(&cells, &[piece(rest, Tone::Plain)], row.target("id"));
    }
    if line.behind.len() > MOST {
        let more = line.behind.len() - MOST;
        lay.say(0, &format!("{more} more are not listed."), Tone::Quiet);
    }
    lay.page()
}
