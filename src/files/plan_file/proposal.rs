//! Proposals as the elements `[[proposal]]` of a plan file, their changes as a block of CSV.
//!
//! Both ways. What a change comes to is known to the plan; one that does not fit is kept and told.

use super::extras;
use super::read::{Opening, Value, understood};
use super::toml_text::push_block;
use super::write::pair;
use crate::files::table_text::TableText;
use crate::files::table_text::push_row;
use crate::plan::Alteration;
use crate::plan::Edit;
use crate::plan::Plan;
use crate::plan::Proposal;
use crate::problem::Problem;
use serde::Deserialize;
use std::borrow::Cow;
use std::fmt::Write;
use toml::de::DeTable;

/// The list of tables.
const LIST: &str = "proposal";

const KEYS: [&str; 4] = ["name", "note", "on", "changes"];

/// The headings of a block of changes; the last only where something stands under it.
const HEADINGS: [&str; 6] = ["change", "sheet", "row", "column", "value", "source"];

#[derive(Deserialize)]
struct Element {
    name: String,
    #[serde(default)]
    note: String,
    on: Option<String>,
    #[serde(default)]
    changes: String,
}

impl Opening<'_> {
    /// Reads one proposal; whether its changes fit is looked at when the rows are there.
    pub(super) fn proposal(
        &mut self,
        element: &Value<'_>,
        table: &DeTable<'_>,
    ) -> Result<(), Problem> {
        let own: Element = understood(element)?;
        let proposal = Proposal {
            changes: changes(&own.changes)?,
            name: own.name.clone(),
            note: own.note,
            on: own.on,
        };
        if proposal.name.trim().is_empty() {
            return Err(Problem::new("no-name", "a proposal needs a name"));
        }
        self.plan.apply(Edit::SetProposal {
            // No proposal has this name, so none goes.
            name: String::new(),
            proposal: Some((self.plan.proposals().len(), proposal)),
        })?;
        self.unknown_keys(&of_proposal(&own.name), table, &KEYS)
    }

    /// What does not fit in the proposals.
    pub(super) fn misfits(&self) -> Vec<Problem> {
        let all = self.plan.proposals().iter();
        all.flat_map(|proposal| match self.plan.stack(&proposal.name) {
            Ok(_) => self.plan.unfit(proposal),
            Err(mut problem) => {
                let name = &proposal.name;
                problem.message = format!("proposal `{name}` has no effect: {}", problem.message);
                vec![problem]
            }
        })
        .collect()
    }
}

/// The table of keys nobody knows.
fn of_proposal(name: &str) -> String {
    format!("{LIST} {name}")
}

/// The changes in a block.
fn changes(text: &str) -> Result<Vec<Alteration>, Problem> {
    let (mut table, mut cells) = (TableText::new(text, ','), Vec::new());
    let (mut headings, mut out) = (None, Vec::new());
    while let Some(at) = table.next_row(&mut cells) {
        if at.open {
            return Err(Problem::new(
                "quote-open",
                format!("a quote in line {} of the changes is never closed", at.line),
            ));
        }
        match &headings {
            _ if cells.is_empty() => {}
            None => headings = Some(columns(&cells)?),
            Some(columns) => out.push(change(columns, &cells, at.line)?),
        }
    }
    Ok(out)
}

/// For each heading its position in [`HEADINGS`].
fn columns(cells: &[Cow<'_, str>]) -> Result<Vec<usize>, Problem> {
    let known = |cell: &Cow<'_, str>| {
        let at = HEADINGS.iter().position(|heading| *heading == cell.trim());
        at.ok_or_else(|| {
            Problem::new(
                "change-heading",
                format!("no heading of changes is called `{}`", cell.trim()),
            )
            .did_you_mean(cell, HEADINGS)
            .help(format!("the headings are: {}", HEADINGS.join(",")))
        })
    };
    let columns: Vec<usize> = cells.iter().map(known).collect::<Result<_, _>>()?;
    match columns.contains(&0) {
        true => Ok(columns),
        false => Err(
            Problem::new("change-heading", "the changes have no heading `change`")
                .help(format!("the headings are: {}", HEADINGS.join(","))),
        ),
    }
}

fn change(columns: &[usize], cells: &[Cow<'_, str>], line: usize) -> Result<Alteration, Problem> {
    if cells.len() > columns.len() {
        return Err(Problem::new(
            "change-too-long",
            format!("line {line} of the changes has more cells than headings"),
        )
        .help("put a value with commas in quotes"));
    }
    let mut change = Alteration::default();
    for (column, cell) in columns.iter().zip(cells) {
        if let Some(field) = fields_mut(&mut change).into_iter().nth(*column) {
            *field = cell.clone().into_owned();
        }
    }
    Ok(change)
}

/// The fields in the order of [`HEADINGS`].
fn fields_mut(change: &mut Alteration) -> [&mut String; HEADINGS.len()] {
    let Alteration {
        kind,
        sheet,
        row,
        column,
        value,
        source,
    } = change;
    [kind, sheet, row, column, value, source]
}

/// Writes all proposals.
pub(super) fn push(out: &mut String, plan: &Plan) {
    for proposal in plan.proposals() {
        let _ = write!(out, "\n[[{LIST}]]\n");
        pair(out, "name", &proposal.name);
        if !proposal.note.is_empty() {
            pair(out, "note", &proposal.note);
        }
        if let Some(on) = &proposal.on {
            pair(out, "on", on);
        }
        extras::push_lines(out, plan, &of_proposal(&proposal.name));
        if !proposal.changes.is_empty() {
            out.push_str("changes = ");
            push_block(out, &changes_text(&proposal.changes));
            out.push('\n');
        }
    }
    extras::push_elements(out, plan, LIST);
}

/// Changes as a block.
fn changes_text(changes: &[Alteration]) -> String {
    let mut text = String::new();
    let has_source = changes.iter().any(|change| !change.source.is_empty());
    let n_columns = HEADINGS.len() - usize::from(!has_source);
    push_row(
        &mut text,
        HEADINGS[..n_columns].iter().copied().map(Cow::Borrowed),
    );
    for change in changes {
        let fields = [
            &change.kind,
            &change.sheet,
            &change.row,
            &change.column,
            &change.value,
            &change.source,
        ];
        let fields = fields.into_iter().take(n_columns);
        push_row(&mut text, fields.map(|field| Cow::Borrowed(field.as_str())));
    }
    text
}
