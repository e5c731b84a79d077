//! DHCP messages (RFC 2131, options of RFC 2132), rewritten in place: kinds, times and addresses stay readable.

use super::content::{Content, TextKind};
use crate::frames::Dhcp;

/// Where the options begin, behind the fixed part and its cookie.
const OPTIONS: usize = 240;

/// What stands in front of the options (RFC 2131 section 3).
const COOKIE: [u8; 4] = [99, 130, 83, 99];

/// Relays that a message may have passed at most (RFC 1542 section 4.1.1).
const MAX_HOPS: u8 = 16;

/// Whether a payload is a message: what else is sent between these ports has no fixed part that could stay. `cut` says that
/// the recorder cut it.
pub(super) fn is_message(payload: &[u8], cut: bool) -> bool {
    let Some(&[op, _, hardware, hops, .., flags_high, flags_low]) = payload.first_chunk::<12>() else {
        return false;
    };
    // Of the flags one is defined (RFC 2131 figure 2), and a hardware address has 16 bytes at most.
    let flags = u16::from_be_bytes([flags_high, flags_low]) & 0x7FFF;
    let sound = hardware <= 16 && hops <= MAX_HOPS && flags == 0;
    let with_cookie = payload.get(OPTIONS - COOKIE.len()..OPTIONS) == Some(&COOKIE);
    matches!(op, 1 | 2) && (sound || with_cookie) && Dhcp::parse(payload, cut).is_ok()
}

/// Rewrites a message.
pub(super) fn rewrite(content: &mut Content, message: &mut [u8]) {
    for at in [12, 16, 20, 24] {
        ipv4(content, message, at);
    }
    let ethernet = message.get(1..3) == Some(&[1, 6]);
    let hardware = message.get_mut(28..).unwrap_or_default();
    let len = hardware.len().min(16);
    match hardware.first_chunk_mut::<6>() {
        Some(mac) if ethernet => {
            if *mac != [0; 6] {
                content.mac(mac);
            }
            hardware.get_mut(6..len).unwrap_or_default().fill(0);
        }
        _ => hardware.get_mut(..len).unwrap_or_default().fill(0),
    }
    let overload = options(content, message.get_mut(OPTIONS..).unwrap_or_default());
    // Option 52 puts more options where file and server name would stand.
    for (bit, field) in [(2, 44..108), (1, 108..236)] {
        let end = field.end.min(message.len());
        let Some(field) = message.get_mut(field.start..end) else { continue };
        if overload & bit != 0 {
            options(content, field);
        } else {
            field.fill(0);
        }
    }
}

/// Rewrites options; gives the overload option's value.
fn options(content: &mut Content, options: &mut [u8]) -> u8 {
    let mut overload = 0;
    let mut at = 0;
    while let Some(&code) = options.get(at) {
        if code == 0 {
            at += 1;
            continue;
        }
        let from = at + 2;
        let value =
            options.get(at + 1).and_then(|len| options.get(from..from + usize::from(*len))).map(<[u8]>::len);
        let Some(value) = value.filter(|_| code != 255).map(|len| from..from + len) else {
            // The end, or an option that is longer than what is there.
            at += usize::from(code == 255);
            break;
        };
        at = value.end;
        let Some(value) = options.get_mut(value) else { break };
        match (code, value.len()) {
            // Masks, times, sizes, kinds, lists of wishes. The offset from UTC (2) tells the longitude.
            (1, 4) | (26 | 57, 2) | (51 | 58 | 59, 4) | (53 | 116, 1) | (55, _) => {}
            (52, 1) => overload = value.first().copied().unwrap_or(0),
            (3 | 4 | 6 | 28 | 42 | 50 | 54, _) => {
                for ip in value.as_chunks_mut::<4>().0 {
                    content.ipv4(ip);
                }
            }
            (12, _) => content.text(TextKind::Host, value),
            (15, _) => content.text(TextKind::Host, value),
            (60, _) => content.text(TextKind::Model, value),
            (61, 7) if value.first() == Some(&1) => {
                if let Some(mac) = value.get_mut(1..).and_then(|rest| rest.first_chunk_mut()) {
                    content.mac(mac);
                }
            }
            (61, _) => {
                let name = value.get_mut(1..).unwrap_or_default();
                content.text(TextKind::Client, name);
            }
            (81, 4..) => content.text(TextKind::Host, value.get_mut(3..).unwrap_or_default()),
            _ => value.fill(0),
        }
    }
    options.get_mut(at..).unwrap_or_default().fill(0);
    overload
}

fn ipv4(content: &mut Content, message: &mut [u8], at: usize) {
    if let Some(ip) = message.get_mut(at..).and_then(|rest| rest.first_chunk_mut::<4>()) {
        content.ipv4(ip);
    }
}
