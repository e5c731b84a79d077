//! The report as text for a terminal: the answer first, then what to touch, then the evidence, then the inventory.

mod answer;
mod causes;
mod findings;
mod inventory;
mod recordings;

use super::Renderer;
use super::figures::Calendar;
use super::model::Report;
use super::page::Page;
use super::words::CAUTION;
use super::words::names::Names;
use std::collections::HashSet;
use std::io::{self, Write};

/// Rows of one table that are printed at most; JSON has them all.
pub const MAX_ROWS: usize = 40;

/// Column where the text of a hanging paragraph begins.
const INDENT: usize = 8;

/// Text for people.
#[derive(Debug, Clone, Copy)]
pub struct Text {
    /// Columns of a line; brought into 40 to 80.
    pub width: usize,
    /// Whether to colour. Colour repeats what the words say and never says anything alone.
    pub colour: bool,
    /// The complaint that was asked, when one was.
    pub asked: Option<&'static str>,
}

/// What every section needs to know of the report.
struct Context<'a> {
    report: &'a Report,
    names: Names<'a>,
    calendar: Calendar,
    asked: Option<&'static str>,
    /// Advice that was already given; nothing is said twice.
    said: HashSet<&'a str>,
}

impl<'a> Context<'a> {
    /// Whether the text is new; from now on it is not.
    fn first_time(&mut self, text: &'a str) -> bool {
        !text.trim().is_empty() && self.said.insert(text.trim())
    }
}

impl Renderer for Text {
    fn render(&self, report: &Report, out: &mut dyn Write) -> io::Result<()> {
        let first = report.recordings.iter().filter_map(|recording| recording.first).min();
        let mut context = Context {
            report,
            names: Names::of(report),
            calendar: Calendar::starting(first),
            asked: self.asked,
            said: HashSet::new(),
        };
        let page = &mut Page::new(out, self.width, self.colour);
        answer::write(page, &mut context)?;
        findings::write(page, &mut context)?;
        causes::write(page, &mut context)?;
        inventory::write(page, &context)?;
        recordings::write(page, &context)?;
        page.blank()?;
        page.text(0, CAUTION)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{escape::is_unsafe, fixture};
    use unicode_width::UnicodeWidthStr;

    fn text(report: &Report, width: usize, asked: Option<&'static str>) -> String {
        let mut out = Vec::new();
        Text { width, colour: false, asked }.render(report, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_complaint_answered() {
        insta::assert_snapshot!(text(&fixture::troubled(), 80, Some("heading-jumps")));
    }

    #[test]
    fn a_troubled_boat_unasked() {
        insta::assert_snapshot!(text(&fixture::troubled(), 80, None));
    }

    #[test]
    fn a_healthy_boat() {
        insta::assert_snapshot!(text(&fixture::healthy(), 80, None));
    }

    #[test]
    fn a_narrow_terminal() {
        insta::assert_snapshot!(text(&fixture::troubled(), 50, Some("heading-jumps")));
    }

    #[test]
    fn nothing_at_all() {
        insta::assert_snapshot!(text(&fixture::empty(), 80, Some("no-depth")));
    }

    #[test]
    fn hostile_names_stay_text_and_within_the_page() {
        for width in [0, 40, 57, 80, 500] {
            let text = text(&fixture::hostile(), width, Some("heading-jumps"));
            assert!(!text.chars().any(|c| c != '\n' && is_unsafe(c)));
            assert!(!text.lines().any(|line| line.starts_with("FAULT forged")));
            let limit = width.clamp(40, 80);
            let long: Vec<&str> = text.lines().filter(|line| line.width() > limit).collect();
            assert!(long.is_empty(), "wider than {limit}: {long:#?}");
        }
    }

    #[test]
    fn long_tables_are_cut_and_keep_what_is_at_fault() {
        let text = text(&fixture::crowded(), 80, None);
        assert_eq!(text.matches("60 more").count(), 3, "devices, sources, timing:\n{text}");
        assert_eq!(text.matches("sensor 99").count(), 4, "{text}");
        assert!(text.lines().count() < 200, "{text}");
    }

    #[test]
    fn colour_adds_nothing_but_colour() {
        let report = fixture::troubled();
        let mut out = Vec::new();
        Text { width: 80, colour: true, asked: None }.render(&report, &mut out).unwrap();
        let coloured = String::from_utf8(out).unwrap();
        assert!(coloured.contains('\x1b'));
        assert_eq!(anstream::adapter::strip_str(&coloured).to_string(), text(&report, 80, None));
    }

    #[test]
    fn places_are_too_coarse_to_find_a_fishing_spot() {
        let text = text(&fixture::troubled(), 80, None);
        assert!(text.contains("54.3 N") && text.contains("10.1 W"), "{text}");
        assert!(!text.contains("54.32") && !text.contains("10.13"), "{text}");
    }
}
