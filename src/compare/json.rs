//! The comparison as JSON: the machine-readable format, version 1 (`docs/compare.schema.json`).

use super::Renderer;
use super::model::Comparison;
use crate::report::json;
use std::io::{self, Write};

/// Writes the model as it is.
#[derive(Debug, Clone, Copy, Default)]
pub struct Json;

impl Renderer for Json {
    fn render(&self, comparison: &Comparison, out: &mut dyn Write) -> io::Result<()> {
        json::write(comparison, out)
    }
}
