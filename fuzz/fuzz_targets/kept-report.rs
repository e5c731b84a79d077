//! See `bodies::kept_report` in `tests/hostile/papers.rs`.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| leadsman_fuzz::bodies::kept_report(data));
