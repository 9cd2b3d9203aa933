//! How a person wants to see a sheet: which columns, in which order, how wide.
//!
//! Columns are meant by name, computed ones of the trade included; a name that no column has is
//! kept and means nothing. What is shown in the end is decided above.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

/// The widest a column can be asked to be, in cells of the terminal.
pub const MAX_WIDTH: u16 = 500;

/// How a person wants to see a sheet; all empty where they did not say.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SheetView {
    /// Columns that stand first, in this order; quiet ones named here are shown.
    pub order: Vec<String>,
    /// Columns that are not shown.
    pub hidden: BTreeSet<String>,
    /// Widths of columns in cells of the terminal, 1 to [`MAX_WIDTH`].
    pub width: BTreeMap<String, u16>,
}

impl SheetView {
    /// Whether nothing is said.
    pub fn is_default(&self) -> bool {
        *self == Self::default()
    }

    /// All names of columns that it holds, some perhaps twice.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        let named = self.order.iter().chain(&self.hidden);
        named.chain(self.width.keys()).map(String::as_str)
    }
}
