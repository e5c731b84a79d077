//! `scrub` of hostile recordings: the same memory as any other run, and a copy or a word.

use crate::HEAP;
use crate::examine::{MAX_HEAP, alone};
use crate::make::*;
use leadsman::scrub::{Content, ContentOptions, Copying, Key, Outcome, Packer, ScrubError};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Copies what is at `path`; memory is held to the limit of every run.
fn copy(path: &Path) -> Result<Outcome, ScrubError> {
    let _alone = alone();
    let before = HEAP.current_usage();
    HEAP.reset_peak_usage();
    let outcome = Copying::open(path.to_str().unwrap()).map_err(ScrubError::from).and_then(|copying| {
        let mut out = tempfile::tempfile().unwrap();
        let mut packer = Packer::new(&mut out, copying.compression()).unwrap();
        copying.run(Content::new(Key([7; 32]), ContentOptions::default()), &mut packer, &mut |_, _| {})
    });
    let heap = HEAP.peak_usage().saturating_sub(before);
    assert!(heap <= MAX_HEAP, "{heap} bytes of memory");
    outcome
}

fn copy_stream(mut input: Box<dyn Read>) -> Result<Outcome, ScrubError> {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    std::io::copy(&mut input, &mut file).unwrap();
    copy(file.path())
}

/// A gigabyte behind the head of a file that is no record of it; the file has a hole, so that it takes no disk.
#[test]
fn a_gigabyte_of_damage_ends_in_words() {
    let head = [section(), interface(1, 0, &[]), enhanced(0, START_US, &[1; 60])].concat();
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), &head).unwrap();
    File::options().write(true).open(file.path()).unwrap().set_len(1 << 30).unwrap();
    let Err(ScrubError::Recording(error)) = copy(file.path()) else { panic!("it was copied") };
    assert!(format!("{error:?}").contains("64 MiB in a row hold no record"), "{error:?}");
}

#[test]
fn a_line_without_end_is_copied() {
    let head = sentence("SDDPT,7.4,0.4,100").repeat(3).into_bytes();
    let outcome = copy_stream(made(head, 24 << 20 >> 16, |_, out| out.resize(1 << 16, b'$'))).unwrap();
    assert_eq!(outcome.summary.frames, 3);
}

#[test]
fn a_compressed_file_that_swells_is_copied() {
    let head = sentence("SDDPT,7.4,0.4,100").repeat(3).into_bytes();
    let packed = zstd::stream::encode_all(made(head, 512, |_, out| out.resize(1 << 16, b' ')), 3).unwrap();
    let outcome = copy_stream(Box::new(std::io::Cursor::new(packed))).unwrap();
    assert_eq!(outcome.summary.frames, 3);
}

/// What waits for the rest of a message is held back only so far: starts of fast packets (PGN 129029) of ever new sources, and
/// TCP segments behind holes.
#[test]
fn messages_and_streams_without_end_are_given_up() {
    let starts = made(pcap_head(CAN), 200_000, |n, out| {
        let frame = can(3, 129_029, (n % 250) as u8, &[((n / 250 % 8) << 5) as u8, 43, 1, 2, 3, 4, 5, 6]);
        pcap_record(out, n * 100, &frame);
    });
    assert_eq!(copy_stream(starts).unwrap().summary.frames, 200_000);
    let holes = made(pcap_head(1), 60_000, |n, out| {
        let ports = (10_110, 1024 + (n % 3000) as u16);
        let segment =
            tcp((0x0A00_0001, 0x0A00_0002), ports, 1000 + 200 * (n / 3000) as u32, 0x18, &[b'$'; 100]);
        pcap_record(out, n * 100, &ethernet(1, mac(2), 0x0800, &segment));
    });
    assert_eq!(copy_stream(holes).unwrap().summary.frames, 60_000);
}
