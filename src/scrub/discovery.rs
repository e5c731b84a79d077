//! Neighbours and services that tell of themselves: LLDP (IEEE 802.1AB), SSDP (UPnP Device Architecture 2.0).

use super::content::{Content, TextKind};

/// Rewrites an LLDP frame: kinds and lifetimes stay, names and addresses are replaced, the rest is blanked.
pub(super) fn lldp(content: &mut Content, bytes: &mut [u8]) {
    let mut at = 0;
    while let Some(&[high, low]) = bytes.get(at..).and_then(|rest| rest.first_chunk()) {
        let (kind, len) = (high >> 1, usize::from(high & 1) << 8 | usize::from(low));
        let to = (at + 2 + len).min(bytes.len());
        let value = bytes.get_mut(at + 2..to).unwrap_or_default();
        match kind {
            0 => {
                at = to;
                break;
            }
            1 | 2 => {
                let hardware = if kind == 1 { 4 } else { 3 };
                if let Some((subtype, id)) = value.split_first_mut() {
                    match id.first_chunk_mut::<6>() {
                        Some(mac) if *subtype == hardware && len == 7 => content.mac(mac),
                        _ if *subtype == hardware + 1 => address(content, id),
                        _ => content.text(TextKind::Other, id),
                    }
                }
            }
            3 | 7 => {}
            5 => content.text(TextKind::Host, value),
            4 | 6 => content.text(TextKind::Other, value),
            8 => {
                let len = usize::from(value.first().copied().unwrap_or(0));
                if let Some(id) = value.get_mut(1..(1 + len).max(1)) {
                    address(content, id);
                }
                value.get_mut(1 + len..).unwrap_or_default().fill(0);
            }
            _ => value.fill(0),
        }
        at = to;
    }
    bytes.get_mut(at..).unwrap_or_default().fill(0);
}

/// An address with its family in front (IANA address family numbers: 1 IPv4, 2 IPv6).
fn address(content: &mut Content, bytes: &mut [u8]) {
    let Some((family, rest)) = bytes.split_first_mut() else { return };
    if let (1, Ok(ip)) = (*family, <&mut [u8; 4]>::try_from(&mut *rest)) {
        content.ipv4(ip);
    } else if let (2, Ok(ip)) = (*family, <&mut [u8; 16]>::try_from(&mut *rest)) {
        content.ipv6(ip);
    } else if let (6, Ok(mac)) = (*family, <&mut [u8; 6]>::try_from(&mut *rest)) {
        content.mac(mac);
    } else {
        rest.fill(0);
    }
}

/// Headers of SSDP whose values are those of the protocol.
const HARMLESS: &[&str] = &["NTS", "MAN", "MX", "CACHE-CONTROL", "BOOTID.UPNP.ORG"];

/// Rewrites an SSDP message: the first line and what the protocol fixes stay, all other values are blanked.
pub(super) fn ssdp(content: &Content, bytes: &mut [u8]) {
    let starts = [&b"NOTIFY * HTTP/1."[..], b"M-SEARCH * HTTP/1.", b"HTTP/1."];
    for (n, line) in bytes.split_mut(|byte| *byte == b'\n').enumerate() {
        if n == 0 {
            let known = starts
                .iter()
                .find(|start| line.get(..start.len()).is_some_and(|head| head.eq_ignore_ascii_case(start)));
            let keep = known.map_or(0, |start| start.len() + 1);
            hide(content, line.get_mut(keep..).unwrap_or_default());
            continue;
        }
        let Some(colon) = line.iter().position(|byte| *byte == b':') else {
            hide(content, line);
            continue;
        };
        let (name, value) = line.split_at_mut(colon + 1);
        let name = name.get(..colon).unwrap_or_default().trim_ascii();
        let is = |known: &&str| name.eq_ignore_ascii_case(known.as_bytes());
        let plain = |value: &[u8]| {
            let value = value.trim_ascii();
            value == b"ssdp:all"
                || value == b"upnp:rootdevice"
                || value.starts_with(b"urn:schemas-upnp-org:")
                || value == b"239.255.255.250:1900"
        };
        if HARMLESS.iter().any(is) {
            let short = value.trim_ascii().len() <= 40
                && value.iter().all(|byte| matches!(byte, b' '..=b'~' | b'\r' | b'\t'));
            if !short {
                hide(content, value);
            }
        } else if !["NT", "ST", "HOST"].iter().any(is) || !plain(value) {
            hide(content, value);
        }
    }
}

/// Blanks a value; white space stays. Its first letters are a mark of what it was, so that unlike values stay unlike.
fn hide(content: &Content, value: &mut [u8]) {
    let mark = content.mark(value.trim_ascii());
    let mut letters = mark.iter().map(|byte| b'a' + (byte & 0x0F));
    for byte in value {
        if !byte.is_ascii_whitespace() {
            *byte = letters.next().unwrap_or(b'x');
        }
    }
}
