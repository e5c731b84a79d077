//! Leadsman reads recordings of a small boat's networks and says what is wrong with the boat, and how it knows.
//!
//! One way through the house: a recording's records become frames, frames become messages, messages fill the books
//! (inventory, timing, series), the books are judged into findings, findings answer complaints, and all of it makes one
//! report. Nothing looks back upstream.

pub mod crew;
mod soon;
pub mod time;
pub mod units;

pub mod recording;

pub mod frames;

pub mod messages;

pub mod books;

pub mod clocks;

pub mod findings;

pub mod complaints;

pub mod report;

pub mod tables;

pub mod compare;

pub mod boat;

pub mod survey;

pub mod scrub;

pub mod cli;
pub mod demo;
