//! What if: plans held beside each other, and what follows from changes that were not made.
//!
//! Works on copies and changes no open plan; knows neither files nor terminals.

pub mod compare;
