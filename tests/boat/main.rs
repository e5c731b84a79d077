//! Boat files: what is wrong in them, what on paper cannot work, and recordings held against them.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

mod desk;
mod learn;
mod mistakes;
mod program;
mod seen;
