//! Seeds for the fuzzer out of `captures/`: the heads of the recordings, and their first records in the forms that the
//! decoders' targets take. `fuzz/run` makes them when they are not there.

use crate::mutants::seeds;
use leadsman::boat;
use leadsman::recording::{CanKind, LinkType, Payload, open_reader};
use leadsman::survey::{self, Options};
use serde_json::Value;
use std::fs;
use std::io::Cursor;
use std::path::Path;

/// Bytes of a recording's head that make a seed.
const HEAD: usize = 6 << 10;

/// Records that make a seed of a decoder.
const RECORDS: usize = 60;

/// Bytes that the fuzzer takes of a seed (`-max_len` in `fuzz/run`).
const LONGEST: usize = 16 << 10;

/// Rows of each table that a kept report has as a seed.
const ROWS: usize = 4;

#[test]
#[ignore = "writes fuzz/seeds"]
fn make_the_seeds() {
    for seed in seeds() {
        let head = &seed.content[..HEAD.min(seed.content.len())];
        keep("recording", &seed.name, head);
        keep("pipeline", &seed.name, head);
        keep("scrub", &seed.name, head);
        let packed = zstd::stream::encode_all(head, 3).unwrap();
        keep("recording", &format!("{}.packed", seed.name), &packed);
        keep("scrub", &format!("{}.packed", seed.name), &packed);
        papers(&seed.name, seed.content.clone());
        decoders(&seed.name, seed.content);
    }
    example_boat();
}

fn keep(target: &str, name: &str, bytes: &[u8]) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/seeds").join(target);
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join(name), bytes).unwrap();
}

/// The boat file that would be drafted of a recording, and its report as it may have been kept, with a few rows of each table.
fn papers(name: &str, content: Vec<u8>) {
    let recording = open_reader(name, None, Box::new(Cursor::new(content))).unwrap();
    let report = survey::report_on(vec![recording], &Options::default(), &mut |_| {}).unwrap();
    let draft = boat::learn(&report).text;
    // Without its comments it is short enough, and more of what is changed in it counts.
    let lines = draft.lines().filter(|line| !line.is_empty() && !line.starts_with('#'));
    let plain: String = lines.flat_map(|line| [line, "\n"]).collect();
    keep("boat-file", &format!("{name}.toml"), &plain.as_bytes()[..LONGEST.min(plain.len())]);
    let mut value = serde_json::to_value(&report).unwrap();
    value["complaints"] = Value::Null;
    for rows in value.as_object_mut().unwrap().values_mut().filter_map(Value::as_array_mut) {
        rows.truncate(ROWS);
    }
    let json = serde_json::to_vec(&value).unwrap();
    assert!(json.len() < LONGEST, "{} bytes of JSON: the fuzzer would cut it", json.len());
    keep("kept-report", &format!("{name}.json"), &json);
}

/// The example's boat file: whole, and its head with one section each behind it.
fn example_boat() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/example-boat/boat.toml");
    let text = fs::read_to_string(path).unwrap();
    keep("boat-file", "whole.toml", text.as_bytes());
    let (head, rest) = text.split_at(text.find("[[cable]]").unwrap());
    for (number, section) in rest.split("# ----").enumerate() {
        keep("boat-file", &format!("section-{number}.toml"), format!("{head}#{section}").as_bytes());
    }
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
                frames.extend([13, frame.data.len() as u8]);
                frames.extend(frame.data);
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
