//! See `bodies::scrub` in `tests/hostile/copies.rs`.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| leadsman_fuzz::bodies::scrub(data));
