//! The report: one value and its renderers. No sums here.

pub mod model;
