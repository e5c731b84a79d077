//! Damage takes away and adds little: what that little is, and that with nothing but noise in between the report is the same.

use crate::examine::examine;
use crate::make::*;
use crate::mutants::seeds;
use leadsman::report::model::Report;
use proptest::prelude::*;
use serde_json::{Value, json};
use std::sync::OnceLock;

fn packets() -> Vec<Vec<u8>> {
    (0..40_u64)
        .map(|n| {
            ethernet(
                1,
                mac(2),
                0x0800,
                &ipv4(0x0A00_0001, 0x0A00_0002, 17, (0, 0, false), &udp(9, 9, &n.to_be_bytes())),
            )
        })
        .collect()
}

/// One sound recording of each container, and the fewest bytes that a record of it can have.
fn sound() -> Vec<(Vec<u8>, u64)> {
    let ng: Vec<u8> =
        packets().iter().enumerate().flat_map(|(n, p)| enhanced(0, START_US + n as u64 * 1000, p)).collect();
    let can: String = (0..60)
        .map(|n| format!("({}.{n:06}) can0 09F80101#{n:02X}02030405060708\n", 1_767_225_600))
        .collect();
    let text: String = (0..60).map(|n| sentence(&format!("SDDPT,7.{n},0.4,100"))).collect();
    vec![
        (pcap(1, packets()), 16),
        ([section(), interface(1, 0, &[]), ng].concat(), 16),
        (can.into_bytes(), 2),
        (text.into_bytes(), 2),
    ]
}

fn frames(bytes: &[u8]) -> u64 {
    examine(bytes).map_or(0, |seen| seen.summaries[0].frames)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn damage_adds_no_more_frames_than_its_bytes_could_make(
        which in 0usize..4,
        at in any::<prop::sample::Index>(),
        noise in prop::collection::vec(any::<u8>(), 1..400),
        over in any::<bool>(),
    ) {
        let (bytes, least) = sound().swap_remove(which);
        let at = at.index(bytes.len());
        let end = if over { (at + noise.len()).min(bytes.len()) } else { at };
        let damaged = [&bytes[..at], &noise, &bytes[end..]].concat();
        // The record that the damage splits can become two more: what stood before and what stands after.
        let made = noise.len() as u64 / least + 2;
        let (before, after) = (frames(&bytes), frames(&damaged));
        prop_assert!(after <= before + made, "{} frames became {}", before, after);
    }

    #[test]
    fn noise_between_records_costs_hardly_any(
        noise in prop::collection::vec(any::<u8>(), 1..400),
        after in 1usize..39,
    ) {
        let (bytes, _) = sound().swap_remove(0);
        let record = 16 + packets()[0].len();
        let at = 24 + after * record;
        let damaged = [&bytes[..at], &noise, &bytes[at..]].concat();
        let seen = examine(&damaged).unwrap();
        let summary = &seen.summaries[0];
        let found = summary.frames;
        prop_assert!((38..=41 + noise.len() as u64 / 16).contains(&found), "{} frames", found);
        prop_assert!(summary.damaged_bytes > 0 || found != 40);
        if summary.damaged_bytes > 0 {
            prop_assert!(seen.says("at byte"), "{:?}", summary.problems);
        }
        // Unless the noise took a neighbour along or made a record of its own, it is as if it were not there.
        if (found, summary.damaged_bytes) == (40, noise.len() as u64) {
            prop_assert_eq!(told(&seen.report), told(&examine(&bytes).unwrap().report));
        }
    }
}

/// What a report tells of the boat: all but what it says of the recording itself and of its damage.
fn told(report: &Report) -> Value {
    let mut value = serde_json::to_value(report).unwrap();
    let findings = value["findings"].as_array_mut().unwrap();
    findings.retain(|finding| finding["kind"] != "recording-damaged");
    json!({
        "wires": value["wires"], "devices": value["devices"], "sources": value["sources"], "timing": value["timing"],
        "findings": value["findings"], "frames": report.recordings[0].frames,
    })
}

/// Where the lines of a text, or the blocks of a little-endian pcapng file, begin.
fn begins(bytes: &[u8]) -> Vec<usize> {
    if !bytes.starts_with(&[0x0A, 0x0D, 0x0D, 0x0A]) {
        return bytes.iter().enumerate().filter(|(_, b)| **b == b'\n').map(|(at, _)| at + 1).collect();
    }
    let length = |at: &usize| Some(u32::from_le_bytes(*bytes.get(at + 4..)?.first_chunk()?) as usize);
    std::iter::successors(Some(0), |at| Some(at + length(at)?)).skip(1).collect()
}

/// Demo recordings of the containers that lose nothing to noise between their records, with a finding each but two.
const NAMES: [&str; 6] = [
    "second-sounder.txt",
    "too-short.log",
    "two-headings.log.gz",
    "heading-jumps.txt.gz",
    "switch-outage.pcapng.zst",
    "healthy-network.pcapng.gz",
];

/// The recording of each of those names, and its report.
fn demos() -> &'static [(Vec<u8>, Report)] {
    static DEMOS: OnceLock<Vec<(Vec<u8>, Report)>> = OnceLock::new();
    DEMOS.get_or_init(|| {
        let seeds = seeds();
        let content = |name| seeds.iter().find(|seed| seed.name == name).unwrap().content.clone();
        NAMES.map(content).map(|content| (content.clone(), examine(&content).unwrap().report)).into()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(36))]

    #[test]
    fn noise_between_blocks_and_lines_changes_nothing_that_is_told_of_the_boat(
        which in 0..NAMES.len(),
        noises in prop::collection::vec((any::<prop::sample::Index>(), prop::collection::vec(any::<u8>(), 1..300)), 1..5),
    ) {
        let (bytes, report) = &demos()[which];
        let begins = begins(bytes);
        let is_text = !bytes.starts_with(&[0x0A]);
        let mut places: Vec<(usize, Vec<u8>)> =
            noises.into_iter().map(|(index, noise)| (begins[index.index(begins.len())], noise)).collect();
        places.sort();
        // A mark makes a garbled sentence out of a line of noise, and that is a frame of its wire and may be a finding.
        let is_mark = |b: &&u8| matches!(b, b'$' | b'!');
        let marks = places.iter().flat_map(|(_, noise)| noise).filter(is_mark).count() as u64;
        let mut damaged = bytes.clone();
        for (at, mut noise) in places.into_iter().rev() {
            // A line that has lost its end takes the next one with it: that is damage to a line, not between two.
            noise.extend(is_text.then_some(b'\n'));
            damaged.splice(at..at, noise);
        }
        let seen = examine(&damaged).unwrap();
        let summary = &seen.summaries[0];
        prop_assert!(summary.damaged_bytes > 0 || is_text, "the noise is told");
        prop_assert!(summary.damaged_bytes <= (damaged.len() - bytes.len()) as u64);
        let (mut now, mut before) = (told(&seen.report), told(report));
        if is_text && marks > 0 {
            let frames = before["frames"].as_u64().unwrap();
            prop_assert!((frames..=frames + marks).contains(&summary.frames), "{} frames", summary.frames);
            for value in [&mut now, &mut before] {
                ["frames", "wires", "findings"].iter().for_each(|key| value[*key] = Value::Null);
            }
        }
        prop_assert_eq!(now, before);
    }
}
