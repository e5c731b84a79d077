//! Pictures of a report: drawn where one tells more than words, and only where there is data for it.

mod compared;
mod frame;
mod intervals;
mod presence;
mod scale;
mod svg;
#[cfg(test)]
mod tests;
mod trend;

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
    let mut pictures = Vec::new();
    pictures.extend(compared::headings(report));
    pictures.extend(compared::deviations(report));
    pictures.extend(compared::positions(report));
    pictures.extend(compared::depth_by_speed(report));
    pictures.extend(trend::TRENDS.iter().filter_map(|trend| trend::draw(report, trend)));
    pictures.extend(presence::draw(report));
    pictures.extend(intervals::draw(report));
    pictures
}
