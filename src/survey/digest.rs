//! What is worked out of records where they are read, before it is their turn: whatever needs no more than the record.

use super::can::BitsOfMany;
use crate::frames::{PlainDatagram, likeness};
use crate::messages::nmea0183::{Framed, Outline};
use crate::recording::{Digests, Marks, Payload, Payloads};
use memchr::memchr2;

/// Works out digests: the bits of a CAN frame on the wire, the likeness of a packet and the marks of the sentences of a plain
/// datagram.
pub(super) fn digest() -> impl FnMut(Payloads<'_>, &mut Digests) {
    let mut bits = BitsOfMany::default();
    move |mut payloads, digests| {
        loop {
            if payloads.come_usual() {
                bits.usual(&mut payloads.usual_frames(), &mut digests.numbers);
            }
            let Some(payload) = payloads.next() else { break };
            match payload {
                Payload::Packet { link, bytes, original } => {
                    if let Some(datagram) = PlainDatagram::of(link, bytes, original)
                        && let payload @ [b'$' | b'!', ..] = datagram.payload
                        && !datagram.is_cut()
                    {
                        digests.mark(marks(payload));
                    }
                    digests.numbers.push(likeness(link, bytes));
                }
                Payload::Can(frame) => bits.tell(&frame, &mut digests.numbers),
                Payload::Line(_) | Payload::Other => digests.numbers.push(0),
            }
        }
        bits.settle(&mut digests.numbers);
    }
}

/// The bytes from the next line's begin on.
#[inline(always)]
fn next_line(mut bytes: &[u8]) -> &[u8] {
    while let [b'\r' | b'\n', behind @ ..] = bytes {
        bytes = behind;
    }
    bytes
}

/// The marks of each line, when it is a sentence whose checksum fits and nothing else.
#[inline(always)]
fn marks(payload: &[u8]) -> impl Iterator<Item = Option<Marks>> {
    let mut rest = payload;
    std::iter::from_fn(move || {
        rest = next_line(rest);
        if rest.is_empty() {
            return None;
        }
        // Nearly every one is usual, and tells itself where it ends.
        let outline = Framed::front(rest).or_else(|| outline(rest));
        rest = outline.and_then(|outline| rest.get(outline.length()..)).unwrap_or_default();
        Some(outline.and_then(|outline| outline.words()))
    })
}

/// The outline of the first line, when it is a sentence and nothing else.
#[inline(never)]
fn outline(bytes: &[u8]) -> Option<Outline> {
    let line = bytes.get(..memchr2(b'\r', b'\n', bytes).unwrap_or(bytes.len()))?;
    let outline = Framed::parse(line).ok()?.outline().0;
    // With a TAG block or blanks around it the line is longer.
    Some(outline).filter(|outline| outline.length() == line.len())
}

/// The lines that a payload consists of and their sentences, from the marks of all of them.
#[inline(always)]
pub(super) fn marked<'a>(
    payload: &'a [u8],
    marks: &[(u32, Marks)],
) -> impl Iterator<Item = (&'a [u8], Framed<'a>)> {
    /// `*` and two digits.
    const CHECKSUM: usize = 3;
    let mut rest = payload;
    marks.iter().filter_map(move |(_, marks)| {
        let outline = Outline::of_words(*marks);
        let (line, behind) = next_line(rest).split_at_checked(outline.length())?;
        rest = behind;
        Some((line, Framed::of(&outline, line.get(..line.len().checked_sub(CHECKSUM)?)?)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::{datagram_lines, looks_like_lines};
    use crate::messages::nmea0183::Checksum;
    use crate::recording::LinkType;
    use etherparse::PacketBuilder;
    use proptest::prelude::*;

    /// A datagram with this payload, of the builder of etherparse.
    fn udp_packet(payload: &[u8]) -> Vec<u8> {
        let mut bytes = Vec::new();
        PacketBuilder::ethernet2([2, 0, 0, 0, 0, 1], [2, 0, 0, 0, 0, 2])
            .ipv4([192, 0, 2, 1], [192, 0, 2, 2], 64)
            .udp(2000, 10110)
            .write(&mut bytes, payload)
            .unwrap();
        bytes
    }

    proptest! {
        /// What is told by marks is what a look at the payload tells.
        #[test]
        fn marks_tell_what_the_payload_does(
            sentences in prop::collection::vec(
                (
                    prop::sample::select(&["$", "!", "$", "$", " $", "\\s:a*12\\$", "UdPbC\0$", ""][..]),
                    prop::sample::select(&["SDDPT", "PABC", "CCGPQ", "GPRMC", "HCHDG", "sddpt", "SDDP"][..]),
                    prop::collection::vec("[0-9A-Z.\\-]{0,9}", 0..12),
                    prop::sample::select(&[0, 0, 0, 0, 1][..]),
                    prop::sample::select(&["\r\n", "\r\n", "\n", "\r", "", " \r\n", "\0", "\r\n\r\n", "*"][..]),
                ),
                1..4,
            ),
        ) {
            let mut payload = String::new();
            for (start, address, fields, error, end) in &sentences {
                let body = format!("{address}{}", fields.iter().map(|f| format!(",{f}")).collect::<String>());
                let sum = body.bytes().fold(*error, |sum, b| sum ^ b);
                payload.push_str(&format!("{start}{body}*{sum:02X}{end}"));
            }
            let payload = payload.as_bytes();
            let packet = udp_packet(payload);
            let plain = PlainDatagram::of(LinkType::Ethernet, &packet, packet.len() as u32).unwrap();
            prop_assert_eq!(plain.payload, payload);
            let marks: Option<Vec<_>> = marks(payload).map(|marks| Some((0, marks?))).collect();
            let lines = payload.split(|byte| matches!(byte, b'\r' | b'\n')).filter(|line| !line.is_empty());
            for line in lines.clone() {
                let parsed = Framed::parse(line).ok().map(|framed| framed.outline().0);
                prop_assert!(Framed::front(line).is_none_or(|front| Some(front) == parsed));
            }
            let whole = |line: &&[u8]| matches!(Framed::parse(line), Ok(framed)
                if framed.checksum() == Checksum::Good && framed.tag().is_none() && line.trim_ascii() == *line);
            prop_assert!(marks.is_some() || !lines.clone().all(|line| whole(&line)));
            if let Some(marks) = marks && matches!(payload[0], b'$' | b'!') {
                prop_assert!(looks_like_lines(payload));
                let told: Vec<_> = marked(payload, &marks).map(|(line, f)| (line, format!("{f:?}"))).collect();
                let lines = datagram_lines(payload);
                let seen: Vec<_> = lines.map(|line| (line, format!("{:?}", Framed::parse(line).unwrap()))).collect();
                prop_assert_eq!(told, seen);
            }
        }
    }
}
