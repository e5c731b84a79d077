//! Hostile containers: lengths that lie, clocks that leap, files that are no files, compression that swells.

use crate::examine::{Seen, alone, examine, examine_stream, measured};
use crate::make::*;
use leadsman::recording::{RecordingError, open};
use std::io::{Cursor, Read, Write};

/// A frame that counts, to be found again after damage.
fn good(n: u64) -> Vec<u8> {
    ethernet(
        1,
        mac(2),
        0x0800,
        &ipv4(0x0A00_0001, 0x0A00_0002, 17, (0, 0, false), &udp(9, 9, &n.to_be_bytes())),
    )
}

/// A pcapng file whose block number 10 is `bad`, between 2 × 10 sound packets.
fn around(bad: &[u8]) -> Vec<u8> {
    let packets = |from: u64| {
        (from..from + 10).flat_map(|n| enhanced(0, START_US + n * 1000, &good(n))).collect::<Vec<_>>()
    };
    [section(), interface(1, 0, &[]), packets(0), bad.to_vec(), packets(10)].concat()
}

#[test]
fn pcapng_lengths_that_lie_cost_no_frame_around_them() {
    for length in [0, 1, 4, 8, 11, 13, 1 << 20, 16 << 20, 0x7FFF_FFFC, 0x8000_0000, 0xFFFF_FFFC, u32::MAX] {
        for kind in [6_u32, 1, 5, 0x0BAD, 0xDEAD_BEEF] {
            let bad = [&kind.to_le_bytes()[..], &length.to_le_bytes(), &[0x55; 40]].concat();
            let seen = examine(&around(&bad)).unwrap();
            assert_eq!(
                seen.summaries[0].frames, 20,
                "block type {kind:#x}, length {length:#x}: {:?}",
                seen.summaries
            );
            assert_eq!(seen.summaries[0].damaged_bytes, 48, "block type {kind:#x}, length {length:#x}");
            let place = section().len() + interface(1, 0, &[]).len() + 10 * enhanced(0, 0, &good(0)).len();
            seen.assert_says(&format!("at byte {place}"));
        }
    }
}

#[test]
fn pcapng_options_without_end() {
    let endless = [1_u16.to_le_bytes(), 4_u16.to_le_bytes(), [0; 2], [0; 2]].concat().repeat(100_000);
    let lying = [2_u16.to_le_bytes(), 0xFFFF_u16.to_le_bytes(), [b'e'; 2], [b'e'; 2]].concat();
    for options in [endless, lying] {
        let bytes = [section(), interface(1, 0, &options), enhanced(0, START_US, &good(0))].concat();
        assert_eq!(examine(&bytes).unwrap().summaries[0].frames, 1);
    }
}

#[test]
fn snap_lengths_of_nothing_and_of_everything() {
    for snap in [0, 1, u32::MAX] {
        let bytes = [section(), interface(1, snap, &[]), enhanced(0, START_US, &good(0))].concat();
        assert_eq!(examine(&bytes).unwrap().summaries[0].frames, 1, "snap length {snap}");
        let mut bytes = pcap(1, [good(0), good(1)]);
        bytes[16..20].copy_from_slice(&snap.to_le_bytes());
        assert_eq!(examine(&bytes).unwrap().summaries[0].frames, 2, "snap length {snap}");
    }
}

pub(crate) fn many_interfaces(count: u64) -> Seen {
    let head = section();
    let input = made(head, count, |n, out| {
        out.extend(interface(1, 0, &[]));
        out.extend(enhanced(n as u32, START_US + n, &good(n)));
    });
    examine_stream(input, None).unwrap()
}

#[test]
fn interfaces_without_end() {
    many_interfaces(5_000).assert_says("interfaces");
}

#[test]
fn sections_without_end() {
    let head = Vec::new();
    let input = made(head, 5_000, |n, out| {
        out.extend([section(), interface(1, 0, &[]), enhanced(0, START_US + n, &good(n))].concat());
    });
    assert_eq!(examine_stream(input, None).unwrap().summaries[0].frames, 5_000);
}

#[test]
fn times_at_both_ends_of_64_bits_and_back() {
    let ticks = [0, u64::MAX, START_US, 1, i64::MAX as u64, i64::MIN as u64, START_US + 1, u64::MAX - 1];
    // Every resolution, decimal and binary (if_tsresol), and offsets at both ends (if_tsoffset).
    for resolution in [0_u8, 3, 6, 9, 19, 20, 127, 0x80, 0x8A, 0xBF, 0xC0, 0xFF] {
        for offset in [0_i64, i64::MAX, i64::MIN, -1] {
            let options =
                [&[9, 0, 1, 0, resolution, 0, 0, 0][..], &[14, 0, 8, 0], &offset.to_le_bytes(), &[0; 4]];
            let packets = (0..200).flat_map(|n| enhanced(0, ticks[n % ticks.len()], &good(n as u64)));
            let bytes = [section(), interface(1, 0, &options.concat()), packets.collect()].concat();
            assert_eq!(examine(&bytes).unwrap().summaries[0].frames, 200);
        }
    }
}

#[test]
fn times_back_and_forth_on_a_bus_with_readings() {
    let heading = |n: usize| can(2, 127_250, 1, &[0, (n % 250) as u8, 10, 0xFF, 0x7F, 0xFF, 0x7F, 0xFD]);
    let ticks = [0, u64::MAX / 2, START_US, u64::MAX, 5];
    let packets =
        (0..3000).flat_map(|n| enhanced(0, ticks[n % 5].wrapping_add(n as u64 * 1_000_003), &heading(n)));
    let bytes = [section(), interface(227, 0, &[]), packets.collect()].concat();
    assert_eq!(examine(&bytes).unwrap().summaries[0].frames, 3000);
}

#[test]
fn a_pcap_record_that_claims_four_gigabytes_costs_no_frame_around_it() {
    for length in [0xFFFF_FFFF_u32, 0x8000_0000, 0x0100_0001, 0x00FF_FFFF] {
        let mut bytes = pcap(1, (0..10).map(good));
        let place = bytes.len();
        bytes.extend([1, 2, 3, 4, 5, 6, 7, 8]);
        bytes.extend([length.to_le_bytes(), length.to_le_bytes()].concat());
        (10..20).for_each(|n| pcap_record(&mut bytes, n * 1000, &good(n)));
        let seen = examine(&bytes).unwrap();
        assert_eq!((seen.summaries[0].frames, seen.summaries[0].damaged_bytes), (20, 16), "{length:#x}");
        seen.assert_says(&format!("at byte {place}"));
    }
}

#[test]
fn what_is_no_recording_is_refused_in_words() {
    for bytes in
        [&b""[..], b"\0", b"\n", &[0xFF; 100], &[0; 100_000], b"%PDF-1.7\n", &[0xD4, 0xC3, 0xB2, 0xA1]]
    {
        let Err(error) = examine(bytes) else { continue };
        assert!(error.to_string().starts_with("hostile "), "{error}");
    }
}

#[test]
fn a_directory_is_refused_in_words() {
    let Err(error) = open(env!("CARGO_MANIFEST_DIR")) else { panic!("a directory was opened") };
    assert!(error.to_string().contains("directory"), "{error}");
}

fn gzip(mut input: impl Read) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    std::io::copy(&mut input, &mut encoder).unwrap();
    encoder.finish().unwrap()
}

fn zstd(input: impl Read) -> Vec<u8> {
    zstd::stream::encode_all(input, 3).unwrap()
}

/// A recording of two sound sentences and `bytes` of one repeated line after them, packed.
fn bomb(bytes: u64, pack: fn(Box<dyn Read>) -> Vec<u8>) -> Vec<u8> {
    let head = sentence("SDDPT,7.4,0.4,100").repeat(2).into_bytes();
    pack(made(head, bytes >> 16, |_, out| out.resize(1 << 16, b' ')))
}

#[test]
fn compressed_files_that_swell_a_thousandfold() {
    for (pack, least) in [(gzip as fn(Box<dyn Read>) -> Vec<u8>, 500), (zstd, 5000)] {
        let packed = {
            let _alone = alone();
            bomb(32 << 20, pack)
        };
        assert!(packed.len() * least < 32 << 20, "{}", packed.len());
        let seen = examine(&packed).unwrap();
        assert!(seen.summaries[0].frames >= 2);
        assert!(seen.heap < 16 << 20, "{}", seen.heap);
    }
}

#[test]
fn nests_of_compressed_files() {
    let text = sentence("SDDPT,7.4,0.4,100").repeat(20).into_bytes();
    let twice = zstd(&gzip(&text[..])[..]);
    let seen = examine(&twice).unwrap();
    assert_eq!(seen.summaries[0].frames, 20);
    seen.assert_says("compressed twice");
    let Err(error) = examine(&gzip(&twice[..])) else { panic!("three layers were opened") };
    assert!(error.to_string().contains("unpack it first"), "{error}");
}

/// A few kilobytes that unpack to 64 MiB, more than ten-thousandfold: swelling within swelling.
#[test]
fn nests_that_swell_ten_thousandfold() {
    for outer in [gzip as fn(Box<dyn Read>) -> Vec<u8>, zstd] {
        let packed = {
            let _alone = alone();
            outer(Box::new(Cursor::new(bomb(64 << 20, gzip))))
        };
        assert!(packed.len() * 10_000 < 64 << 20, "{}", packed.len());
        assert!(examine(&packed).unwrap().summaries[0].frames >= 2);
    }
}

#[test]
fn a_zstd_window_that_is_too_large_is_told_with_what_to_do() {
    let mut encoder = zstd::stream::write::Encoder::new(Vec::new(), 1).unwrap();
    encoder.window_log(27).unwrap();
    encoder.write_all(sentence("SDDPT,7.4,0.4,100").repeat(20).as_bytes()).unwrap();
    let Err(error) = examine(&encoder.finish().unwrap()) else { panic!("a window of 128 MiB was taken") };
    assert!(error.to_string().contains("zstd -d"), "{error}");
}

/// A file that yields `good`, then fails as a disk or a pulled stick does.
struct Failing(Cursor<Vec<u8>>);

impl Read for Failing {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        match self.0.read(out)? {
            0 => Err(std::io::Error::other("the device is gone")),
            n => Ok(n),
        }
    }
}

#[test]
fn a_file_that_vanishes_while_it_is_read_is_named() {
    let bytes = pcap(1, (0..10).map(good));
    let outcome = {
        let _alone = alone();
        measured(Box::new(Failing(Cursor::new(bytes.clone()))), Some(bytes.len() as u64))
    };
    let Err(error @ RecordingError::Io { .. }) = outcome else { panic!("the fault was not told") };
    assert_eq!(error.to_string(), "cannot read hostile: the device is gone");
}

/// As a recorder does that is still running, or that starts its file anew.
#[test]
fn a_file_that_changes_while_it_is_read_is_read_as_far_as_it_goes() {
    let bytes = pcap(1, (0..100_000).map(good));
    let record = 16 + good(0).len();
    for (what, least) in [("grows", 100_001), ("is cut", 1000), ("is gone", 100_000)] {
        let _alone = alone();
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bow.pcap");
        std::fs::write(&path, &bytes).unwrap();
        let mut recording = open(path.to_str().unwrap()).unwrap();
        for _ in 0..100 {
            assert!(recording.advance().unwrap());
        }
        let mut file = std::fs::File::options().append(true).open(&path).unwrap();
        match what {
            "grows" => file.write_all(&bytes[bytes.len() - record..]).unwrap(),
            "is cut" => file.set_len((24 + record * 1000) as u64).unwrap(),
            _ => std::fs::remove_file(&path).unwrap(),
        }
        while recording.advance().unwrap() {}
        // What was read ahead before the cut is there.
        assert!((least..=100_001).contains(&recording.summary().frames), "{what}: {:?}", recording.summary());
        assert_eq!(recording.summary().frames == 100_001, what == "grows");
    }
}

#[test]
fn a_file_that_grew_since_it_was_opened_is_read_to_its_end() {
    let bytes = pcap(1, (0..2000).map(good));
    let _alone = alone();
    let seen = measured(Box::new(Cursor::new(bytes)), Some(1000)).unwrap();
    assert_eq!(seen.summaries[0].frames, 2000);
}
