//! Tables whose columns line up, fitted to a page.

use super::escape::plain;
use super::page::{Page, cut};
use anstyle::Style;
use std::io;
use unicode_width::UnicodeWidthStr;

/// Blank columns between two cells.
const GAP: usize = 2;

/// One column of a table.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// What stands above it.
    pub head: &'static str,
    /// Whether its cells keep to the right (numbers).
    pub right: bool,
    /// How narrow it may be cut when the page is too small.
    pub least: usize,
    /// When even that does not fit, columns go, the highest rank first; rank 0 stays.
    pub rank: u8,
}

/// A line of a table.
#[derive(Debug, Clone)]
pub enum Row {
    /// A heading for the rows that follow.
    Group(String),
    /// One cell for each column.
    Cells(Vec<String>),
}

/// Columns that a group's heading is indented by; its rows by twice that, and rows without groups by once.
const INDENT: usize = 2;

/// Writes a table; columns that hold nothing at all are left out.
///
/// # Errors
/// When the output refuses it.
pub fn write(page: &mut Page<'_>, columns: &[Column], rows: &[Row]) -> io::Result<()> {
    let grouped = rows.iter().any(|row| matches!(row, Row::Group(_)));
    let indent = if grouped { 2 * INDENT } else { INDENT };
    let mut shown: Vec<(usize, Column, usize)> = columns
        .iter()
        .enumerate()
        .map(|(i, column)| (i, *column, widest(i, rows)))
        .filter(|(_, _, width)| *width > 0)
        .map(|(i, column, width)| {
            let indent = if i == 0 { indent } else { 0 };
            let column = Column { least: column.least + indent, ..column };
            (i, column, column.head.width().max(width + indent).min(page.width()))
        })
        .collect();
    fit(&mut shown, page.width());

    if shown.iter().any(|(_, column, _)| !column.head.is_empty()) {
        let heads = shown.iter().map(|(_, column, width)| cell(column.head, *width, column.right));
        page.line(&join(heads), Style::new().dimmed())?;
    }
    for row in rows {
        match row {
            Row::Group(text) => page.line(&format!("{:INDENT$}{text}", ""), Style::new().bold())?,
            Row::Cells(cells) => {
                let cells = shown.iter().map(|(i, column, width)| {
                    let indent = if *i == 0 { indent } else { 0 };
                    let text = cells.get(*i).map_or("", String::as_str);
                    format!("{:indent$}{}", "", cell(text, width.saturating_sub(indent), column.right))
                });
                page.line(&join(cells), Style::new())?;
            }
        }
    }
    Ok(())
}

/// The widest cell of a column.
fn widest(index: usize, rows: &[Row]) -> usize {
    rows.iter()
        .filter_map(|row| match row {
            Row::Cells(cells) => cells.get(index).map(|text| plain(text).width()),
            Row::Group(_) => None,
        })
        .max()
        .unwrap_or(0)
}

/// Narrows columns, then drops some, until a line fits the page.
fn fit(shown: &mut Vec<(usize, Column, usize)>, page: usize) {
    loop {
        let line = shown.iter().map(|(_, _, width)| width + GAP).sum::<usize>().saturating_sub(GAP);
        let Some(over) = line.checked_sub(page).filter(|over| *over > 0) else { return };
        let slack = |(_, column, width): &(usize, Column, usize)| width.saturating_sub(column.least);
        if shown.iter().map(slack).sum::<usize>() >= over {
            // The widest cells give first: they lose least of what they say.
            for _ in 0..over {
                if let Some(widest) = shown.iter_mut().filter(|c| slack(c) > 0).max_by_key(|c| c.2) {
                    widest.2 -= 1;
                }
            }
            return;
        }
        let least_wanted =
            shown.iter().enumerate().max_by_key(|(_, c)| c.1.rank).filter(|(_, c)| c.1.rank > 0);
        let Some((at, _)) = least_wanted else { return };
        shown.remove(at);
    }
}

fn cell(text: &str, width: usize, right: bool) -> String {
    let text = cut(&plain(text), width);
    let pad = " ".repeat(width.saturating_sub(text.width()));
    if right { pad + &text } else { text + &pad }
}

fn join(cells: impl Iterator<Item = String>) -> String {
    cells.collect::<Vec<_>>().join(&" ".repeat(GAP))
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: [Column; 4] = [
        Column { head: "Device", right: false, least: 8, rank: 0 },
        Column { head: "Unused", right: false, least: 6, rank: 0 },
        Column { head: "Frames", right: true, least: 6, rank: 0 },
        Column { head: "Identity", right: false, least: 30, rank: 1 },
    ];

    fn table(width: usize, device: &str) -> String {
        let row = |cells: [&str; 4]| Row::Cells(cells.map(String::from).to_vec());
        let rows = [
            Row::Group(String::from("can0")),
            row([device, "", "7,200", "model \"GH-2\", software 1.04, serial 1"]),
            row(["puck", "", "12", ""]),
        ];
        let mut out = Vec::new();
        write(&mut Page::new(&mut out, width, false), &COLUMNS, &rows).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn columns_line_up_and_empty_ones_are_left_out() {
        let want = [
            "Device          Frames  Identity",
            "  can0",
            "    bow sensor   7,200  model \"GH-2\", software 1.04, serial 1",
            "    puck            12",
            "",
        ]
        .join("\n");
        assert_eq!(table(80, "bow sensor"), want);
    }

    #[test]
    fn a_narrow_page_cuts_cells_and_drops_columns() {
        let text = table(60, "a heading sensor at the bow");
        assert!(
            text.contains("    a heading")
                && text.contains('…')
                && text.lines().all(|line| line.width() <= 60),
            "{text}"
        );
        let text = table(40, "bow sensor");
        assert!(!text.contains("Identity") && text.contains("7,200"), "{text}");
    }

    #[test]
    fn wide_characters_count_for_two() {
        let text = table(80, "测深仪");
        let rows: Vec<&str> = text.lines().skip(2).collect();
        assert_eq!(
            rows[0].split("7,200").next().unwrap().width(),
            rows[1].split("12").next().unwrap().width() - 3
        );
    }
}
