//! The report: one value and its renderers. No sums here.
//!
//! [`model`] is the value; each format is one file that implements [`Renderer`].

mod assemble;
pub mod escape;
pub mod figures;
#[cfg(test)]
pub(crate) mod fixture;
pub mod html;
pub mod json;
pub mod markdown;
pub mod model;

pub mod page;
pub mod pictures;
pub mod table;
pub mod text;
pub mod words;

use model::Report;
use std::io;

/// One format of the report.
pub trait Renderer {
    /// Writes the whole report.
    ///
    /// # Errors
    /// When the output refuses it.
    fn render(&self, report: &Report, out: &mut dyn io::Write) -> io::Result<()>;
}
pub use assemble::assemble;
