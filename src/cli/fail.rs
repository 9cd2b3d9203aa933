//! `fail`: what breaks when something fails, worst first.

use super::Outcome;
use super::args::{Fail, Failing, Form};
use super::look::{INDENT, rows_where, tinted};
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::problem::clean;
use crate::problem::several;
use crate::study::failures::Asked;
use crate::study::failures::Failures;
use crate::study::failures::Kind;
use crate::study::failures::failures;
use crate::study::failures::said;

/// What the order of the list is, for the line under it.
const ORDER: &str = "Worst first: by switches cut off, paths cut, switches without an uplink, ratios past \
                     their target, then by the worst of these. Tried are uplinks and links between switches \
                     or on a path.";

/// Tries failures and says what they do.
pub fn fail(asked: &Fail, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(&asked.plan, out)?;
    let links = match &asked.condition {
        Some(formula) => Some(rows_where(
            &desk,
            pick::sheet(&desk, "links")?,
            formula,
            out,
        )?),
        None => None,
    };
    let study = Asked {
        kinds: asked.by.iter().map(|kind| kind_of(*kind)).collect(),
        pairs: asked.pairs,
        links,
    };
    let found = failures(desk.plan(), desk.engine(), &study)?;
    let lines = lines(&desk, &found);
    match form {
        Form::Table => write(&found, &lines, out),
        Form::Csv | Form::Json => {
            let names = ["severity", "kind", "out", "sheet", "row", "effect"];
            let headings = names.map(Heading::text).to_vec();
            let row = |at: usize| {
                let line: &Line = &lines[at];
                let texts = [
                    line.severity.word(),
                    line.kind,
                    &line.out,
                    &line.sheet,
                    &line.row,
                    &line.text,
                ];
                texts.map(Datum::text).to_vec()
            };
            Table::new(headings, lines.len(), row).write(form, out);
        }
    }
    let is_cut = found
        .harms
        .iter()
        .any(|harm| harm.severity() == Severity::Stop);
    Ok(if is_cut {
        Outcome::Stops
    } else {
        Outcome::Quiet
    })
}

fn kind_of(kind: Failing) -> Kind {
    match kind {
        Failing::Link => Kind::Link,
        Failing::Member => Kind::Member,
        Failing::Route => Kind::Route,
        Failing::Switch => Kind::Switch,
    }
}

/// One effect of one failure.
struct Line {
    severity: Severity,
    kind: &'static str,
    out: String,
    sheet: String,
    row: String,
    text: String,
}

fn lines(desk: &Desk, found: &Failures) -> Vec<Line> {
    let plan = desk.plan();
    let of_harm = |harm: &crate::study::failures::Harm| {
        let (kind, name) = (
            harm.out.kind().map_or("pair", Kind::word),
            harm.out.name(plan),
        );
        let effects = said(plan, desk.engine(), harm).into_iter();
        let line = |effect: crate::study::failures::Said| Line {
            severity: effect.severity,
            kind,
            out: name.clone(),
            sheet: plan.def(effect.at.0).name.clone(),
            row: plan.id(effect.at.0, effect.at.1),
            text: effect.text,
        };
        effects.map(line).collect::<Vec<Line>>()
    };
    found.harms.iter().flat_map(of_harm).collect()
}

fn write(found: &Failures, lines: &[Line], out: &mut Printer) {
    for line in lines {
        let word = format!("{} ", tinted(line.severity, out.is_coloured()));
        let text = format!("{} out: {}", line.out, line.text);
        out.wrapped(&word, INDENT, &clean(&text));
    }
    let tried = several(found.n_tried, "failure", "failures");
    let harm = match found.harms.len() {
        0 => "none does harm".to_owned(),
        1 => "1 does harm".to_owned(),
        n => format!("{n} do harm"),
    };
    out.line(&format!("{tried} tried, {harm}"));
    out.wrapped("", 0, ORDER);
}
