//! What if: proposals, failures, sweeps, options, growth and orders, worked out on copies of a plan.
//!
//! Works on a plan and its engine; the open plan is never touched. Knows no file and no terminal:
//! what comes out is rows, numbers and sentences, which the doors show.

pub mod compare;
pub mod curve;
pub mod failures;
pub mod growth;
pub mod labels;
mod look;
mod net;
pub mod options;
pub mod order;
pub mod sweep;
mod trial;

pub use look::Look;
pub use trial::Trial;
