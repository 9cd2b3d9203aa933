//! What the program knows: tables, functions, completions, manual.

use super::Outcome;
use super::args::{Form, Line};
use super::look::sheet_table;
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
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
        Some("assume") => assumptions(&desk).write(form, out),
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
        None => sheet_list(&desk).write(form, out),
    }
    Ok(Outcome::Quiet)
}

fn sheet_list(desk: &Desk) -> Table {
    let mut rows: Vec<Vec<Datum>> = desk
        .plan()
        .schema()
        .iter()
        .map(|sheet| {
            let kind = if sheet.reference {
                "table with sources"
            } else {
                "sheet of a plan"
            };
            vec![
                Datum::text(&sheet.name),
                Datum::text(kind),
                Datum::text(&sheet.doc),
            ]
        })
        .collect();
    rows.push(vec![
        Datum::text("assume"),
        Datum::text("table with sources"),
        Datum::text("The assumptions that a plan starts with; each may be set."),
    ]);
    Table {
        headings: ["name", "kind", "what it holds"]
            .map(Heading::text)
            .to_vec(),
        rows,
    }
}

fn column_list(desk: &Desk, sheet: usize) -> Table {
    let row = |column: &crate::sheet::ColumnDef| {
        let formula = column
            .formula
            .clone()
            .unwrap_or_else(|| "entered".to_owned());
        [
            &column.name,
            &column.unit,
            &formula,
            &column.source,
            &column.doc,
        ]
        .map(Datum::text)
        .to_vec()
    };
    Table {
        headings: ["column", "unit", "formula", "source", "what it holds"]
            .map(Heading::text)
            .to_vec(),
        rows: desk.plan().schema()[sheet]
            .columns
            .iter()
            .map(row)
            .collect(),
    }
}

fn assumptions(desk: &Desk) -> Table {
    let row = |assumption: &crate::plan::Assumption| {
        let value = assumption.entry.text(&assumption.unit, desk.plan().names());
        let def = &assumption.def;
        [
            &def.name,
            &value,
            &assumption.unit.symbol,
            &assumption.source,
            &def.confidence,
            &def.doc,
        ]
        .map(Datum::text)
        .to_vec()
    };
    Table {
        headings: [
            "name",
            "value",
            "unit",
            "source",
            "confidence",
            "what it does",
        ]
        .map(Heading::text)
        .to_vec(),
        rows: desk.plan().assumptions().iter().map(row).collect(),
    }
}

/// Lists the functions, or explains one.
pub fn functions(
    name: Option<&str>,
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = Desk::empty("")?;
    let library = &desk.engine().knowledge().library;
    let Some(name) = name else {
        let row = |function: &Function| {
            vec![Datum::text(function.signature()), Datum::text(function.doc)]
        };
        let table = Table {
            headings: ["function", "what it gives"].map(Heading::text).to_vec(),
            rows: library.iter().map(row).collect(),
        };
        table.write(form, out);
        return Ok(Outcome::Quiet);
    };
    let function = library.get(name).ok_or_else(|| {
        Problem::new("function-unknown", format!("there is no function `{name}`"))
            .did_you_mean(name, library.names())
            .help("see them all with: portledger functions")
    })?;
    function_table(function).write(form, out);
    Ok(Outcome::Quiet)
}

fn function_table(function: &Function) -> Table {
    let mut rows = vec![
        ("form", function.signature()),
        ("gives", function.doc.to_owned()),
        ("source", function.source.to_owned()),
    ];
    for param in &function.params {
        rows.push(("argument", format!("{}: {}", param.name, param.doc)));
    }
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
    Table {
        headings: ["about", function.name].map(Heading::text).to_vec(),
        rows: rows
            .into_iter()
            .map(|(about, text)| vec![Datum::text(about), Datum::text(text)])
            .collect(),
    }
}

/// Writes completions for a shell.
pub fn completions(shell: Shell, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Line::command(), "portledger", &mut script);
    out.raw(&String::from_utf8_lossy(&script));
    Ok(Outcome::Quiet)
}

/// Writes the manual page, with a section for each command and the functions.
pub fn manual(out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let command = Line::command();
    let mut page = Vec::new();
    // Rendering into memory cannot fail.
    let _ = clap_mangen::Man::new(command.clone()).render(&mut page);
    let mut text = String::from_utf8_lossy(&page).into_owned();
    text.push_str(".SH \"COMMANDS IN FULL\"\n");
    for sub in command.get_subcommands() {
        let help = sub.clone().render_long_help().to_string();
        text.push_str(&format!(
            ".SS {}\n.nf\n{}\n.fi\n",
            sub.get_name(),
            roff(&help)
        ));
    }
    text.push_str(".SH FUNCTIONS\n");
    let desk = Desk::empty("")?;
    for function in desk.engine().knowledge().library.iter() {
        text.push_str(&format!(
            ".TP\n\\fB{}\\fR\n{} ({})\n",
            roff(&function.signature()),
            roff(function.doc),
            roff(function.source)
        ));
    }
    out.raw(&text);
    Ok(Outcome::Quiet)
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
