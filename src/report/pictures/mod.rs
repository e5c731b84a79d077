//! Pictures of a report: drawn where one tells more than words, and only where there is data for it.

use super::model::Report;

/// One picture, ready to be set into a page.
#[derive(Debug, Clone)]
pub struct Picture {
    /// Anchor within the page: lower-case letters, digits and hyphens, unique within a report.
    pub id: String,
    /// What is shown, in a few words; plain text.
    pub title: String,
    /// What it shows, in words and figures, for those who cannot see it; plain text.
    pub about: String,
    /// Indices of the findings that it illustrates; none when it is about the recording as a whole.
    pub findings: Vec<usize>,
    /// A whole `<svg>` element, safe to set into HTML: colours come from the page through `currentColor` and the
    /// custom properties of its style sheet, and every text from a recording is escaped.
    pub svg: String,
}

/// Draws every picture that there is data for, the most telling first.
#[must_use]
pub fn draw(report: &Report) -> Vec<Picture> {
    let _ = report;
    Vec::new()
}
