//! Tests of the line over the demo plan.
