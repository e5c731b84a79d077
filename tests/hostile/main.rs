//! Strangers' recordings: whatever the bytes, a run ends by itself, in bounded memory, with a report that is sound.
//!
//! `docs/robustness.md` tells what is held here and how the long runs are repeated.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

mod ahead;
#[allow(unreachable_pub, reason = "the fuzz targets include this file, and need its functions")]
mod bodies;
mod bounds;
mod containers;
mod copying;
mod corpus;
mod examine;
mod found;
#[cfg(unix)]
mod interrupt;
mod linear;
mod make;
mod mutants;
mod mutate;
mod networks;
mod program;
mod properties;
mod seeds;
mod wires;

/// Counts what the tests' own process holds. The limits below are asserted with it.
#[global_allocator]
static HEAP: peak_alloc::PeakAlloc = peak_alloc::PeakAlloc;
