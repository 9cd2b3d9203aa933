//! What a file adds to a plan: links of a table, or a module from its memory dump.
//!
//! How files are read is in `files`; here is what a person is told about it.

use super::Outcome;
use super::args::{End, Import, Sign, Table};
use super::edit::{say_change, tell_saved};
use super::pick;
use super::print::Printer;
use super::print::Shown;
use crate::desk::{Desk, Gauge, Imported};
use crate::files::import::Decimal;
use crate::files::import::Import as Links;
use crate::files::import::Wish;
use crate::files::import::aside_lines;
use crate::files::module_dump::{Basis, Found, Identity, Module, Place, Power, Readings};
use crate::files::spreadsheet::Reader;
use crate::problem::Problem;
use crate::problem::clean;
use crate::problem::several;
use std::sync::Arc;

/// Reads a file into a plan, saves, and says what was read and what changed.
pub fn import(import: &Import, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let mut desk = match import.dry_run {
        true => pick::open(&import.plan, out)?,
        false => pick::open_to_change(&import.plan, out)?,
    };
    let before = desk.findings().list;
    let place = Place {
        link: import.link.clone().zip(import.end.map(end_word)),
        id: import.id.clone(),
    };
    let wish = wish(&import.table)?;
    let reader = Reader::of_this_program()?;
    let gauge = Arc::new(Gauge::default());
    let shown = Shown::new(format!("reading {}", import.file.display()), &gauge);
    let told = &mut |step| gauge.tell(step);
    let imported = desk.import_any(&import.file, &wish, &place, &reader, told);
    drop(shown);
    match imported? {
        Imported::Links(read) => say_links(&read, out),
        Imported::Module {
            module,
            id,
            is_again,
        } => say_module(&desk, &module, &id, is_again, out),
    }
    if import.dry_run {
        return Ok(Outcome::Quiet);
    }
    tell_saved(&desk.save()?, out);
    Ok(say_change(&desk, &before, out))
}

fn end_word(end: End) -> &'static str {
    match end {
        End::Near => "near",
        End::Far => "far",
    }
}

/// Says how a table was read.
pub(super) fn say_links(read: &Links, out: &mut Printer) {
    for note in &read.notes {
        out.line(&clean(note));
    }
    if let Some(name) = &read.kept_as {
        out.line(&clean(&format!(
            "what you say of the headings is kept as mapping `{name}`"
        )));
    }
    for line in aside_lines(&read.set_aside) {
        out.line(&clean(&line));
    }
    let parts = [
        several(read.n_links, "link", "links"),
        several(read.n_switches, "switch", "switches"),
        several(read.set_aside.len(), "row set aside", "rows set aside"),
    ];
    out.line(&parts.join(", "));
}

/// What the arguments say of a table.
pub(super) fn wish(table: &Table) -> Result<Wish, Problem> {
    Ok(Wish {
        map: mappings(&table.map)?,
        page: table.page.clone(),
        heading_row: table.heading_row,
        encoding: table.encoding.clone(),
        decimal: table.decimal.map(|sign| match sign {
            Sign::Point => Decimal::Point,
            Sign::Comma => Decimal::Comma,
        }),
        leaves_hidden: table.leave_hidden,
        tells_apart: table.tell_apart,
        name: None,
    })
}

/// Says what a dump was read as.
fn say_module(desk: &Desk, module: &Module, id: &str, is_again: bool, out: &mut Printer) {
    let again = match is_again {
        true => "read again",
        false => "added",
    };
    let part = part(&module.identity);
    out.line(&clean(&format!("module {id} {again}: {part}")));
    out.line(&clean(&format!("  {}", interface(&module.found()))));
    if let Some(readings) = &module.readings {
        out.line(&clean(&format!("  {}", light(readings))));
    }
    for note in &module.notes {
        out.line(&clean(&format!("  {note}")));
    }
    out.line(&clean(&format!("  {}", seat(desk, id))));
}

fn part(identity: &Identity) -> String {
    let mut parts = vec![identity.form().to_owned()];
    let named = [
        ("", &identity.vendor),
        ("part ", &identity.part),
        ("revision ", &identity.revision),
        ("made ", &identity.made),
    ];
    let given = named.iter().filter(|(_, text)| !text.is_empty());
    parts.extend(given.map(|(word, text)| format!("{word}{text}")));
    parts.join(", ")
}

fn interface(found: &Found) -> String {
    let by = |basis: &Basis| match basis {
        Basis::Codes => "by its compliance codes",
        Basis::Figures => "by wavelength, bit rate and length, as it sets no code",
    };
    match found {
        Found::One(name, basis) => format!("{name}, {}", by(basis)),
        Found::Several(names, basis) => {
            format!("could be {}, {}", names.join(" or "), by(basis))
        }
        Found::Unknown(codes) if codes.is_empty() => "it does not say what it is".to_owned(),
        Found::Unknown(codes) => {
            format!(
                "it says {}, which no interface goes with",
                codes.join(" and ")
            )
        }
    }
}

fn light(readings: &Readings) -> String {
    let temperature = readings
        .temperature
        .map(|celsius| format!("{celsius:.1} °C"));
    let level = |word: &str, power: Option<Power>| Some(format!("{word} {}", power?));
    let parts = [
        temperature,
        level("sends", readings.least_sent()),
        level("receives", readings.least_received()),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    parts.join(", ")
}

/// Where the plan has the module.
fn seat(desk: &Desk, id: &str) -> String {
    let shown = |name: &str| {
        let sheet = desk.plan().sheet("modules")?;
        let row = desk.plan().find(sheet, id)?;
        let column = desk.engine().find_column(sheet, name)?;
        let text = desk.engine().shown(desk.plan(), column, row);
        Some(text).filter(|text| !text.is_empty())
    };
    match (shown("link"), shown("end"), shown("verdict")) {
        (Some(link), Some(end), Some(verdict)) => {
            format!("{end} end of {link}; verdict {verdict}")
        }
        (_, _, _) => format!(
            "at no link yet: portledger set PLAN modules {id} link ... and the same for `end`"
        ),
    }
}

/// What `--map` says about headings.
fn mappings(map: &[String]) -> Result<Vec<(String, String)>, Problem> {
    map.iter().map(|text| mapping(text)).collect()
}

/// `HEADING=column` or `HEADING=column:unit`, split at the last equals sign.
fn mapping(text: &str) -> Result<(String, String), Problem> {
    let (heading, column) = text.rsplit_once('=').ok_or_else(|| {
        Problem::new(
            "map-form",
            format!("`{text}` does not say what a heading means"),
        )
        .help("write the heading and the column, for example --map 'Cable Len=length:ft'")
    })?;
    Ok((heading.to_owned(), column.to_owned()))
}
