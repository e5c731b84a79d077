//! The words and cells that every format for people shares, so that text, page and Markdown say the same.
//!
//! Nothing is escaped here: that is done where a format's output begins (see [`escape`](super::escape)).

pub mod answer;
pub mod findings;
pub mod histogram;
pub mod inventory;
pub mod limits;
pub mod names;
pub mod recordings;
pub mod values;

/// The last lines of every report.
pub const CAUTION: &str = "An aid to fault-finding, not to navigation. Switch the supply off before you touch \
    wiring. Propellers and bow motors can start by themselves: secure them before hands go near. Local electrical \
    codes, and the trades they reserve work to, come first.";
