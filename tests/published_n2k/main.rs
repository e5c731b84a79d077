//! NMEA 2000 messages as other libraries read them.
//!
//! Sources, named A, B, B2 and M at the vectors: (A) frames that PyPI library `n2k` 0.5.0 decodes to the listed values;
//! (B) the same of crate `kinavis-nmea2000` 0.2.0; (B2) of crate `kinavis-j1939` 0.1.1; (L) layout compared with the
//! source of the library that `n2k` is a port of; (M) layout from the standard alone, no second reader.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests: a failure is to stop them")]
#![allow(clippy::approx_constant, reason = "the vectors' angles are rounded to the field's resolution")]

mod ais;
mod data;
mod frames;
mod network;
