//! Of what a carrier says of its owner no byte string is left; what the copy is for stays. And a long recording takes no more
//! memory than a short one.

use crate::packets::{SECRET, holds, packets_of, pcap, scrubbed};
use etherparse::{Icmpv6Slice, PacketBuilder};
use leadsman::scrub::{Content, ContentOptions, Copying, Key, Packer, ScrubError};
use std::fs::{self, File};
use std::io::ErrorKind;

/// A hardware address and public network addresses that must not be found in any copy.
const MAC: [u8; 6] = [0x00, 0x1B, 0xC5, 0x41, 0x52, 0x63];
const PUBLIC: [u8; 4] = [81, 92, 103, 114];
const PUBLIC_6: [u8; 16] =
    [0x20, 0x03, 0x51, 0x62, 0x73, 0x84, 0, 1, 0x02, 0x1B, 0xC5, 0xFF, 0xFE, 0x41, 0x52, 0x63];

/// No four bytes in a row of a secret are found in the copy, though all of it is in the original.
#[track_caller]
fn spares(original: &[u8], copy: &[u8], secret: &[u8]) {
    assert_eq!(original.len(), copy.len());
    assert!(holds(original, secret), "the test's own recording lacks {}", secret.escape_ascii());
    for part in secret.windows(4) {
        assert!(!holds(copy, part), "{} of {} is left", part.escape_ascii(), secret.escape_ascii());
    }
}

/// Scrubs one packet and gives the copy of it.
fn copied(packet: &[u8]) -> Vec<u8> {
    packets_of(&scrubbed(&pcap(&[packet.to_vec()]))).remove(0)
}

/// RFC 2131 section 2, options of RFC 2132.
#[test]
fn dhcp_keeps_its_kind_and_times() {
    let mut message = vec![1, 1, 6, 0, 9, 9, 9, 9];
    message.resize(12, 0);
    message.extend([PUBLIC, PUBLIC, PUBLIC, PUBLIC].concat());
    message.extend(MAC);
    message.extend(b"FILLING-10");
    for room in [64, 128] {
        let from = message.len();
        message.extend(SECRET);
        message.resize(from + room, 0);
    }
    message.extend([0x63, 0x82, 0x53, 0x63]);
    let kind = [53, 1, 3];
    let lease = [51, 4, 0, 1, 0x51, 0x80];
    message.extend([kind.as_slice(), &lease].concat());
    let client = [&[0], SECRET].concat();
    let full = [&[0, 0, 0], SECRET].concat();
    let of_hardware = [&[1], &MAC[..]].concat();
    for (code, value) in
        [(12, SECRET), (15, SECRET), (60, SECRET), (61, &client), (81, &full), (43, SECRET), (66, SECRET)]
    {
        message.extend([code, value.len() as u8]);
        message.extend(value);
    }
    for (code, value) in [(61, of_hardware.as_slice()), (6, &PUBLIC), (54, &PUBLIC), (2, &[0, 0, 0x8C, 0xA0])]
    {
        message.extend([code, value.len() as u8]);
        message.extend(value);
    }
    message.push(255);
    message.extend(SECRET);
    let mut packet = Vec::new();
    PacketBuilder::ethernet2(MAC, [0xFF; 6])
        .ipv4([0; 4], [255; 4], 64)
        .udp(68, 67)
        .write(&mut packet, &message)
        .unwrap();
    let copy = copied(&packet);
    for secret in [SECRET, &MAC, &PUBLIC, b"FILLING-10"] {
        spares(&packet, &copy, secret);
    }
    assert!(holds(&copy, &kind) && holds(&copy, &lease));
    assert!(holds(&copy, &[2, 4, 0, 0, 0, 0]), "the offset from UTC tells the longitude");
    let new = &copy[6..12];
    assert_eq!(
        (new, new),
        (&copy[42 + 28..42 + 34], copy.windows(9).find(|w| w[..3] == [61, 7, 1]).map(|w| &w[3..]).unwrap())
    );
}

/// IEEE 802.1AB clause 8: names, descriptions and addresses go, the lifetime stays.
#[test]
fn lldp_keeps_its_lifetime() {
    let mut packet = [[0x01, 0x80, 0xC2, 0, 0, 0x0E], MAC].concat();
    packet.extend([0x88, 0xCC]);
    let hardware = [&[4], &MAC[..]].concat();
    let name = [&[5], SECRET].concat();
    let address = [&[5, 1], &PUBLIC[..], &[2, 0, 0, 0, 1, 0]].concat();
    let own = [b"\x00\x12\x0F\x01", SECRET].concat();
    for (kind, value) in [
        (1, hardware.as_slice()),
        (2, &name),
        (3, &[0, 120]),
        (4, SECRET),
        (5, SECRET),
        (6, SECRET),
        (8, &address),
        (127, &own),
        (0, &[]),
    ] {
        packet.extend([kind << 1, value.len() as u8]);
        packet.extend(value);
    }
    packet.extend(SECRET);
    let copy = copied(&packet);
    for secret in [SECRET, &MAC, &PUBLIC] {
        spares(&packet, &copy, secret);
    }
    assert!(holds(&copy, &[3 << 1, 2, 0, 120]));
    assert_eq!(copy[6..12], copy[17..23], "the chassis is the sender still");
}

/// RFC 4861 sections 4.2 and 4.4, RFC 4443 section 4.1: kinds stay, and the checksum stays right.
#[test]
fn neighbours_and_echoes_of_version_6() {
    let hardware = [&[2, 1], &MAC[..]].concat();
    let prefix = [&[3, 4, 64, 0xC0, 0, 0, 0x0E, 0x10, 0, 0, 0, 60, 0, 0, 0, 0], &PUBLIC_6[..]].concat();
    let unknown = [&[200, 2], SECRET, b"!"].concat();
    let advertised = [&PUBLIC_6[..], &hardware].concat();
    let routed = [&[0; 8][..], &prefix, &unknown].concat();
    for (kind, body, secret) in [
        (136, advertised.as_slice(), PUBLIC_6.as_slice()),
        (134, &routed, SECRET),
        (134, &routed, &PUBLIC_6[..6]),
        (128, SECRET, SECRET),
        (1, SECRET, SECRET),
    ] {
        let mut packet = Vec::new();
        PacketBuilder::ethernet2(MAC, [0x33, 0x33, 0, 0, 0, 1])
            .ipv6(PUBLIC_6, [0xFF, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1], 255)
            .icmpv6_raw(kind, 0, [0; 4])
            .write(&mut packet, body)
            .unwrap();
        let copy = copied(&packet);
        spares(&packet, &copy, secret);
        spares(&packet, &copy, &MAC);
        spares(&packet, &copy, &PUBLIC_6[..6]);
        spares(&packet, &copy, &PUBLIC_6[8..]);
        let icmp = Icmpv6Slice::from_slice(&copy[54..]).unwrap();
        let end = |at: usize| copy[at..at + 16].try_into().unwrap();
        assert!(icmp.is_checksum_valid(end(22), end(38)), "{kind}");
        assert_eq!(icmp.type_u8(), kind);
    }
}

/// Linux cooked headers (draft-ietf-opsawg-pcaplinktype, 113 and 276): the sender's address is replaced, what fills its
/// field is blanked, and what follows is rewritten as ever.
#[test]
fn cooked_captures() {
    let field = [&MAC[..], b"SE"].concat();
    for (link, head) in [
        (113, [&[0, 4, 0, 1, 0, 6][..], &field, &[8, 0]].concat()),
        (276, [&[8, 0, 0, 0, 0, 0, 0, 2, 0, 1, 4, 6][..], &field].concat()),
    ] {
        let mut packet = head.clone();
        PacketBuilder::ipv4([192, 168, 1, 10], PUBLIC, 64)
            .udp(50_000, 9999)
            .write(&mut packet, SECRET)
            .unwrap();
        let mut file = pcap(&[packet]);
        file[20..22].copy_from_slice(&u16::to_le_bytes(link));
        let copy = scrubbed(&file);
        for secret in [SECRET, &MAC, &PUBLIC, &field] {
            spares(&file, &copy, secret);
        }
        let at = 40 + head.windows(8).position(|window| window == field).unwrap();
        assert_eq!(copy[at + 6..at + 8], [0, 0]);
        assert!(holds(&copy, &[192, 168, 1, 10]));
    }
}

/// A message of the transport protocol (ISO 11783-3 clause 5.10), to all and to one: its texts go, its frames stay.
#[test]
fn texts_across_the_transport_protocol() {
    // PGN 126996: version, product, four texts of 32 bytes, certification, load.
    let mut message = vec![0x35, 8, 0x39, 0x30];
    for _ in 0..4 {
        let from = message.len();
        message.extend(SECRET);
        message.resize(from + 32, b' ');
    }
    message.extend([0, 1]);
    for (control, data, receiver) in [(32_u8, "18EBFF02", "18ECFF02"), (16, "18EB1002", "18EC1002")] {
        let hex = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02X}")).collect::<String>();
        let packets: Vec<&[u8]> = message.chunks(7).collect();
        let opening = [control, message.len() as u8, 0, packets.len() as u8, 0xFF, 0x14, 0xF0, 1];
        let mut log = format!("(1767270896.500000) can0 {receiver}#{}\n", hex(&opening));
        for (n, packet) in packets.iter().enumerate() {
            let mut frame = [0xFF; 8];
            frame[0] = n as u8 + 1;
            frame[1..=packet.len()].copy_from_slice(packet);
            log += &format!("(1767270896.6{n:05}) can0 {data}#{}\n", hex(&frame));
        }
        let bytes = |log: &str| -> Vec<u8> {
            let shares = log.lines().skip(1).map(|line| &line[line.len() - 14..]);
            let digits: String = shares.collect();
            (0..digits.len())
                .step_by(2)
                .map(|at| u8::from_str_radix(&digits[at..at + 2], 16).unwrap())
                .collect()
        };
        let copy = String::from_utf8(scrubbed(log.as_bytes())).unwrap();
        spares(&bytes(&log), &bytes(&copy), SECRET);
        assert_eq!(log.lines().next(), copy.lines().next(), "what opens the message stays");
        for (old, new) in log.lines().zip(copy.lines()) {
            assert_eq!(old[..old.len() - 14], new[..old.len() - 14]);
        }
        assert_eq!(bytes(&copy)[..2], message[..2], "the version stays");
        assert!(bytes(&copy)[4..36].trim_ascii_end().len() == SECRET.len(), "a name as long as the old one");
        // With a frame missing it never becomes whole, and is blanked.
        let hole: String =
            log.lines().enumerate().filter(|(n, _)| *n != 3).map(|(_, line)| format!("{line}\n")).collect();
        let copy = String::from_utf8(scrubbed(hole.as_bytes())).unwrap();
        assert!(bytes(&copy).chunks(7).all(|share| share == [0xFF; 7]), "{copy}");
    }
}

/// Why the copy cannot be written is told, not that a thread has stopped.
#[test]
fn a_copy_that_cannot_be_written_says_why() {
    let dir = tempfile::tempdir().unwrap();
    let (from, to) = (dir.path().join("in"), dir.path().join("out"));
    let line = "(1767270896.500123) can0 09F80102#36729A16021AB80D\n";
    fs::write(&from, line.repeat(200_000)).unwrap();
    fs::write(&to, "").unwrap();
    // Open for reading only.
    let mut file = File::open(&to).unwrap();
    let copying = Copying::open(from.to_str().unwrap()).unwrap();
    let mut packer = Packer::new(&mut file, None).unwrap();
    let content = Content::new(Key([7; 32]), ContentOptions::default());
    let error = copying.run(content, &mut packer, &mut |_, _| {}).unwrap_err();
    let ScrubError::Write(reason) = error else { panic!("{error}") };
    assert_ne!(reason.kind(), ErrorKind::BrokenPipe, "{reason}");
}

/// The most memory that the program had while 96 MiB went through it, MiB: a message that never becomes whole holds the copy
/// back, as far as that may be.
#[cfg(target_os = "linux")]
#[test]
fn a_long_recording_takes_no_more_memory() {
    use std::io::Write;
    use std::process::{Command, Stdio};
    let dir = tempfile::tempdir().unwrap();
    let program = assert_cmd::Command::cargo_bin("leadsman").unwrap();
    let mut child = Command::new(program.get_program())
        .args(["scrub", "-", "-o"])
        .arg(dir.path().join("copy.log"))
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let most = |id: u32| -> u64 {
        let status = fs::read_to_string(format!("/proc/{id}/status")).unwrap();
        let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
        line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() / 1024
    };
    // The head of a fast packet (PGN 129029, 43 bytes) whose rest never comes, then positions.
    let head = "(1767270896.000000) can0 0DF80502#002B010203040506\n";
    let line = "(1767270896.500123) can0 09F80102#36729A16021AB80D\n";
    let block = line.repeat((1 << 20) / line.len());
    for _ in 0..96 {
        input.write_all(head.as_bytes()).unwrap();
        input.write_all(block.as_bytes()).unwrap();
    }
    // All but what is on its way was taken in: pipes are short.
    let most = most(child.id());
    drop(input);
    assert!(child.wait().unwrap().success());
    assert!(most < 64, "{most} MiB");
}
