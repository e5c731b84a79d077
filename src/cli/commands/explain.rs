//! `leadsman explain`: what a finding means.

use crate::cli::args::ExplainArgs;
use crate::cli::exit::{Error, Exit};
use crate::cli::output::Output;
use crate::findings::{self, Doc};
use crate::report::page::Page;
use anstyle::Style;
use std::io;

/// Kinds that are suggested for one that is not known.
const MAX_SUGGESTED: usize = 3;

/// Column where the text of a paragraph begins.
const INDENT: usize = 14;

/// Prints one page, or the list of all.
pub(in crate::cli) fn run(args: &ExplainArgs) -> Result<Exit, Error> {
    let output = Output::Standard;
    let (width, colour) = (output.width(), output.colour());
    match &args.kind {
        None => output.write(|out| list(&mut Page::new(out, width, colour)))?,
        Some(kind) => {
            let doc = findings::doc(kind).ok_or_else(|| Error::Usage(unknown(kind)))?;
            output.write(|out| page(&mut Page::new(out, width, colour), doc))?;
        }
    }
    Ok(Exit::Ran)
}

fn list(page: &mut Page<'_>) -> io::Result<()> {
    for doc in findings::kinds().filter_map(findings::doc) {
        page.hanging(doc.kind, Style::new().bold(), 4, doc.meaning)?;
    }
    Ok(())
}

fn page(page: &mut Page<'_>, doc: &Doc) -> io::Result<()> {
    page.heading(doc.kind)?;
    for (title, text) in [
        ("Severity", doc.severity),
        ("Meaning", doc.meaning),
        ("Detection", doc.detection),
        ("Lookalikes", doc.lookalikes),
        ("Checks", doc.checks),
        ("Cautions", doc.cautions),
    ] {
        let mut lead = title;
        for paragraph in text.lines().filter(|line| !line.trim().is_empty()) {
            page.hanging(lead, Style::new().bold(), INDENT, paragraph)?;
            lead = "";
        }
    }
    let complaints = findings::complaints(doc.kind);
    if !complaints.is_empty() {
        page.hanging("Complaints", Style::new().bold(), INDENT, &complaints.join(", "))?;
    }
    Ok(())
}

/// The message for a kind that is not known, with the nearest that are.
fn unknown(kind: &str) -> String {
    let mut near: Vec<(usize, &str)> = findings::kinds()
        .map(|known| (distance(kind, known), known))
        .filter(|(d, _)| *d < usize::MAX)
        .collect();
    near.sort_unstable();
    let names: Vec<&str> = near.into_iter().take(MAX_SUGGESTED).map(|(_, name)| name).collect();
    let advice = if names.is_empty() {
        String::from("`leadsman explain` lists them all")
    } else {
        format!("near it: {}", names.join(", "))
    };
    format!("there is no finding called {kind}; {advice}")
}

/// How far a known name lies from what was typed: 0 when one holds the other, else the edits between them;
/// `usize::MAX` when they have too little in common to be a slip.
fn distance(typed: &str, known: &str) -> usize {
    let typed: String = typed.chars().take(64).collect::<String>().to_lowercase().replace([' ', '_'], "-");
    if typed.len() > 2 && (known.contains(&typed) || typed.contains(known)) {
        return 0;
    }
    let edits = edits(&typed, known);
    if edits * 2 <= known.chars().count() { edits } else { usize::MAX }
}

/// Insertions, deletions and replacements that turn one word into the other.
///
/// Source: R. A. Wagner, M. J. Fischer, "The string-to-string correction problem", J. ACM 21 (1974), with one row.
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, from) in a.chars().enumerate() {
        let mut left = i + 1;
        let mut diagonal = i;
        for (cell, to) in row.iter_mut().skip(1).zip(&b) {
            let replaced = diagonal + usize::from(from != *to);
            diagonal = *cell;
            left = replaced.min(left + 1).min(*cell + 1);
            *cell = left;
        }
        if let Some(first) = row.first_mut() {
            *first = i + 1;
        }
    }
    row.last().copied().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edits_between_words() {
        for (a, b, want) in [("", "abc", 3), ("kitten", "sitting", 3), ("gap", "gap", 0), ("flaw", "lawn", 2)]
        {
            assert_eq!(edits(a, b), want, "{a} {b}");
        }
    }

    #[test]
    fn slips_are_near_and_strangers_are_not() {
        assert_eq!(distance("Duplicate heading", "duplicate-heading-source"), 0);
        assert_eq!(distance("duplicate-headin-source", "duplicate-heading-source"), 1);
        assert_eq!(distance("coffee", "duplicate-heading-source"), usize::MAX);
        assert!(unknown("\x1b").contains("lists them all"));
    }
}
