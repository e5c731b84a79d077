//! See `bodies::pipeline` in `tests/hostile/bodies.rs`.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| leadsman_fuzz::bodies::pipeline(data));
