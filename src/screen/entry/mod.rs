//! The line a person types into: cells, formulas, conditions, names.
mod buffer;
mod offers;
