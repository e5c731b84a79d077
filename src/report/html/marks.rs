//! Signs that say by word and shape what others say by colour alone.

use crate::report::model::{Severity, Standing};
use maud::{Markup, html};

/// The class that a severity's colours hang on.
pub(super) const fn class(severity: Severity) -> &'static str {
    match severity {
        Severity::Fault => "fault",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}

/// A severity as a shape and a word: a stop sign of eight sides, a triangle, a circle with an i.
pub(super) fn severity(severity: Severity) -> Markup {
    let word = match severity {
        Severity::Fault => "Fault",
        Severity::Warning => "Warning",
        Severity::Note => "Note",
    };
    html! { span class={ "severity " (class(severity)) } { (shape(severity)) (word) } }
}

/// The shape alone, for where the word stands beside it.
pub(super) fn shape(severity: Severity) -> Markup {
    let outline = match severity {
        Severity::Fault => "M5 0h6l5 5v6l-5 5H5l-5-5V5zM7 3v6h2V3zM7 11v2h2v-2z",
        Severity::Warning => "M8 0l8 16H0zM7 6v5h2V6zM7 12v2h2v-2z",
        Severity::Note => "M8 0a8 8 0 1 1 0 16A8 8 0 1 1 8 0zM7 3v2h2V3zM7 7v6h2V7z",
    };
    drawn(outline)
}

/// The shape of a boat with nothing wrong: a tick.
pub(super) fn tick() -> Markup {
    drawn("M1.5 8.5l2-2 3 3 6-7 2 2-8 9z")
}

/// Where a cause stands: a tick, a cross, a ring.
pub(super) fn standing(standing: Standing) -> Markup {
    match standing {
        Standing::Supported => tick(),
        Standing::RuledOut => drawn("M2 4l2-2 4 4 4-4 2 2-4 4 4 4-2 2-4-4-4 4-2-2 4-4z"),
        Standing::Open => drawn("M8 1a7 7 0 1 1 0 14A7 7 0 1 1 8 1zm0 3a4 4 0 1 0 0 8 4 4 0 1 0 0-8z"),
    }
}

fn drawn(outline: &str) -> Markup {
    html! { svg viewBox="0 0 16 16" aria-hidden="true" { path fill="currentColor" fill-rule="evenodd" d=(outline) {} } }
}
