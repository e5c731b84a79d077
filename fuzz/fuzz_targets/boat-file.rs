//! See `bodies::boat_file` in `tests/hostile/papers.rs`.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| leadsman_fuzz::bodies::boat_file(data));
