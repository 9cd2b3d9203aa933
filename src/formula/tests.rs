//! Whole formulas
