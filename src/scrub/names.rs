//! Domain names: DNS and multicast DNS messages (RFC 1035, RFC 6762, RFC 6763), rewritten in place.

use super::content::{Content, TextKind};
use crate::frames::Mdns;

/// Records of one message that are rewritten; more are no message that anyone sends, and are blanked.
const MAX_RECORDS: usize = 512;

/// Labels of one name.
const MAX_LABELS: usize = 128;

/// Labels that tell nothing of a boat. Those of services that begin with `_` and are not here are replaced.
const PUBLIC: &[&str] = &[
    "local",
    "arpa",
    "in-addr",
    "ip6",
    "_tcp",
    "_udp",
    "_services",
    "_dns-sd",
    "_sub",
    "_http",
    "_https",
    "_ssh",
    "_sftp-ssh",
    "_smb",
    "_ftp",
    "_workstation",
    "_device-info",
    "_nmea-0183",
    "_nmea-2000",
    "_mqtt",
    "_ntp",
    "_printer",
    "_ipp",
    "_rtsp",
    "_telnet",
    "_ws",
    "_wss",
];

/// Types of records.
const A: u16 = 1;
const NS: u16 = 2;
const CNAME: u16 = 5;
const PTR: u16 = 12;
const TXT: u16 = 16;
const AAAA: u16 = 28;
const SRV: u16 = 33;
const NSEC: u16 = 47;

/// Whether a payload is a message: of what else is sent to these ports no header could stay. `cut` says that the recorder cut
/// it.
pub(super) fn is_message(payload: &[u8], cut: bool) -> bool {
    Mdns::parse(payload, cut).is_ok()
}

/// Rewrites a message.
pub(super) fn rewrite(content: &mut Content, message: &mut [u8]) {
    let at = walk(content, message).unwrap_or(12);
    // Behind the last record, or from where it does not hold together: nothing that is known.
    if at < message.len() {
        message.get_mut(at..).unwrap_or_default().fill(0);
    }
}

/// Walks over questions and records; says how far the message holds together.
fn walk(content: &mut Content, message: &mut [u8]) -> Option<usize> {
    let counts: Vec<usize> =
        (0..4).map(|n| be16(message, 4 + 2 * n).map(usize::from)).collect::<Option<_>>()?;
    let questions = counts.first().copied()?;
    let records = counts.iter().skip(1).sum::<usize>();
    let mut at = 12;
    for _ in 0..questions.min(MAX_RECORDS) {
        let Some(end) = name(content, message, at).filter(|end| end + 4 <= message.len()) else {
            return Some(at);
        };
        at = end + 4;
    }
    for _ in 0..records.min(MAX_RECORDS) {
        let Some(next) = record(content, message, at) else { return Some(at) };
        at = next;
    }
    Some(at)
}

fn record(content: &mut Content, message: &mut [u8], at: usize) -> Option<usize> {
    let at = name(content, message, at)?;
    let (kind, len) = (be16(message, at)?, usize::from(be16(message, at + 8)?));
    let from = at + 10;
    let to = from.checked_add(len)?;
    message.get(from..to)?;
    match kind {
        A if len == 4 => {
            if let Some(ip) = message.get_mut(from..).and_then(|rest| rest.first_chunk_mut()) {
                content.ipv4(ip);
            }
        }
        AAAA if len == 16 => {
            if let Some(ip) = message.get_mut(from..).and_then(|rest| rest.first_chunk_mut()) {
                content.ipv6(ip);
            }
        }
        NS | CNAME | PTR => {
            let end = name(content, message, from).filter(|end| *end <= to)?;
            message.get_mut(end..to)?.fill(0);
        }
        SRV => {
            let end = name(content, message, from + 6).filter(|end| *end <= to)?;
            message.get_mut(end..to)?.fill(0);
        }
        NSEC => {
            let end = name(content, message, from).filter(|end| *end <= to)?;
            types(message.get_mut(end..to)?);
        }
        TXT => texts(message.get_mut(from..to)?),
        _ => message.get_mut(from..to)?.fill(0),
    }
    Some(to)
}

/// Types that an NSEC record may say there are: those above, HINFO (13) and OPT (41).
const LISTED: &[u16] = &[A, NS, CNAME, PTR, 13, TXT, AAAA, SRV, 41, NSEC];

/// Which types of records a name has: one block of bits, type 0 first (RFC 6762 section 6.1, RFC 4034 section 4.1.2). Bits of
/// known types stay; anything else, and all of it when there is no such block, is blanked.
fn types(list: &mut [u8]) {
    let whole = matches!(list, [0, len @ 1..=32, bits @ ..] if bits.len() == usize::from(*len));
    let bits = if whole { list.get_mut(2..).unwrap_or_default() } else { list };
    for (n, byte) in bits.iter_mut().enumerate() {
        let of_byte = LISTED.iter().filter(|kind| whole && usize::from(**kind / 8) == n);
        *byte &= of_byte.fold(0, |mask, kind| mask | 0x80 >> (kind % 8));
    }
}

/// Blanks character strings; their lengths stay.
fn texts(mut rest: &mut [u8]) {
    while let Some((len, behind)) = rest.split_first_mut() {
        let len = usize::from(*len).min(behind.len());
        let (text, next) = behind.split_at_mut(len);
        text.fill(b'x');
        rest = next;
    }
}

/// Rewrites the labels of a name up to its end or to a pointer; says where it ends.
fn name(content: &mut Content, message: &mut [u8], from: usize) -> Option<usize> {
    let mut labels = Vec::new();
    let mut at = from;
    let end = loop {
        match *message.get(at)? {
            0 => break at + 1,
            len @ 1..=63 => {
                let label = at + 1..at + 1 + usize::from(len);
                message.get(label.clone())?;
                at = label.end;
                labels.push(label);
            }
            0xC0.. => {
                message.get(at + 1)?;
                break at + 2;
            }
            _ => return None,
        }
        if labels.len() > MAX_LABELS {
            return None;
        }
    };
    let last = |n: usize| {
        let label = labels.len().checked_sub(n).and_then(|at| labels.get(at))?;
        message.get(label.clone()).map(<[u8]>::to_ascii_lowercase)
    };
    let reverse = last(1).as_deref() == Some(b"arpa");
    let six = last(2).as_deref() == Some(b"ip6");
    if reverse && !six && labels.len() == 6 {
        reversed_4(content, message, &labels);
        return Some(end);
    }
    for label in labels {
        let Some(text) = message.get_mut(label) else { continue };
        let public = PUBLIC.iter().any(|known| text.eq_ignore_ascii_case(known.as_bytes()));
        if public {
            continue;
        }
        if reverse && text.len() == 1 {
            // A digit of an address.
            text.fill(b'0');
        } else if let [b'_', service @ ..] = text {
            content.text(TextKind::Other, service);
        } else {
            content.text(TextKind::Host, text);
        }
    }
    Some(end)
}

/// `1.0.168.192.in-addr.arpa`: an address of a private network stays, another one becomes zeros.
fn reversed_4(content: &mut Content, message: &mut [u8], labels: &[std::ops::Range<usize>]) {
    let mut ip = [0u8; 4];
    for (byte, label) in ip.iter_mut().rev().zip(labels) {
        let text = message.get(label.clone()).and_then(|text| std::str::from_utf8(text).ok());
        *byte = text.and_then(|text| text.parse().ok()).unwrap_or(0);
    }
    let mut new = ip;
    content.ipv4(&mut new);
    if new != ip {
        for label in labels.iter().take(4) {
            message.get_mut(label.clone()).unwrap_or_default().fill(b'0');
        }
    }
}

fn be16(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_be_bytes(bytes.get(at..at.checked_add(2)?)?.try_into().ok()?))
}
