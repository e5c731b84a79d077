//! The comparison as Markdown, for a forum or a ticket.

use super::model::{Comparison, Recorded, SideRow};
use super::numbers::words;
use super::verdict::is_note_change;
use super::{Renderer, said};
use crate::report::escape::markdown as safe;
use crate::report::figures::{counted, duration};
use crate::report::model::Severity;
use std::io::{self, Write};

/// Lines of one part at most: a post is read on a phone.
const MAX_ROWS: usize = 20;

/// Figures of one finding.
const MAX_NUMBERS: usize = 6;

/// Markdown for people.
#[derive(Debug, Clone, Copy, Default)]
pub struct Markdown;

impl Renderer for Markdown {
    fn render(&self, comparison: &Comparison, out: &mut dyn Write) -> io::Result<()> {
        writeln!(out, "**{}**", safe(&comparison.verdict))?;
        if let Some(check) = said::touch_first(comparison) {
            writeln!(out, "\n**Touch first:** {}", safe(check))?;
        }
        if let Some(next) = &comparison.next {
            writeln!(out, "\n**Next:** {}", safe(next))?;
        }
        let grave = comparison.findings.iter().filter(|f| f.severity > Severity::Note);
        let mut lines = Vec::new();
        for finding in grave {
            let mut text = format!(
                "**{}** {} ({}). {}",
                said::standing(finding.standing),
                safe(&said::headline(finding)),
                safe(&finding.kind),
                safe(&said::sentence(&finding.because))
            );
            for row in finding.numbers.iter().take(MAX_NUMBERS) {
                let (name, before, after) = words(row);
                text.push(' ');
                text.push_str(&safe(&format!("{name}: before {before}, after {after}.")));
            }
            lines.push(text);
        }
        for note in comparison.findings.iter().filter(|f| is_note_change(f)) {
            lines.push(format!("**{}** {}", said::standing(note.standing), safe(&said::headline(note))));
        }
        part(out, "Findings", lines)?;
        let line = |(word, text): (&str, String)| format!("{word}: {}", safe(&text));
        part(out, "Devices", comparison.devices.iter().map(said::device).map(line).collect())?;
        part(out, "Sources", comparison.sources.iter().map(said::source).map(line).collect())?;
        part(out, "Timing", comparison.timing.iter().map(said::timing).map(line).collect())?;
        let loads = comparison.wires.iter().filter(|wire| wire.recorded == Recorded::Both);
        part(out, "Load", loads.filter_map(said::load).map(line).collect())?;
        part(out, "What this cannot tell", comparison.cannot_tell.iter().map(|line| safe(line)).collect())?;
        let sides = [("Before", &comparison.before), ("After", &comparison.after)];
        part(out, "Read", sides.iter().flat_map(|(name, side)| recordings(name, side)).collect())?;
        writeln!(out, "\n{}", said::CAUTION)
    }
}

/// A heading and its lines; nothing when there are none.
fn part(out: &mut dyn Write, title: &str, lines: Vec<String>) -> io::Result<()> {
    if lines.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n### {title}\n")?;
    for line in lines.iter().take(MAX_ROWS) {
        writeln!(out, "- {line}")?;
    }
    match lines.len().saturating_sub(MAX_ROWS) {
        0 => Ok(()),
        more => writeln!(out, "- ... {more} more"),
    }
}

fn recordings(name: &str, side: &SideRow) -> Vec<String> {
    side.recordings
        .iter()
        .map(|recording| {
            let length = recording.duration_s.map_or_else(|| String::from("no clock"), duration);
            let frames = counted(recording.frames, "frame", "frames");
            format!("{name}: {}, {length}, {frames}", safe(side.name_of(recording)))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::compare;
    use crate::compare::side::Side;
    use crate::compare::text::tests::next_day;
    use crate::report::escape::is_unsafe;
    use crate::report::fixture;
    use crate::report::model::Report;

    fn written(before: &Report, after: &Report) -> String {
        let mut out = Vec::new();
        let comparison = compare(&Side::of(before).unwrap(), &Side::of(after).unwrap());
        Markdown.render(&comparison, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_second_visit() {
        insta::assert_snapshot!(written(&fixture::troubled(), &next_day()));
    }

    #[test]
    fn recordings_are_named_without_folders() {
        let mut before = fixture::troubled();
        before.recordings[0].path = String::from("/home/somebody/bow.log");
        let text = written(&before, &next_day());
        assert!(text.contains(": bow") && !text.contains("somebody"), "{text}");
    }

    #[test]
    fn hostile_names_do_nothing() {
        let mut report = fixture::hostile();
        let evil = "<img src=x>](http://a.b) @all | `x` **y**\n# z";
        for device in &mut report.devices {
            device.label = String::from(evil);
        }
        for finding in &mut report.findings {
            finding.summary = String::from(evil);
        }
        for text in [written(&report, &next_day()), written(&fixture::troubled(), &report)] {
            assert!(!text.chars().any(|c| c != '\n' && is_unsafe(c)));
            assert!(!text.contains("<img") && !text.contains("**y**"), "{text}");
            assert_eq!(text.matches("](").count(), text.matches("\\](").count(), "a link: {text}");
            let headings = text.lines().filter(|line| line.starts_with('#'));
            assert!(headings.into_iter().all(|line| line.starts_with("### ")), "{text}");
        }
    }
}
