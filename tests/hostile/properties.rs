//! Damage takes away and adds little: what that little is, and that taking the damage out gives the report back.

use crate::examine::examine;
use crate::make::*;
use proptest::prelude::*;

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
    fn noise_between_records_costs_none_and_taking_it_out_restores_the_report(
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
        let mended = [&damaged[..at], &damaged[at + noise.len()..]].concat();
        let json = |bytes: &[u8]| serde_json::to_string(&examine(bytes).unwrap().report).unwrap();
        prop_assert_eq!(json(&mended), json(&bytes));
    }
}
