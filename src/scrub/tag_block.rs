//! TAG blocks in front of sentences (NMEA 0183 v4 clause 7), rewritten in place.
//!
//! A report takes times from them, and nothing else. What else stays are numbers that are too short to tell anything.

use super::blank;
use super::content::{Content, TextKind};
use super::line::Clock;
use crate::recording::{shift_number, tag_moment};
use crate::time::Time;

/// Digits of a line count: it wraps at 999 (IEC 61162-450 clause 7.2.3.4).
const COUNT_DIGITS: usize = 3;

/// Digits that a number of a group may have, and last ones of its name that stay: enough to tell neighbours apart.
const GROUP_DIGITS: usize = 2;

/// Rewrites a block without its backslashes, in front of a line of that `time`.
pub(super) fn rewrite(content: &mut Content, block: &mut [u8], time: Option<Time>, clock: Clock) {
    let xor = |bytes: &[u8]| bytes.iter().fold(0, |sum, byte| sum ^ byte);
    let star = memchr::memchr(b'*', block).unwrap_or(block.len());
    let Some((fields, behind)) = block.split_at_mut_checked(star) else { return };
    let stated = behind.get(1..).and_then(|digits| std::str::from_utf8(digits).ok());
    let stated = stated.and_then(|digits| u8::from_str_radix(digits, 16).ok());
    let right = stated == Some(xor(fields));
    for field in fields.split_mut(|byte| *byte == b',') {
        let Some((name, value)) = field.split_at_mut_checked(2) else {
            blank::text(field);
            continue;
        };
        match &*name {
            // A block with a wrong checksum tells no time.
            b"c:" if right || behind.is_empty() => moment(content, value, time, clock),
            b"n:" if value.iter().all(u8::is_ascii_digit) => short(value, COUNT_DIGITS),
            // In which unit, only its sender knows.
            b"r:" if value.iter().all(u8::is_ascii_digit) => value.fill(b'0'),
            b"g:" if value.iter().all(|byte| byte.is_ascii_digit() || *byte == b'-') => group(value),
            b"s:" | b"d:" => content.text(TextKind::Other, value),
            [b'a'..=b'z', b':'] => blank::text(value),
            _ => blank::text(field),
        }
    }
    let mut sum = xor(fields);
    // A wrong one stays wrong.
    if !right {
        sum ^= 0x15;
    }
    if let Some(digits) = behind.get_mut(1..) {
        if digits.len() == 2 {
            digits.copy_from_slice(format!("{sum:02X}").as_bytes());
        } else {
            blank::text(digits);
        }
    }
}

/// The time `c:`; what is none becomes no number, as a reader would take any for a time.
fn moment(content: &Content, value: &mut [u8], time: Option<Time>, clock: Clock) {
    if !tag_moment(value).is_some_and(|us| clock.vouches(us, time)) {
        return blank::text(value);
    }
    let shift_us = content.time_shift_us();
    if shift_us != 0 {
        shift_number(value, shift_us);
    }
}

/// A number of more digits than `most` becomes zero.
fn short(number: &mut [u8], most: usize) {
    if number.len() > most {
        number.fill(b'0');
    }
}

/// `number-total-name`: of the name the last digits stay.
fn group(value: &mut [u8]) {
    for (n, part) in value.split_mut(|byte| *byte == b'-').enumerate() {
        if n == 2 {
            let from = part.len().saturating_sub(GROUP_DIGITS);
            part.get_mut(..from).unwrap_or_default().fill(b'0');
        } else if n > 2 {
            part.fill(b'0');
        } else {
            short(part, GROUP_DIGITS);
        }
    }
}
