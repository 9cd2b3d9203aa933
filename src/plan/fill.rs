//! Many rows put under a sheet at once, for reading files.
//!
//! Not an edit: there is nothing to take back while a plan is being opened.

use super::{Plan, empty_column};
use crate::problem::Problem;
use crate::table::ABSENT;
use crate::table::Column;
use crate::table::RowId;
use crate::table::SheetId;
use std::mem::discriminant;

/// New rows by column; columns that are not listed stay empty.
#[derive(Debug, Default)]
pub struct Filling {
    /// How many rows.
    pub n_rows: usize,
    /// Position of a column with its values, one a row; texts as codes of the plan's names.
    pub columns: Vec<(usize, Column)>,
    /// Texts that could not be read: column, row among the new ones, text.
    pub wrong: Vec<(usize, usize, String)>,
}

impl Plan {
    /// Adds rows at the end of a sheet, whole or not at all.
    ///
    /// # Errors
    /// A column that is not entered or holds another kind of value, values that are not one a
    /// row, or more rows than there are numbers for.
    pub fn fill(&mut self, sheet: SheetId, filling: Filling) -> Result<(), Problem> {
        for (column, values) in &filling.columns {
            self.must_be_entered(sheet, *column)?;
            let kind = discriminant(&empty_column(self.column(sheet, *column)));
            if kind != discriminant(values) || values.len() != filling.n_rows {
                return Err(misfit(&self.column(sheet, *column).name));
            }
        }
        for (column, row, text) in &filling.wrong {
            self.must_be_entered(sheet, *column)?;
            if *row >= filling.n_rows {
                return Err(misfit(text));
            }
        }
        self.sheets[sheet.at()].fill(filling)
    }
}

impl super::Rows {
    fn fill(&mut self, filling: Filling) -> Result<(), Problem> {
        let first = self.rank.len();
        let n_after = u32::try_from(first + filling.n_rows)
            .ok()
            .filter(|n| *n < ABSENT)
            .ok_or_else(|| Problem::new("too-many-rows", "there are too many rows"))?;
        for (column, values) in filling.columns {
            append(&mut self.cells[column], values);
        }
        for column in &mut self.cells {
            column.resize(n_after as usize);
        }
        let place = |row: usize| RowId(u32::try_from(first + row).unwrap_or(ABSENT));
        for row in 0..filling.n_rows {
            self.rank
                .push(u32::try_from(self.order.len()).unwrap_or(ABSENT));
            self.order.push(place(row));
        }
        for (column, row, text) in filling.wrong {
            self.wrong.insert((column, place(row)), text);
        }
        Ok(())
    }
}

/// Puts values behind those of a column of the same kind.
fn append(column: &mut Column, values: Column) {
    if column.is_empty() {
        *column = values.narrowed();
        return;
    }
    match (column, values) {
        (Column::Numbers(all), Column::Numbers(new)) => all.spread().extend(new.iter()),
        (Column::Flags(all), Column::Flags(new)) => all.spread().extend(new.iter()),
        (Column::Codes(all), Column::Codes(new)) => all.spread().extend(new.iter()),
        (Column::Numbers(_) | Column::Flags(_) | Column::Codes(_), _) => {}
    }
}

fn misfit(name: &str) -> Problem {
    Problem::new(
        "filling-misfit",
        format!("the values for `{name}` do not fit its rows"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Edit;
    use crate::plan::Entry;

    const LINKS: SheetId = SheetId(0);

    /// Links with a built-in one, `L0`.
    fn fresh() -> Plan {
        let links = r#"
            name = "links"
            title = "Links"
            doc = ""
            column = [
              { name = "id", title = "Link", doc = "", kind = "text" },
              { name = "length", title = "Length", doc = "", kind = "number", unit = "m" },
              { name = "notes", title = "Notes", doc = "", kind = "text" },
              { name = "twice", title = "Twice", doc = "", kind = "number", unit = "m", formula = "2 * length" },
            ]
        "#;
        let builtin = vec![vec!["L0".to_owned(), "5".to_owned()]];
        let links = crate::sheet::load(links, "test.toml").unwrap();
        Plan::new(vec![links], Vec::new(), &[("links", builtin)]).unwrap()
    }

    #[test]
    fn whole_columns_come_in_at_once() {
        let mut plan = fresh();
        let codes = vec![plan.names().code("L1"), plan.names().code("L2")];
        let filling = Filling {
            n_rows: 2,
            columns: vec![
                (0, Column::of_codes(codes)),
                (1, Column::of_numbers(vec![85.0, crate::table::MISSING])),
            ],
            wrong: vec![(1, 1, "far".to_owned())],
        };
        plan.fill(LINKS, filling).unwrap();
        let row = plan.find(LINKS, "l2").unwrap();
        assert_eq!(plan.entry(LINKS, 1, row), Entry::Wrong("far".to_owned()));
        assert_eq!(plan.entry(LINKS, 1, RowId(1)), Entry::Number(85.0));
        assert_eq!(plan.entry(LINKS, 2, row), Entry::Empty);
        assert_eq!(plan.rows(LINKS).rank(), [0, 1, 2]);
    }

    #[test]
    fn values_that_do_not_fit_are_refused() {
        for (column, values, code) in [
            (1, Column::of_codes(vec![0]), "filling-misfit"),
            (1, Column::of_numbers(Vec::new()), "filling-misfit"),
            (3, Column::of_numbers(vec![1.0]), "column-computed"),
            (99, Column::of_numbers(vec![1.0]), "no-such-column"),
        ] {
            let mut plan = fresh();
            let filling = Filling {
                n_rows: 1,
                columns: vec![(column, values)],
                wrong: Vec::new(),
            };
            assert_eq!(plan.fill(LINKS, filling).unwrap_err().code, code);
            assert_eq!(plan.rows(LINKS).n_stored(), 1);
        }
    }

    #[test]
    fn built_in_rows_cannot_be_changed() {
        let mut plan = fresh();
        let row = plan.find(LINKS, "L0").unwrap();
        for edit in [
            Edit::RemoveRows {
                sheet: LINKS,
                rows: vec![row],
            },
            Edit::SetCells {
                sheet: LINKS,
                cells: vec![((1, row), Entry::Empty)],
            },
        ] {
            assert_eq!(plan.apply(edit).unwrap_err().code, "row-builtin");
        }
    }
}
