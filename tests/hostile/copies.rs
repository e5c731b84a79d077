//! Copies that are fit to share, as a fuzz target: of any bytes, a copy that is as good a recording as they were.

use super::open;
use leadsman::recording::{Payload, Summary};
use leadsman::scrub::{Content, ContentOptions, Copying, Key, Packer};
use std::io::{Read as _, Seek as _, Write as _};

/// Any bytes as a recording, copied, and the copy copied: each holds as many frames in the same container, and all of them
/// are as long as they were.
pub fn scrub(data: &[u8]) {
    let Some((before, lengths)) = told(data) else { return };
    if before.frames == 0 {
        // Of nothing the program makes no copy.
        copied(data);
        return;
    }
    let mut from = data.to_vec();
    for round in ["copy", "copy of the copy"] {
        let copy = copied(&from);
        let Some((after, now)) = told(&copy) else { panic!("the {round} is no recording") };
        assert_eq!((after.container, after.compression), (before.container, before.compression), "{round}");
        assert_eq!(after.frames, before.frames, "{round}: {:?}; was {:?}", after.problems, before.problems);
        assert_eq!(now, lengths, "{round}: the frames have other lengths");
        if before.compression.is_none() {
            assert_eq!(copy.len(), data.len(), "{round}");
        }
        from = copy;
    }
}

/// What the reader says of these bytes, and the length of each frame.
fn told(data: &[u8]) -> Option<(Summary, Vec<usize>)> {
    let mut recording = open(data)?;
    let mut lengths = Vec::new();
    while recording.advance().unwrap() {
        lengths.push(match recording.record().payload {
            Payload::Packet { bytes, .. } => bytes.len(),
            Payload::Line(line) => line.len(),
            Payload::Can(frame) => frame.data.len(),
            Payload::Other => 0,
        });
    }
    Some((recording.summary().clone(), lengths))
}

/// The copy that is made with a fixed key. Recordings are opened by their names; `fuzz/run` puts such files into memory.
fn copied(data: &[u8]) -> Vec<u8> {
    let mut input = tempfile::NamedTempFile::new().unwrap();
    input.write_all(data).unwrap();
    let copying = Copying::open(input.path().to_str().unwrap()).unwrap();
    let mut file = tempfile::tempfile().unwrap();
    let mut packer = Packer::new(&mut file, copying.compression()).unwrap();
    let content = Content::new(Key([7; 32]), ContentOptions::default());
    copying.run(content, &mut packer, &mut |_, _| {}).unwrap();
    drop(packer);
    let mut copy = Vec::new();
    file.rewind().unwrap();
    file.read_to_end(&mut copy).unwrap();
    copy
}
