//! What the program knows: tables, functions, completions, manual.

use super::Outcome;
use super::args::{Form, Line};
use super::look::{assumption_table, sheet_table};
use super::pick;
use super::print::Printer;
use super::table::Table;
use crate::desk::Desk;
use crate::formula::Function;
use crate::problem::Problem;
use crate::table::ColumnId;
use clap::CommandFactory;
use clap_complete::Shell;

/// Lists sheets and tables, or shows one table with its sources.
pub fn tables(name: Option<&str>, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = Desk::empty("")?;
    match name {
        Some("assume") => assumption_table(&desk).write(form, out),
        Some(name) => {
            let sheet = pick::sheet(&desk, name)?;
            match desk.plan().def(sheet).reference {
                true => {
                    let n_columns = desk.plan().def(sheet).columns.len();
                    let columns: Vec<ColumnId> = (0..n_columns)
                        .map(|at| desk.engine().column(sheet, at))
                        .collect();
                    sheet_table(&desk, sheet, &columns, desk.plan().rows(sheet).order())
                        .write(form, out);
                }
                false => column_list(&desk, sheet.at()).write(form, out),
            }
        }
        None => match form {
            Form::Table => write_sheets(&desk, out),
            Form::Csv | Form::Json => sheet_list(&desk).write(form, out),
        },
    }
    Ok(Outcome::Quiet)
}

/// What each sheet holds, with its columns.
fn sheets(desk: &Desk) -> Vec<Vec<String>> {
    let sheets = desk.plan().schema().iter().map(|sheet| {
        let kind = if sheet.reference {
            "table with sources"
        } else {
            "sheet of a plan"
        };
        let columns: Vec<&str> = sheet.columns.iter().map(|c| c.name.as_str()).collect();
        [&sheet.name, kind, &sheet.doc, &columns.join(", ")]
            .map(str::to_owned)
            .to_vec()
    });
    let assume = [
        "assume",
        "table with sources",
        "The assumptions that a plan starts with; each may be set.",
        "value, source",
    ];
    let assume = assume.map(str::to_owned).to_vec();
    sheets.chain([assume]).collect()
}

/// The sheets for a person: columns under what the sheet holds.
fn write_sheets(desk: &Desk, out: &mut Printer) {
    const INDENT: usize = 12;
    for sheet in sheets(desk) {
        let name = format!("{:<INDENT$}", sheet[0]);
        out.wrapped(&name, INDENT, &format!("{} ({})", sheet[2], sheet[1]));
        out.wrapped(&" ".repeat(INDENT), INDENT, &sheet[3]);
    }
}

fn sheet_list(desk: &Desk) -> Table<'_> {
    Table::of_texts(&["name", "kind", "what it holds", "columns"], sheets(desk))
}

fn column_list(desk: &Desk, sheet: usize) -> Table<'_> {
    let row = |column: &crate::sheet::ColumnDef| {
        let formula = column.formula.as_deref().unwrap_or("entered");
        [
            &column.name,
            &column.unit,
            formula,
            &column.source,
            &column.doc,
        ]
        .map(str::to_owned)
        .to_vec()
    };
    let columns = desk.plan().schema()[sheet].columns.iter();
    Table::of_texts(
        &["column", "unit", "formula", "source", "what it holds"],
        columns.map(row).collect(),
    )
}

/// Lists the functions, or explains one.
pub fn functions(
    name: Option<&str>,
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = Desk::empty("")?;
    let library = &desk.engine().knowledge().library;
    let told: Vec<&Function> = match name {
        None => library.iter().collect(),
        Some(name) => vec![library.get(name).ok_or_else(|| {
            Problem::new("function-unknown", format!("there is no function `{name}`"))
                .did_you_mean(name, library.names())
                .help("see them all with: portledger functions")
        })?],
    };
    match (form, name, told.first()) {
        (Form::Table, None, _) => function_list(&told).write(form, out),
        (Form::Table, Some(_), Some(function)) => function_page(function).write(form, out),
        (Form::Table, Some(_), None) | (Form::Csv | Form::Json, _, _) => {
            function_records(&told).write(form, out);
        }
    }
    Ok(Outcome::Quiet)
}

/// The functions for a person, a line each.
fn function_list(told: &[&Function]) -> Table<'static> {
    let row = |function: &&Function| vec![function.signature(), function.doc.to_owned()];
    Table::of_texts(
        &["function", "what it gives"],
        told.iter().map(row).collect(),
    )
}

/// Functions for programs: one row a function, everything in it.
fn function_records(told: &[&Function]) -> Table<'static> {
    let row = |function: &&Function| {
        [
            function.name,
            &function.signature(),
            function.doc,
            &arguments(function).join("; "),
            function.source,
            function.example.0,
            function.example.1,
            function.workbook,
        ]
        .map(str::to_owned)
        .to_vec()
    };
    let names = [
        "name",
        "form",
        "gives",
        "arguments",
        "source",
        "example",
        "result",
        "workbook",
    ];
    Table::of_texts(&names, told.iter().map(row).collect())
}

fn arguments(function: &Function) -> Vec<String> {
    let told = function.params.iter();
    told.map(|param| format!("{}: {}", param.name, param.doc))
        .collect()
}

/// One function for a person, a line for each thing there is to say.
fn function_page(function: &Function) -> Table<'static> {
    let mut rows = vec![
        ("form", function.signature()),
        ("gives", function.doc.to_owned()),
        ("source", function.source.to_owned()),
    ];
    rows.extend(arguments(function).into_iter().map(|arg| ("argument", arg)));
    let (formula, result) = function.example;
    let example = if result.is_empty() {
        formula.to_owned()
    } else {
        format!("{formula} gives {result}")
    };
    rows.push(("example", example));
    if !function.workbook.is_empty() {
        rows.push(("in a workbook", function.workbook.to_owned()));
    }
    let rows = rows.into_iter();
    Table::of_texts(
        &["about", function.name],
        rows.map(|(about, text)| vec![about.to_owned(), text])
            .collect(),
    )
}

/// Writes completions for a shell.
pub fn completions(shell: Shell, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Line::command(), "portledger", &mut script);
    out.raw(&String::from_utf8_lossy(&script));
    Ok(Outcome::Quiet)
}

/// How wide the help of a command stands in the manual page, so that it fits 80 columns.
const MANUAL_WIDTH: usize = 72;

/// What a formula may hold, a paragraph each.
const FORMULAS: [&str; 6] = [
    "A formula belongs to a column and names columns, never cells: loss_limit - loss.",
    "Quantities carry their unit: 100 m, 0.35 dB/km, -3 dBm, 10 Gb/s, 5 %. Units are checked \
     before anything is computed; a level in dBm and an amount in dB are two kinds.",
    "Operators: + - * / ^, == != < <= > >=, and, or, not.",
    "A dotted name follows a reference: medium.attenuation, from.ratio. An assumption is \
     assume.reserve.",
    "Rows of another sheet: total(links.capacity, links.from == this), and so with tally, \
     largest, smallest and mean.",
    "A missing input makes a missing result, never zero; first_given(a, b) says what counts \
     instead.",
];

/// The sections of the manual page that say how a command ends.
const EXIT_STATUS: [(&str, &str); 3] = [
    ("0", "Nothing to report."),
    (
        "1",
        "There are findings of severity stop (check), or an edit brought one (set).",
    ),
    ("2", "It could not be done; the error stream says why."),
];

/// Writes the manual page, with a section for each command and the functions.
pub fn manual(out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = Desk::empty("")?;
    out.raw(&front_matter());
    out.line(".SH COMMANDS");
    for sub in Line::command().get_subcommands() {
        let sub = sub.clone().term_width(MANUAL_WIDTH);
        let name = format!("portledger {}", sub.get_name());
        let help = sub.clone().bin_name(name).render_long_help();
        let help = roff(help.to_string().trim_end());
        out.line(&format!(".SS {}\n.nf\n{help}\n.fi", sub.get_name()));
    }
    out.line(".SH FORMULAS");
    for paragraph in FORMULAS {
        out.line(&format!(".PP\n{}", roff(paragraph)));
    }
    out.line(".SH FUNCTIONS");
    for function in desk.engine().knowledge().library.iter() {
        let text = format!("{} ({})", function.doc, function.source);
        out.line(&entry(&function.signature(), &text));
    }
    out.line(".SH EXIT STATUS");
    for (code, meaning) in EXIT_STATUS {
        out.line(&entry(code, meaning));
    }
    Ok(Outcome::Quiet)
}

/// Title, name, synopsis, description and options of the page.
fn front_matter() -> String {
    let page = clap_mangen::Man::new(Line::command());
    let mut text = Vec::new();
    // Rendering into memory cannot fail.
    let _ = page.render_title(&mut text);
    let _ = page.render_name_section(&mut text);
    let _ = page.render_synopsis_section(&mut text);
    let _ = page.render_description_section(&mut text);
    let _ = page.render_options_section(&mut text);
    String::from_utf8_lossy(&text).into_owned()
}

/// A word of the manual page with what is said about it.
fn entry(word: &str, text: &str) -> String {
    format!(".TP\n\\fB{}\\fR\n{}", roff(word), roff(text))
}

/// Text that a manual page shows as it is.
fn roff(text: &str) -> String {
    let escaped = text.replace('\\', "\\e").replace('-', "\\-");
    let lines = escaped
        .lines()
        .map(|line| match line.starts_with(['.', '\'']) {
            true => format!("\\&{line}"),
            false => line.to_owned(),
        });
    lines.collect::<Vec<_>>().join("\n")
}
