//! Every recording of `captures/`, damaged by the dice, through the whole program.

use crate::bodies::accounts;
use crate::examine::{Seen, examine};
use crate::mutate::{Dice, mutate};
use std::fs;
use std::io::{Read, Write};

/// Variants in an ordinary test run.
const FEW: u64 = 400;

/// Variants of the long run, when `LEADSMAN_VARIANTS` does not say otherwise.
const MANY: u64 = 100_000;

/// One in so many variants is of the whole recording; the others are of its head and one stretch of it, or the long run
/// would spend its time on reading what is not damaged.
const WHOLE_EVERY: usize = 200;

/// Bytes of head and stretch of the others.
const PIECE: usize = 12 << 10;

/// A recording as stored and unpacked.
pub(crate) struct Seed {
    pub(crate) name: String,
    stored: Vec<u8>,
    pub(crate) content: Vec<u8>,
}

/// Every recording of `captures/`.
pub(crate) fn seeds() -> Vec<Seed> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/captures");
    let mut paths: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    let read = |path: &std::path::PathBuf| {
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        let stored = fs::read(path).unwrap();
        let mut content = Vec::new();
        if name.ends_with(".gz") {
            flate2::read::GzDecoder::new(&stored[..]).read_to_end(&mut content).unwrap();
        } else if name.ends_with(".zst") {
            content = zstd::stream::decode_all(&stored[..]).unwrap();
        } else {
            content.clone_from(&stored);
        }
        Seed { name, stored, content }
    };
    let is_recording =
        |path: &&std::path::PathBuf| path.extension().is_some_and(|e| e != "md" && e != "gitattributes");
    let seeds: Vec<_> =
        paths.iter().filter(is_recording).filter(|p| !p.ends_with(".gitattributes")).map(read).collect();
    assert!(seeds.len() >= 17, "{}", seeds.len());
    seeds
}

/// The bytes that the dice choose to damage: the packed file, the whole content, or head and stretch of it.
fn pick(dice: &mut Dice, seed: &Seed) -> Vec<u8> {
    match dice.below(WHOLE_EVERY) {
        0 => seed.content.clone(),
        1 => seed.stored.clone(),
        _ => {
            let content = &seed.content;
            let from = dice.below(content.len());
            let stretch = &content[from..(from + PIECE).min(content.len())];
            [&content[..PIECE.min(content.len())], stretch].concat()
        }
    }
}

/// Packs the damaged bytes now and then, so that damage lies inside sound compression too.
fn pack(dice: &mut Dice, bytes: Vec<u8>) -> Vec<u8> {
    match dice.below(16) {
        0 => zstd::stream::encode_all(&bytes[..], 1).unwrap(),
        1 => {
            let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
            encoder.write_all(&bytes).unwrap();
            encoder.finish().unwrap()
        }
        _ => bytes,
    }
}

/// What a variant came to, for the figures of the long run.
#[derive(Default)]
struct Sum {
    read: u64,
    refused: u64,
    frames: u64,
    damaged: u64,
    heap: usize,
    slowest_ms: u128,
}

impl Sum {
    fn add(&mut self, seen: &Seen) {
        self.read += 1;
        self.frames += seen.summaries.iter().map(|s| s.frames).sum::<u64>();
        self.damaged += seen.summaries.iter().map(|s| s.damaged_bytes).sum::<u64>();
        self.heap = self.heap.max(seen.heap);
        self.slowest_ms = self.slowest_ms.max(seen.time.as_millis());
    }
}

/// A variant of a recording, and its bytes.
pub(crate) fn damaged(seeds: &[Seed], variant: u64) -> (&Seed, Vec<u8>) {
    let mut dice = Dice(variant.wrapping_mul(0x5851_F42D_4C95_7F2D));
    let seed = &seeds[variant as usize % seeds.len()];
    let mut bytes = pick(&mut dice, seed);
    let other = &seeds[dice.below(seeds.len())].content;
    mutate(&mut dice, &mut bytes, other);
    (seed, pack(&mut dice, bytes))
}

/// The variants of a long run: the environment may ask for others than `0..count`.
pub(crate) fn asked_for(count: u64) -> std::ops::Range<u64> {
    let number = |name: &str, or: u64| std::env::var(name).map_or(or, |text| text.parse().unwrap());
    let from = number("LEADSMAN_FIRST", 0);
    from..from + number("LEADSMAN_VARIANTS", count)
}

/// Runs variants. A failure names the variant, so that it can be looked at alone.
fn run(variants: std::ops::Range<u64>) -> Sum {
    let seeds = seeds();
    let mut sum = Sum::default();
    for variant in variants {
        let (seed, bytes) = damaged(&seeds, variant);
        let size = bytes.len();
        let outcome =
            std::panic::catch_unwind(|| examine(&bytes).inspect(|seen| accounts(&seen.summaries[0], size)));
        let Ok(outcome) = outcome else { panic!("variant {variant} of {}", seed.name) };
        match outcome {
            Ok(seen) => {
                sum.add(&seen);
            }
            Err(error) => {
                assert!(!error.to_string().is_empty());
                sum.refused += 1;
            }
        }
    }
    sum
}

#[test]
fn a_few_damaged_recordings_give_sound_reports() {
    let sum = run(0..FEW);
    assert!(sum.read > FEW / 2, "most damage leaves something to read: {}", sum.read);
    assert!(sum.damaged > 0);
}

#[test]
#[ignore = "takes long: see docs/robustness.md"]
fn a_hundred_thousand_damaged_recordings_give_sound_reports() {
    let variants = asked_for(MANY);
    let sum = run(variants);
    eprintln!(
        "{} variants: {} read, {} refused, {} frames, {} damaged bytes, at most {} KiB and {} ms",
        sum.read + sum.refused,
        sum.read,
        sum.refused,
        sum.frames,
        sum.damaged,
        sum.heap >> 10,
        sum.slowest_ms
    );
}
