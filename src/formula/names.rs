//! What a name in a formula means: a column, a chain of references, an assumption, a word.

use super::check::{Checker, Site, typed};
use super::typed::{Node, Typed};
use super::{ColumnInfo, Span, Ty};
use crate::problem::Problem;
use crate::table::SheetId;
use crate::units::Measure;

/// The first part of the name of an assumption.
const ASSUME: &str = "assume";

/// A part of a dotted name and where it ends.
struct Step<'n> {
    name: &'n str,
    span: Span,
}

/// The parts of a dotted name.
fn steps<'n>(name: &'n str, span: &Span) -> Vec<Step<'n>> {
    let mut start = span.start;
    name.split('.')
        .map(|part| {
            let at = start..start + part.len();
            start = at.end + 1;
            Step {
                name: part,
                span: at,
            }
        })
        .collect()
}

impl Checker<'_> {
    /// The typed part of a name.
    pub fn name(&mut self, name: &str, span: &Span, site: Site<'_>) -> Option<Typed> {
        if let Some(word) = word(name, span) {
            return Some(word);
        }
        let steps = steps(name, span);
        let (first, rest) = steps.split_first()?;
        if first.name == ASSUME && !rest.is_empty() {
            return self.assumption(rest, span);
        }
        let (start, rest) = self.start(first, rest, site)?;
        let mut part = start;
        for step in rest {
            part = self.fetch(part, step, span.start)?;
        }
        Some(part)
    }

    fn assumption(&mut self, rest: &[Step<'_>], span: &Span) -> Option<Typed> {
        let [only] = rest else {
            return self.refuse(
                Problem::new("name-unknown", "an assumption has one name after `assume.`")
                    .at(span.clone(), ""),
            );
        };
        if let Some(info) = self.scope.assumption(only.name) {
            return Some(typed(span, info.ty, Node::Assumption(info.id)));
        }
        let problem = Problem::new(
            "name-unknown",
            format!("unknown assumption `{}`", only.name),
        )
        .at(only.span.clone(), "")
        .did_you_mean(only.name, self.scope.assumption_names());
        self.refuse(problem)
    }

    /// The part that the first name means, and the names that are left to follow.
    fn start<'n>(
        &mut self,
        first: &Step<'n>,
        rest: &'n [Step<'n>],
        site: Site<'_>,
    ) -> Option<(Typed, &'n [Step<'n>])> {
        match site {
            Site::Row(sheet) => Some((self.of_row(first, rest, sheet)?, rest)),
            Site::Body(function, types) => {
                let at = function.params.iter().position(|p| p.name == first.name);
                let found = at.and_then(|at| Some((at, *types.get(at)?)));
                match found {
                    Some((at, ty)) => Some((typed(&first.span, ty, Node::Parameter(at)), rest)),
                    None => self.refuse(
                        Problem::new("name-unknown", format!("unknown name `{}`", first.name))
                            .at(first.span.clone(), ""),
                    ),
                }
            }
            Site::Over(over, call) => self.of_over(first, rest, over, call),
        }
    }

    /// A name of the formula's own row.
    fn of_row(
        &mut self,
        first: &Step<'_>,
        rest: &[Step<'_>],
        sheet: Option<SheetId>,
    ) -> Option<Typed> {
        if first.name == "this" {
            return match sheet {
                Some(sheet) => Some(typed(&first.span, Ty::Row(sheet), Node::This)),
                None => self.refuse(
                    Problem::new("no-row", "there is no row here that `this` could be")
                        .at(first.span.clone(), ""),
                ),
            };
        }
        match sheet.and_then(|sheet| self.scope.column(sheet, first.name)) {
            Some(column) => Some(as_column(&first.span, &column)),
            None => {
                let problem = self.unknown(first, rest, sheet);
                self.refuse(problem)
            }
        }
    }

    fn unknown(&self, first: &Step<'_>, rest: &[Step<'_>], sheet: Option<SheetId>) -> Problem {
        let name = first.name;
        if self.scope.sheet(name).is_some() {
            let problem = Problem::new("sheet-name", format!("`{name}` is a sheet, not one row"))
                .at(first.span.clone(), "");
            let column = rest.first().map_or("column", |step| step.name);
            return problem.help(format!(
                "say which rows: total({name}.{column}, condition), tally, largest or smallest"
            ));
        }
        let problem = Problem::new("name-unknown", format!("unknown name `{name}`"))
            .at(first.span.clone(), "");
        if self.scope.assumption(name).is_some() {
            return problem.help(format!("for the assumption write `{ASSUME}.{name}`"));
        }
        if self.library.get(name).is_some() {
            return problem.help(format!("to call the function write `{name}(...)`"));
        }
        match sheet {
            Some(sheet) => problem.did_you_mean(name, self.scope.column_names(sheet)),
            None => {
                problem.help("without a sheet only numbers, texts and assumptions have a value")
            }
        }
    }

    /// A name inside an aggregate: a column of the sheet that is gone through.
    fn of_over<'n>(
        &mut self,
        first: &Step<'n>,
        rest: &'n [Step<'n>],
        over: SheetId,
        call: &str,
    ) -> Option<(Typed, &'n [Step<'n>])> {
        let sheet = self.scope.sheet_name(over);
        if first.name != sheet {
            let name = first.name;
            let is_column = self.scope.column(over, name).is_some();
            let problem = Problem::new(
                "not-of-sheet",
                format!("`{name}` is no column of `{sheet}`, whose rows `{call}` goes through"),
            )
            .at(first.span.clone(), "");
            return self.refuse(if is_column {
                problem.help(format!("for the column of each row write `{sheet}.{name}`"))
            } else {
                problem.help(format!(
                    "the own row may stand only in one `{sheet}.key == this` or `== reference`"
                ))
            });
        }
        let Some((column, rest)) = rest.split_first() else {
            return self.refuse(
                Problem::new("sheet-name", format!("`{sheet}` is a sheet, not a value"))
                    .at(first.span.clone(), "")
                    .help(format!("name a column of it: `{sheet}.column`")),
            );
        };
        let info = self.column_of(over, column)?;
        let span = first.span.start..column.span.end;
        Some((as_column(&span, &info), rest))
    }

    /// A column of a sheet, or a problem with the near name.
    pub(super) fn column_in(
        &mut self,
        sheet: SheetId,
        name: &str,
        span: &Span,
    ) -> Option<ColumnInfo> {
        if let Some(info) = self.scope.column(sheet, name) {
            return Some(info);
        }
        let of = self.scope.sheet_name(sheet);
        let problem = Problem::new("name-unknown", format!("no column `{name}` in `{of}`"))
            .at(span.clone(), "")
            .did_you_mean(name, self.scope.column_names(sheet));
        self.refuse(problem)
    }

    fn column_of(&mut self, sheet: SheetId, step: &Step<'_>) -> Option<ColumnInfo> {
        self.column_in(sheet, step.name, &step.span)
    }

    /// The column of the row that a part gives.
    fn fetch(&mut self, part: Typed, step: &Step<'_>, start: usize) -> Option<Typed> {
        let Ty::Row(sheet) = part.ty else {
            let is = self.word(part.ty);
            let name = self.source.get(part.span.clone()).unwrap_or_default();
            let problem = Problem::new(
                "not-a-reference",
                format!("`{name}` is {is}, it has no `{}`", step.name),
            )
            .at(step.span.clone(), "")
            .help("a dot follows a column that points to a row of another sheet");
            return self.refuse(problem);
        };
        let info = self.column_of(sheet, step)?;
        let span = start..step.span.end;
        if matches!(part.node, Node::This) {
            return Some(as_column(&span, &info));
        }
        let node = Node::Fetch {
            row: Box::new(part),
            column: info.id,
            entered: info.entered,
        };
        Some(typed(&span, info.ty, node))
    }
}

fn as_column(span: &Span, info: &ColumnInfo) -> Typed {
    let node = Node::Column {
        id: info.id,
        entered: info.entered,
    };
    typed(span, info.ty, node)
}

/// The words that are values of their own.
fn word(name: &str, span: &Span) -> Option<Typed> {
    match name {
        "yes" => Some(typed(span, Ty::Flag, Node::Flag(true))),
        "no" => Some(typed(span, Ty::Flag, Node::Flag(false))),
        "missing" => Some(typed(span, Ty::Number(Measure::NUMBER), Node::Missing)),
        _ => None,
    }
}

/// Whether a name is of the sheet named, of the formula's own row, or of neither.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Owner {
    /// `links.speed` where `links` is meant.
    Sheet,
    /// `speed`, `this`.
    Row,
    /// `assume.reserve`, `yes`.
    Neither,
}

/// Whose name it is, seen from an aggregate over the sheet.
pub(super) fn owner(name: &str, sheet: &str) -> Owner {
    match name.split_once('.') {
        Some((ASSUME, _)) => Owner::Neither,
        Some((first, _)) if first == sheet => Owner::Sheet,
        _ if matches!(name, "yes" | "no" | "missing") => Owner::Neither,
        _ => Owner::Row,
    }
}
