//! Seeds for the fuzzer out of `captures/`: the heads of the recordings, and their first records in the forms that the
//! decoders' targets take. `fuzz/run` makes them when they are not there.

use crate::mutants::seeds;
use leadsman::recording::{CanKind, LinkType, Payload, open_reader};
use std::fs;
use std::io::Cursor;
use std::path::Path;

/// Bytes of a recording's head that make a seed.
const HEAD: usize = 6 << 10;

/// Records that make a seed of a decoder.
const RECORDS: usize = 60;

#[test]
#[ignore = "writes fuzz/seeds"]
fn make_the_seeds() {
    for seed in seeds() {
        let head = &seed.content[..HEAD.min(seed.content.len())];
        keep("recording", &seed.name, head);
        keep("pipeline", &seed.name, head);
        keep("recording", &format!("{}.packed", seed.name), &zstd::stream::encode_all(head, 3).unwrap());
        decoders(&seed.name, seed.content);
    }
}

fn keep(target: &str, name: &str, bytes: &[u8]) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/seeds").join(target);
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join(name), bytes).unwrap();
}

/// The first records of a recording, in the forms that the decoders' targets take.
fn decoders(name: &str, content: Vec<u8>) {
    let mut recording = open_reader(name, None, Box::new(Cursor::new(content))).unwrap();
    let (mut packets, mut frames, mut lines, mut count) = (Vec::new(), Vec::new(), Vec::new(), 0);
    while count < RECORDS && recording.advance().unwrap() {
        count += 1;
        match recording.record().payload {
            Payload::Packet { link: LinkType::Ethernet, bytes, .. } => {
                packets.push(17 << 3);
                packets.extend((bytes.len() as u16).to_le_bytes());
                packets.extend(bytes);
            }
            Payload::Can(frame) if frame.kind == CanKind::Extended => {
                frames.extend(frame.id.to_le_bytes());
                frames.extend([13, frame.len]);
                frames.extend(frame.data());
                frames.resize(frames.len().next_multiple_of(14), 0);
            }
            Payload::Line(line) => {
                lines.extend(line);
                lines.push(b'\n');
            }
            _ => {}
        }
    }
    for (target, bytes) in [("packets", packets), ("bus", frames), ("lines", lines)] {
        if !bytes.is_empty() {
            keep(target, name, &bytes);
        }
    }
}
