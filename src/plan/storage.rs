//! Where the rows of a sheet stand in storage, and bringing a plan just opened into that state.
//!
//! Edits name rows by their place in storage. A plan just opened has its rows there in the order
//! shown; one that was edited for a while may not, so who wants to make later edits of it again
//! needs both its file and this.

use super::{Entry, Plan, Rows};
use crate::problem::Problem;
use crate::table::ABSENT;
use crate::table::Column;
use crate::table::MISSING;
use crate::table::NO_FLAG;
use crate::table::RowId;
use crate::table::SheetId;
use crate::table::Value;
use crate::table::Values;

/// Where the rows of one sheet stand.
#[derive(Debug, Clone, PartialEq)]
pub struct Storage {
    /// Which sheet.
    pub sheet: SheetId,
    /// The live rows in the order shown.
    pub order: Vec<RowId>,
    /// Removed rows with the cells that hold something.
    pub removed: Vec<Removed>,
}

/// A removed row with its cells, by column.
pub type Removed = (RowId, Vec<(usize, Entry)>);

impl Plan {
    /// The sheets whose rows do not stand in storage as they would after opening the plan's file.
    pub fn storage(&self) -> Vec<Storage> {
        let sheets = (0..self.sheets.len()).filter_map(|at| u16::try_from(at).ok().map(SheetId));
        sheets
            .filter(|sheet| !self.rows(*sheet).is_as_opened())
            .map(|sheet| self.storage_of(sheet))
            .collect()
    }

    fn storage_of(&self, sheet: SheetId) -> Storage {
        let rows = self.rows(sheet);
        let stored = (0..rows.rank.len()).filter_map(|at| u32::try_from(at).ok().map(RowId));
        let removed = stored.filter(|row| !rows.is_live(*row)).map(|row| {
            let cells = self
                .entered(sheet)
                .map(|column| (column, rows.entry(column, row)))
                .filter(|(_, entry)| *entry != Entry::Empty);
            (row, cells.collect())
        });
        Storage {
            sheet,
            order: rows.order.clone(),
            removed: removed.collect(),
        }
    }

    /// Moves the rows of a sheet just opened to where they stood.
    ///
    /// # Errors
    /// A state that another file than the opened one left; the plan is then as before.
    pub fn store_as(&mut self, storage: Storage) -> Result<(), Problem> {
        let sheet = storage.sheet;
        if sheet.at() >= self.sheets.len() {
            return Err(misfit());
        }
        for (column, _) in storage.removed.iter().flat_map(|(_, cells)| cells) {
            self.must_be_entered(sheet, *column)?;
        }
        let from = self.rows(sheet).moved(&storage).ok_or_else(misfit)?;
        self.sheets[sheet.at()].move_to(&from, storage);
        Ok(())
    }
}

impl Rows {
    /// Whether all rows stand in the order shown, and none is removed.
    fn is_as_opened(&self) -> bool {
        let mut places = self.order.iter().zip(0..);
        self.order.len() == self.rank.len() && places.all(|(row, at)| row.0 == at)
    }

    /// For each place the row that goes there, absent for a removed one; none where it does not
    /// fit.
    fn moved(&self, storage: &Storage) -> Option<Vec<u32>> {
        let n_places = storage.order.len() + storage.removed.len();
        let fits = self.is_as_opened() && storage.order.len() == self.order.len();
        if !fits || u32::try_from(n_places).is_err() {
            return None;
        }
        let (mut from, mut taken) = (vec![ABSENT; n_places], vec![false; n_places]);
        let mut take = |row: RowId| match taken.get_mut(row.at()) {
            Some(taken) => !std::mem::replace(taken, true),
            None => false,
        };
        let mut next_own = self.n_builtin;
        for row in &storage.order {
            if !take(*row) {
                return None;
            }
            from[row.at()] = if self.is_builtin(*row) {
                row.0
            } else {
                next_own += 1;
                next_own - 1
            };
        }
        let mut removed = storage.removed.iter();
        let all_own = removed.all(|(row, _)| take(*row) && !self.is_builtin(*row));
        (all_own && next_own as usize == self.rank.len()).then_some(from)
    }

    fn move_to(&mut self, from: &[u32], storage: Storage) {
        for column in &mut self.cells {
            match column {
                Column::Numbers(values) => *values = picked(values, from, MISSING),
                Column::Codes(codes) => *codes = picked(codes, from, ABSENT),
                Column::Flags(flags) => *flags = picked(flags, from, NO_FLAG),
            }
        }
        let mut to = vec![ABSENT; self.rank.len()];
        for (place, row) in (0..).zip(from) {
            if *row != ABSENT {
                to[*row as usize] = place;
            }
        }
        let wrong = std::mem::take(&mut self.wrong).into_iter();
        self.wrong = wrong
            .map(|((column, row), text)| ((column, RowId(to[row.at()])), text))
            .collect();
        self.order = storage.order;
        self.rank.resize(from.len(), ABSENT);
        self.rank_again();
        for (row, cells) in storage.removed {
            for (column, entry) in cells {
                self.set(column, row, &entry);
            }
        }
    }
}

/// The values of rows, absent ones for places that no row goes to.
fn picked<T: Value>(values: &Values<T>, from: &[u32], absent: T) -> Values<T> {
    if values.one().is_some_and(|one| one.is_same(absent)) {
        return Values::same(absent, from.len());
    }
    let picked = from.iter().map(|row| values.get(*row as usize));
    let picked = picked.map(|value| value.copied().unwrap_or(absent));
    picked.collect::<Vec<T>>().into()
}

fn misfit() -> Problem {
    Problem::new(
        "storage-misfit",
        "the rows of this plan are not those that the edits were made to",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Edit;
    use crate::sheet::load;

    /// Links without a row, and media with three of their own.
    fn fresh() -> Plan {
        let sheet = |name: &str| {
            let column = "{ name = \"id\", title = \"Id\", doc = \"\", kind = \"text\" }";
            let text =
                format!("name = \"{name}\"\ntitle = \"\"\ndoc = \"\"\ncolumn = [{column}]\n");
            load(&text, "test.toml").unwrap()
        };
        let builtin = ["OM3", "OM4", "OS2"].map(|id| vec![id.to_owned()]);
        let sheets = vec![sheet("links"), sheet("media")];
        Plan::new(sheets, Vec::new(), &[("media", builtin.to_vec())]).unwrap()
    }

    #[test]
    fn only_a_state_that_fits_is_taken() {
        let mut plan = fresh();
        let links = SheetId(0);
        let add = Edit::AddRows {
            sheet: links,
            at: 0,
            rows: vec![Vec::new(), Vec::new()],
        };
        plan.apply(add).unwrap();
        let state = |sheet, order: &[u32], removed: &[u32]| Storage {
            sheet: SheetId(sheet),
            order: order.iter().copied().map(RowId).collect(),
            removed: removed
                .iter()
                .map(|row| (RowId(*row), Vec::new()))
                .collect(),
        };
        for (sheet, order, removed) in [
            (0, &[0][..], &[][..]),
            (0, &[0, 0], &[]),
            (0, &[0, 2], &[]),
            (0, &[0, 1], &[1]),
            (0, &[0, 1], &[9]),
            (1, &[0, 1], &[2]),
            (1, &[0, 1, 3], &[2]),
            (99, &[], &[]),
        ] {
            let problem = plan.store_as(state(sheet, order, removed)).unwrap_err();
            assert_eq!(
                problem.code, "storage-misfit",
                "{sheet} {order:?} {removed:?}"
            );
        }
        assert!(plan.storage().is_empty());
        let moved = state(0, &[3, 1], &[0, 2]);
        plan.store_as(moved.clone()).unwrap();
        assert_eq!(plan.storage(), [moved]);
    }
}
