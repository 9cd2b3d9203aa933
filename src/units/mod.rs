//! What a number means: dimensions, amounts and levels, units, and which of them go together.
//!
//! Values are stored in base units (m, s, W, dB, bit, money, K, A); a unit is applied only when
//! text is read or printed. No columns and no formulas here.

mod dim;
mod print;
mod read;
mod rules;
mod unit;

pub use dim::{Dim, Kind, Measure, Reference};
pub use print::{bare, exact, shown, significant};
pub use read::{read, split_quantity};
pub use rules::{Clash, Operation, combine};
pub use unit::{Unit, Units};
