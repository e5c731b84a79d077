//! Recordings as a whole: every container, cut anywhere, damaged, compressed, read in pieces of any size.
#![allow(clippy::unwrap_used, clippy::indexing_slicing)]

mod containers;
mod files;
mod properties;
mod text;
