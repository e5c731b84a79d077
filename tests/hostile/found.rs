//! What fuzzing and the dice found, one test each, so that it is not found again.

use crate::bodies::scrub;
use crate::examine::examine;
use crate::make::{block, enhanced, interface, pcap_head, section, sentence};

/// Found by the target `recording` and by the dice (one variant of 56,000 to 58,000): the bytes were told as damaged and as cut off too, more than there were.
#[test]
fn nuls_in_a_sentence_that_is_cut_off_are_counted_once() {
    let whole = sentence("SDDPT,7.4,0.4,100").repeat(3);
    let cut = b"$SDDPT,7.4\0\0\0,0.4";
    let seen = examine(&[whole.as_bytes(), cut].concat()).unwrap();
    let summary = &seen.summaries[0];
    assert_eq!((summary.damaged_bytes, summary.truncated_bytes), (0, cut.len() as u64));
    let ended = examine(&[whole.as_bytes(), cut, b"\r\n"].concat()).unwrap();
    assert_eq!((ended.summaries[0].damaged_bytes, ended.summaries[0].truncated_bytes), (3, 0));
}

/// Found by the dice (variants 10020 and 12961): a block with two faults was told as four bytes more than it has.
#[test]
fn a_pcapng_block_that_is_broken_twice_is_counted_once() {
    // A packet of an interface that is not there, with another length at its end, between sound blocks.
    let mut broken = enhanced(7, 0, &[1; 60]);
    let end = broken.len() - 4;
    broken[end..].copy_from_slice(&[0xFF; 4]);
    let sound = enhanced(0, 0, &[1; 60]);
    let bytes =
        [section(), interface(1, 0, &[]), sound.clone(), broken.clone(), sound, block(5, &[0; 12])].concat();
    let seen = examine(&bytes).unwrap();
    assert_eq!((seen.summaries[0].frames, seen.summaries[0].damaged_bytes), (2, broken.len() as u64));
}

/// Found by the property on noise between blocks: where the length that it pretends reaches beyond the end, the block right
/// behind the noise was skipped with it.
#[test]
fn one_byte_before_one_of_the_last_pcapng_blocks_costs_none() {
    let blocks: Vec<Vec<u8>> = (0..3).map(|n| enhanced(0, n, &[1; 60])).collect();
    for at in 0..3 {
        let mut bytes = [section(), interface(1, 0, &[])].concat();
        for (n, block) in blocks.iter().enumerate() {
            bytes.extend((n == at).then_some(0));
            bytes.extend(block);
        }
        let seen = examine(&bytes).unwrap();
        assert_eq!((seen.summaries[0].frames, seen.summaries[0].damaged_bytes), (3, 1), "before block {at}");
    }
}

/// Found by fuzzing `scrub`: the one sound record between two damaged ones was lost in the copy, as the damage behind it,
/// whose header looked sound before, did not any more.
#[test]
fn a_copy_keeps_a_record_between_two_places_of_damage() {
    let record = |second: u8, captured: u32, id: u8, data: &[u8]| {
        let mut bytes = vec![second, 0xD4, 0xFE, 0x69, 0, 0, 0, 0];
        bytes.extend(captured.to_le_bytes());
        bytes.extend(16_u32.to_le_bytes());
        bytes.extend([0x89, 0xF1, 0x12, id, 8, 0, 0, 0]);
        bytes.extend(data);
        bytes
    };
    let sound = |second: u8| record(second, 16, second, &[1, 2, 3, 4, 5, 6, 7, 8]);
    // One record that lacks its data, then a sound one, then one that pretends to be longer than it is.
    let cut = record(3, 16, 3, &[]);
    let long = record(5, 0x2_0010, 5, &[1, 2, 3, 4, 5, 6, 7, 8]);
    let bytes = [pcap_head(227), sound(1), sound(2), cut, sound(4), long, sound(6), sound(7)].concat();
    let seen = examine(&bytes).unwrap();
    assert_eq!((seen.summaries[0].frames, seen.summaries[0].damaged_bytes), (5, 24 + 32));
    scrub(&bytes);
}

/// Found by fuzzing `scrub`: a frame without data and with more characters behind its length was no frame in the copy, which
/// had dots in place of the length, or of the letter of a remote frame; and its time was taken for the name of an interface.
#[test]
fn a_copy_keeps_a_frame_whose_length_is_nought() {
    let whole = "06:30:01.643 R 09F80123 19 54 E1 ED 19 56 56 F1\n".repeat(3);
    for empty in [
        "06:30:02.652 R 09F1130C 0  8C 06 00 00 FF FF FF\n",
        "06:30:02.652 can0 09F1130C [0] some remark\n",
        "06:30:02.652 09F1130C Rx d 0 some remark\n",
        "06:30:02.652 R 09F1130C\n",
        "(1778308200.250560) can0 18EEFF16#rA1809F1130C#02923D02\n",
    ] {
        let bytes = [whole.as_bytes(), empty.as_bytes()].concat();
        let seen = examine(&bytes).unwrap();
        assert_eq!(
            (seen.summaries[0].frames, seen.summaries[0].wires.len()),
            (4, if empty.contains("can0") { 2 } else { 1 })
        );
        scrub(&bytes);
    }
}

/// Found by fuzzing `scrub`: a damaged address in front of a log of frames looked like a sound one in the copy, which was
/// taken for a log of sentences; and the other way round where two sentences had run together.
#[test]
fn a_copy_of_a_log_that_begins_with_damage_is_the_same_kind_of_log() {
    let frames = "(1778308201.807356) can0 09F1120C#013B2BFF7FFF7FFD\n".repeat(3);
    for (damaged, container) in [
        ("$H#CHDG,64.0,,,,*70\n", "can-log"),
        ("$HCHDG,64.0,$GPGGA,2,3,,*70\n", "line-log"),
        ("$HCHDG,$GPGGA\n", "line-log"),
    ] {
        let bytes = [damaged.as_bytes(), frames.as_bytes()].concat();
        assert_eq!(examine(&bytes).unwrap().summaries[0].container, container, "{damaged}");
        scrub(&bytes);
    }
}

/// Found by fuzzing `scrub`: a record that had lost four bytes was sound in the copy, with all records behind it out of step,
/// as what its length led to looked like a header once the data there had been blanked.
#[test]
fn a_copy_skips_the_record_that_was_skipped() {
    let record = |second: u8, data: &[u8]| {
        let mut bytes = vec![second, 0xD4, 0xFE, 0x69, 16, 0, 0, 0, 16, 0, 0, 0, 16, 0, 0, 0];
        bytes.extend(data);
        bytes
    };
    let sound = |second: u8| record(second, &[0xF1; 16]);
    for lost in 1..15 {
        let cut = record(3, &[0xF1; 16][lost..]);
        // A link type that is not read, whose packets are blanked as a whole, and one that is.
        for link in [250, 227, 1] {
            let bytes = [pcap_head(link), sound(1), sound(2), cut.clone(), (4..40).flat_map(sound).collect()]
                .concat();
            let seen = examine(&bytes).unwrap();
            assert_eq!((seen.summaries[0].frames, seen.summaries[0].damaged_bytes), (38, 32 - lost as u64));
            scrub(&bytes);
        }
    }
}

/// Found by fuzzing `scrub`: a pcapng block whose two lengths differ is believed for the block behind it. When that one was
/// damaged too and blanked in the copy, the first was lost.
#[test]
fn a_copy_keeps_a_pcapng_block_between_a_wrong_length_and_damage() {
    let sound = |n: u64| enhanced(0, n, &[1; 60]);
    let spoilt = |n: u64, at_end: u8| {
        let mut block = sound(n);
        *block.last_mut().unwrap() = at_end;
        block
    };
    // The last byte of a sound length is nought.
    for (first, second) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
        let mut lost = spoilt(3, second);
        if second > 0 {
            // What follows is no block either.
            lost.extend([0xEE; 5]);
        }
        let blocks = [sound(1), spoilt(2, first), lost, sound(4), sound(5)].concat();
        let bytes = [section(), interface(1, 0, &[]), blocks].concat();
        assert_eq!(examine(&bytes).unwrap().summaries[0].frames, 5 - u64::from(second), "{first} {second}");
        scrub(&bytes);
    }
}

/// Found by fuzzing `scrub`: a pcapng block of an interface that is not there, right behind damage, was blanked as a whole in
/// the copy, and what followed it was looked for at another place.
#[test]
fn a_copy_of_a_pcapng_block_that_is_broken_inside_is_broken_inside() {
    let broken = enhanced(7, 3, &[1; 60]);
    for damage in [&[][..], &[0xEE; 5]] {
        // What is broken holds what looks like the beginning of a block that reaches beyond it.
        let mut inner = broken.clone();
        inner[40..48].copy_from_slice(&[6, 0, 0, 0, 0xE0, 0, 0, 0]);
        let blocks = [enhanced(0, 1, &[1; 60]), damage.to_vec(), inner, enhanced(0, 4, &[2; 60])].concat();
        let bytes = [section(), interface(1, 0, &[]), blocks].concat();
        let seen = examine(&bytes).unwrap();
        let lost = (damage.len() + broken.len()) as u64;
        assert_eq!((seen.summaries[0].frames, seen.summaries[0].damaged_bytes), (2, lost));
        scrub(&bytes);
    }
}
