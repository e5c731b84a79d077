//! Tables that scroll in a box of their own on a narrow page, and sort where scripts may run.

use maud::{Markup, html};

/// A column's head.
#[derive(Debug, Clone, Copy)]
pub struct Head {
    /// What stands above the column.
    pub text: &'static str,
    /// Whether its cells keep to the right (numbers).
    pub right: bool,
}

/// A column of text.
#[must_use]
pub const fn text(text: &'static str) -> Head {
    Head { text, right: false }
}

/// A column of numbers.
#[must_use]
pub const fn number(text: &'static str) -> Head {
    Head { text, right: true }
}

/// One cell.
#[derive(Debug)]
pub struct Cell {
    /// What it shows.
    pub shown: Markup,
    /// What it is sorted by, when that is not what it shows: the plain number behind `2 min 04 s`. Empty is last.
    pub sort: Option<String>,
}

impl Cell {
    /// A cell that shows a text and is sorted by it.
    #[must_use]
    pub fn text(text: &str) -> Self {
        Self { shown: html! { (text) }, sort: None }
    }

    /// A cell that shows a figure with its unit and is sorted by the number behind it; without one it comes last.
    #[must_use]
    pub fn figure(shown: &str, number: Option<f64>) -> Self {
        let sort = number.filter(|x| x.is_finite()).map_or_else(String::new, |x| format!("{x:.6}"));
        Self { shown: html! { (shown) }, sort: Some(sort) }
    }
}

/// A table with its caption.
///
/// The caption also names the box that scrolls, which can be reached with the keyboard. The first cell of a row is its
/// head. `more` says what was left out; nothing when nothing was.
#[must_use]
pub fn table(id: &str, caption: &str, heads: &[Head], rows: &[Vec<Cell>], more: Option<&str>) -> Markup {
    build("wide", id, caption, heads, rows, more)
}

/// The same for rows of sentences: on a narrow page each row is a card, with its columns' heads before the cells.
#[must_use]
pub fn cards(id: &str, caption: &str, heads: &[Head], rows: &[Vec<Cell>], more: Option<&str>) -> Markup {
    build("wide cards", id, caption, heads, rows, more)
}

fn build(
    class: &str,
    id: &str,
    caption: &str,
    heads: &[Head],
    rows: &[Vec<Cell>],
    more: Option<&str>,
) -> Markup {
    let named = |at: usize| heads.get(at).filter(|_| class != "wide").map(|head| head.text);
    let right = |at: usize| heads.get(at).is_some_and(|head| head.right).then_some("right");
    html! {
        div class=(class) role="region" aria-labelledby={ (id) "-caption" } tabindex="0" {
            table.sorts {
                caption id={ (id) "-caption" } { span { (caption) } }
                thead {
                    tr { @for (at, head) in heads.iter().enumerate() { th scope="col" class=[right(at)] { (head.text) } } }
                }
                tbody {
                    @for row in rows {
                        "\n"
                        tr {
                            @for (at, cell) in row.iter().enumerate() {
                                @if at == 0 {
                                    th scope="row" data-sort=[&cell.sort] { (cell.shown) }
                                } @else {
                                    td class=[right(at)] data-head=[named(at)] data-sort=[&cell.sort] { (cell.shown) }
                                }
                            }
                        }
                    }
                }
            }
        }
        @if let Some(more) = more { p.more { (more) } }
    }
}
