//! One open plan: its edits and the way back.
//!
//! The only room that changes a plan.

pub mod history;
