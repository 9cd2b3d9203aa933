//! Which differences are taken, and the one edit that they make.

use super::{Class, Comparison, Difference, Take};
use crate::plan::Edit;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::table::{ParamId, RowId, SheetId};
use std::collections::BTreeMap;

/// The source of an assumption whose value was taken without one.
const FROM_WORKBOOK: &str = "set in a returned workbook";

/// A part of the differences.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Choice {
    /// Those of a class.
    Class(Class),
    /// Those of a row, or of an assumption; of one sheet alone where it is named.
    Row(Option<String>, String),
    /// Those of a column, by its name.
    Column(String),
}

impl Choice {
    /// What a word means: a class, `row:ID`, `row:SHEET/ID` or `column:NAME`.
    ///
    /// # Errors
    /// Another word, or a class that cannot be taken.
    pub fn of_word(word: &str) -> Result<Self, Problem> {
        let word = word.trim();
        if let Some(row) = word.strip_prefix("row:") {
            return Ok(match row.split_once('/') {
                Some((sheet, id)) if !sheet.contains(' ') => {
                    Self::Row(Some(sheet.trim().to_owned()), id.trim().to_owned())
                }
                Some(_) | None => Self::Row(None, row.trim().to_owned()),
            });
        }
        if let Some(column) = word.strip_prefix("column:") {
            return Ok(Self::Column(column.trim().to_owned()));
        }
        let can = [
            Class::Theirs,
            Class::Conflict,
            Class::New,
            Class::Missing,
            Class::Duplicate,
        ];
        let found = can.into_iter().find(|class| class.word() == word);
        found.map(Self::Class).ok_or_else(|| {
            let words = can.map(Class::word);
            let list = format!("write one of: {}, row:ID, column:NAME", words.join(", "));
            Problem::new("no-such-choice", format!("`{word}` cannot be accepted"))
                .did_you_mean(word, words)
                .help(list)
        })
    }

    fn picks(&self, one: &Difference) -> bool {
        let is_row = |id: &str| one.row.eq_ignore_ascii_case(id);
        match self {
            Self::Class(class) => one.class == *class,
            // An id may have a stroke in it.
            Self::Row(Some(sheet), id) => {
                (one.sheet.eq_ignore_ascii_case(sheet) && is_row(id))
                    || is_row(&format!("{sheet}/{id}"))
            }
            Self::Row(None, id) => is_row(id),
            Self::Column(name) => one.column.eq_ignore_ascii_case(name),
        }
    }
}

/// The positions of the differences that are picked and can be taken.
///
/// # Errors
/// A row or a column of which no difference is told, unless there is none at all.
pub fn chosen(found: &Comparison, choices: &[Choice]) -> Result<Vec<usize>, Problem> {
    for choice in choices {
        let name = match choice {
            Choice::Class(_) => continue,
            Choice::Row(Some(sheet), id) => format!("row `{sheet}/{id}`"),
            Choice::Row(None, id) => format!("row `{id}`"),
            Choice::Column(name) => format!("column `{name}`"),
        };
        if found.n_open() > 0 && !found.differences.iter().any(|one| choice.picks(one)) {
            let what = format!("the workbook changes nothing in {name}");
            return Err(Problem::new("nothing-there", what)
                .help("see what it changes by leaving --accept out"));
        }
    }
    let all = found.differences.iter().enumerate();
    let picked =
        all.filter(|(_, one)| one.is_open() && choices.iter().any(|choice| choice.picks(one)));
    Ok(picked.map(|(at, _)| at).collect())
}

/// One edit that takes differences by their positions; none where none of them can be taken.
pub fn edit_of(plan: &Plan, found: &Comparison, taken: &[usize]) -> Option<Edit> {
    let mut all = Parts::default();
    for at in taken {
        if let Some(one) = found.differences.get(*at) {
            all.take(plan, &one.take);
        }
    }
    let cells = all.cells.into_iter();
    let mut edits: Vec<Edit> = cells
        .map(|(sheet, cells)| Edit::SetCells { sheet, cells })
        .collect();
    let mut n_left: BTreeMap<SheetId, usize> = BTreeMap::new();
    for (sheet, rows) in all.removed {
        n_left.insert(
            sheet,
            plan.rows(sheet).order().len().saturating_sub(rows.len()),
        );
        edits.push(Edit::RemoveRows { sheet, rows });
    }
    for (sheet, rows) in all.added {
        let at = n_left.get(&sheet).copied();
        let at = at.unwrap_or_else(|| plan.rows(sheet).order().len());
        edits.push(Edit::AddRows { sheet, at, rows });
    }
    edits.extend(all.assumed.into_values());
    (!edits.is_empty()).then_some(Edit::Group(edits))
}

type Cells = Vec<((usize, RowId), crate::plan::Entry)>;
type NewRow = Vec<(usize, crate::plan::Entry)>;

/// What is taken, by the edits that it becomes.
#[derive(Default)]
struct Parts {
    cells: BTreeMap<SheetId, Cells>,
    added: BTreeMap<SheetId, Vec<NewRow>>,
    removed: BTreeMap<SheetId, Vec<RowId>>,
    assumed: BTreeMap<ParamId, Edit>,
}

impl Parts {
    fn take(&mut self, plan: &Plan, take: &Take) {
        match take {
            Take::Nothing => {}
            Take::Cell(sheet, row, column, value) => {
                let cells = self.cells.entry(*sheet).or_default();
                cells.push(((*column, *row), value.entry(plan)));
            }
            Take::Add(sheet, cells) => {
                let cells = cells
                    .iter()
                    .map(|(column, value)| (*column, value.entry(plan)));
                self.added.entry(*sheet).or_default().push(cells.collect());
            }
            Take::Remove(sheet, row) => self.removed.entry(*sheet).or_default().push(*row),
            Take::Assume(param, value, given) => {
                if let Edit::SetAssumption {
                    entry, source, own, ..
                } = self.assume(plan, *param)
                {
                    *entry = value.entry(plan);
                    // The source of the value before is none of this one.
                    *source = given.clone().unwrap_or_else(|| FROM_WORKBOOK.to_owned());
                    *own = true;
                }
            }
            Take::Source(param, text) => {
                if let Edit::SetAssumption { source, own, .. } = self.assume(plan, *param) {
                    *source = text.clone();
                    *own = true;
                }
            }
        }
    }

    /// The edit of an assumption, which as yet changes nothing.
    fn assume(&mut self, plan: &Plan, param: ParamId) -> &mut Edit {
        self.assumed.entry(param).or_insert_with(|| {
            let known = &plan.assumptions()[param.at()];
            Edit::SetAssumption {
                param,
                entry: known.entry.clone(),
                source: known.source.clone(),
                own: known.own,
            }
        })
    }
}
