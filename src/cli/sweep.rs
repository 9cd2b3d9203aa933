//! `sweep`: one or two entered values over a range.

use super::Outcome;
use super::args::{self, Form};
use super::look::verdict_glyph;
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
use crate::desk::Desk;
use crate::files::save;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::problem::clean;
use crate::study::Look;
use crate::study::curve::svg;
use crate::study::sweep::Asked;
use crate::study::sweep::Axis;
use crate::study::sweep::Knob;
use crate::study::sweep::Swept;
use crate::study::sweep::Turn;
use crate::study::sweep::Watch;
use crate::study::sweep::sweep as study;
use crate::study::sweep::usual_watches;
use crate::table::{Cell, RowId, SheetId};

/// Sweeps a plan; nothing in it is changed.
pub fn sweep(asked: &args::Sweep, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(&asked.plan, out)?;
    let mut axes = vec![axis(&desk, &asked.range)?];
    if !asked.and.is_empty() {
        axes.push(axis(&desk, &asked.and)?);
    }
    let at = place(&desk, asked, &axes)?;
    let watches = watches(&desk, asked, at)?;
    let with = asked.with.chunks(4).map(|words| change(&desk, words));
    let swept = study(
        desk.plan(),
        desk.engine(),
        Asked {
            axes,
            watches,
            with: with.collect::<Result<_, Problem>>()?,
        },
    )?;
    match (asked.turns, form) {
        (false, Form::Csv | Form::Json) => point_table(&swept).write(form, out),
        (true, Form::Csv | Form::Json) => turn_table(&swept).write(form, out),
        (is_short, Form::Table) => {
            if !is_short {
                point_table(&swept).write(form, out);
                out.line("");
            }
            tell_turns(&swept, out);
        }
    }
    if let Some(path) = &asked.svg {
        let title = swept.axes.iter().map(|axis| axis.name.as_str());
        let title: Vec<&str> = title.collect();
        save::save(path, svg(&title.join(" and "), &swept).as_bytes())?;
        out.told(&format!("the curves are in {}", path.display()));
    }
    Ok(Outcome::Quiet)
}

/// An axis from its words: what is turned, then the range.
fn axis(desk: &Desk, words: &[String]) -> Result<Axis, Problem> {
    let short =
        || {
            Problem::new("no-range", "it is not said what is swept, and over which range").help(
            "write it as: links P105 length 10 m to 400 m in 40, or: assume reserve 0 to 2 in 20",
        )
        };
    if words.first().is_some_and(|word| word == "assume") {
        let [_, name, range @ ..] = words else {
            return Err(short());
        };
        let param = desk.plan().assumption(name).ok_or_else(|| {
            let known = desk.plan().assumptions().iter();
            Problem::new(
                "no-such-assumption",
                format!("there is no assumption `{name}`"),
            )
            .did_you_mean(name, known.map(|known| known.def.name.as_str()))
            .help("see them with: portledger show PLAN assume")
        })?;
        return Axis::new(desk.plan(), Knob::Assumption(param), &range.join(" "));
    }
    let [sheet, row, column, range @ ..] = words else {
        return Err(short());
    };
    let (sheet, row, column) = cell(desk, [sheet, row, column])?;
    Axis::new(
        desk.plan(),
        Knob::Cell(sheet, row, column),
        &range.join(" "),
    )
}

fn cell(desk: &Desk, [sheet, row, column]: [&str; 3]) -> Result<(SheetId, RowId, usize), Problem> {
    let sheet = pick::sheet(desk, sheet)?;
    let row = pick::row(desk, sheet, row)?;
    let column = pick::column(desk, sheet, column)?;
    let first = desk.engine().column(sheet, 0);
    let position = column.at() - first.at();
    let def = desk.plan().def(sheet).columns.get(position);
    match def.is_some_and(crate::sheet::ColumnDef::entered) {
        true => Ok((sheet, row, position)),
        false => Err(
            Problem::new("column-computed", "that column is computed, not entered")
                .help("sweep a cell that its formula reads"),
        ),
    }
}

/// The row that is looked at.
fn place(
    desk: &Desk,
    asked: &args::Sweep,
    axes: &[Axis],
) -> Result<Option<(SheetId, RowId)>, Problem> {
    if let [sheet, row] = &asked.of[..] {
        let sheet = pick::sheet(desk, sheet)?;
        return Ok(Some((sheet, pick::row(desk, sheet, row)?)));
    }
    Ok(axes.iter().find_map(|axis| match axis.knob {
        Knob::Cell(sheet, row, _) => Some((sheet, row)),
        Knob::Assumption(_) => None,
    }))
}

fn watches(
    desk: &Desk,
    asked: &args::Sweep,
    at: Option<(SheetId, RowId)>,
) -> Result<Vec<Watch>, Vec<Problem>> {
    let (plan, engine) = (desk.plan(), desk.engine());
    let mut names: Vec<String> = asked.show.clone();
    if let (true, Some((sheet, _))) = (names.is_empty(), at) {
        let look = Look {
            plan,
            engine,
            sheet,
        };
        names = usual_watches(look).into_iter().map(str::to_owned).collect();
    }
    if names.is_empty() {
        return Err(
            Problem::new("nothing-to-show", "it is not said what to look at")
                .help("name a row with --of, or formulas with --show")
                .into(),
        );
    }
    names
        .iter()
        .map(|name| Watch::new(plan, engine, name, at))
        .collect()
}

/// A change that holds for the whole sweep.
fn change(desk: &Desk, words: &[String]) -> Result<Edit, Problem> {
    let [sheet, row, column, value] = words else {
        return Err(Problem::new("no-change", "a change has four parts")
            .help("write it as: --with links P105 connections 3"));
    };
    let (sheet, row, column) = cell(desk, [sheet, row, column])?;
    let entry: Entry = read_entry(desk.plan(), sheet, column, value)?;
    Ok(Edit::SetCells {
        sheet,
        cells: vec![((column, row), entry)],
    })
}

fn datum(swept: &Swept, watch: usize, cell: &Cell) -> Datum {
    let watch = &swept.watches[watch];
    match cell {
        Cell::Number(value) => Datum::Number(watch.unit.from_base(*value), watch.decimals),
        Cell::Flag(flag) => Datum::Flag(*flag),
        Cell::Text(word) if watch.name == "verdict" => {
            Datum::Marked(verdict_glyph(word), word.clone())
        }
        Cell::Text(text) => Datum::text(text),
        Cell::Missing => Datum::text(""),
        Cell::Failed => Datum::NoNumber,
    }
}

fn headings(swept: &Swept) -> Vec<Heading> {
    let axes = swept.axes.iter().map(|axis| Heading {
        name: axis.name.clone(),
        unit: axis.unit.symbol.clone(),
        is_number: true,
    });
    let watches = swept.watches.iter().enumerate().map(|(at, watch)| Heading {
        name: watch.name.clone(),
        unit: watch.unit.symbol.clone(),
        is_number: swept
            .values
            .iter()
            .any(|values| matches!(values[at], Cell::Number(_))),
    });
    axes.chain(watches).collect()
}

fn point_table(swept: &Swept) -> Table<'_> {
    Table::new(headings(swept), swept.points.len(), |at| {
        let points = swept.points[at].iter();
        let points = points.map(|value| Datum::Number(*value, Some(9)));
        let values = swept.values[at].iter().enumerate();
        let values = values.map(|(watch, cell)| datum(swept, watch, cell));
        points.chain(values).collect()
    })
}

fn turn_table(swept: &Swept) -> Table<'_> {
    let number = |name: &str, axis: usize| Heading {
        name: name.to_owned(),
        unit: swept
            .axes
            .get(axis)
            .map_or_else(String::new, |axis| axis.unit.symbol.clone()),
        is_number: true,
    };
    let headings = vec![
        Heading::text("what"),
        number("second", 1),
        Heading::text("before"),
        number("up to", 0),
        Heading::text("after"),
        number("from", 0),
        Heading::text("finding"),
    ];
    Table::new(headings, swept.turns.len(), |at| {
        let turn = &swept.turns[at];
        let watch = &swept.watches[turn.watch];
        vec![
            Datum::text(&watch.name),
            match turn.second {
                Some(value) => Datum::Number(value, Some(9)),
                None => Datum::text(""),
            },
            Datum::text(watch.said(&turn.before)),
            Datum::Number(turn.last, Some(9)),
            Datum::text(watch.said(&turn.after)),
            Datum::Number(turn.first, Some(9)),
            Datum::text(findings(turn).join("; ")),
        ]
    })
}

/// The findings that turn with it, in words.
fn findings(turn: &Turn) -> Vec<String> {
    let new = turn.came.iter().map(|one| ("new", one));
    let gone = turn.went.iter().map(|one| ("gone", one));
    new.chain(gone)
        .map(|(word, one)| {
            format!(
                "{word}: {} {}: {}",
                one.severity.word(),
                one.check,
                one.sentence
            )
        })
        .collect()
}

fn tell_turns(swept: &Swept, out: &mut Printer) {
    if swept.turns.is_empty() {
        out.line("no word turns in this range");
    }
    for turn in &swept.turns {
        out.wrapped("", 0, &clean(&swept.say(turn)));
        for text in findings(turn) {
            out.wrapped("  ", 2, &clean(&text));
        }
    }
}
