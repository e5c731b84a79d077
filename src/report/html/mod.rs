//! The report as one page: the answer first, then what to touch, the causes, the findings, the inventory.
//!
//! [`shell`] and [`table`] are the frame that any page of the program stands in; the other files are the parts of the
//! report's page.

mod answer;
mod causes;
mod findings;
mod inventory;
mod marks;
mod recordings;
pub mod shell;
pub mod table;

use super::Renderer;
use super::figures::{Calendar, duration};
use super::model::Report;
use super::pictures::{self, Picture};
use super::words::names::Names;
use super::words::recordings::file_name;
use maud::{Markup, html};
use shell::Document;
use std::collections::HashSet;
use std::io;

/// Rows of one table at most, so that the page of a crowded boat stays a page (under 1 MB); JSON has them all.
pub const MAX_ROWS: usize = 300;

/// A page in one file.
#[derive(Debug, Clone, Copy)]
pub struct Html {
    /// The complaint that was asked, when one was.
    pub asked: Option<&'static str>,
}

/// What every part needs to know of the report.
struct Context<'a> {
    report: &'a Report,
    names: Names<'a>,
    calendar: Calendar,
    asked: Option<&'static str>,
    pictures: &'a [Picture],
    /// Advice that was already given; nothing is said twice.
    said: HashSet<&'a str>,
}

impl<'a> Context<'a> {
    /// Whether the text is new; from now on it is not.
    fn first_time(&mut self, text: &'a str) -> bool {
        !text.trim().is_empty() && self.said.insert(text.trim())
    }
}

impl Renderer for Html {
    fn render(&self, report: &Report, out: &mut dyn io::Write) -> io::Result<()> {
        page(report, self.asked, &pictures::draw(report), out)
    }
}

fn page(
    report: &Report,
    asked: Option<&'static str>,
    pictures: &[Picture],
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let first = report.recordings.iter().filter_map(|recording| recording.first).min();
    let mut context = Context {
        report,
        names: Names::of(report),
        calendar: Calendar::starting(first),
        asked,
        pictures,
        said: HashSet::new(),
    };
    let (title, answer) = answer::part(&mut context);
    let sections = [
        ("causes", if asked.is_some() { "Causes" } else { "Complaints" }, causes::part(&mut context)),
        ("findings", "Findings", findings::part(&context)),
        ("pictures", "Pictures", findings::other_pictures(&context)),
        ("devices", "Devices", inventory::devices(&context)),
        ("sources", "Sources", inventory::sources(&context)),
        ("timing", "Timing", inventory::timing(&context)),
        ("recordings", "Recordings and limits", recordings::part(&context)),
    ];
    let parts: Vec<(&str, &str)> =
        sections.iter().filter(|(_, _, part)| part.is_some()).map(|(id, name, _)| (*id, *name)).collect();
    let name = recordings_name(report);
    let document = Document {
        title: &format!("{title}: {name}"),
        tool: &report.tool,
        about: about(report, &name),
        parts: &parts,
        main: html! {
            (answer)
            @for (id, _, part) in &sections {
                @if let Some(part) = part { "\n" section id=(id) { (part) } }
            }
        },
    };
    document.write(out)
}

/// What the recordings are called together: the first by its name, the others by their number.
fn recordings_name(report: &Report) -> String {
    match report.recordings.split_first() {
        None => String::from("no recording"),
        Some((first, [])) => file_name(first).to_owned(),
        Some((first, more)) => format!("{} and {} more", file_name(first), more.len()),
    }
}

fn about(report: &Report, name: &str) -> Markup {
    let first = report.recordings.iter().filter_map(|recording| recording.first).min();
    let last = report.recordings.iter().filter_map(|recording| recording.last).max();
    html! {
        p { "Leadsman report on" }
        p.of { (name) }
        @if let (Some(first), Some(last)) = (first, last) {
            @let stamp = first.to_string();
            p { (stamp.get(..10).unwrap_or_default()) " " (stamp.get(11..19).unwrap_or_default()) " UTC, " (duration(last.since(first))) }
        }
    }
}

#[cfg(test)]
mod tests;
