//! Writes text recordings: CAN logs and NMEA 0183 lines, each with its way of giving times.

use crate::demo::nmea0183_encode::checksum;
use crate::recording::CanFrame;
use crate::time::Time;
use std::fmt::Write as _;

/// A Linux SocketCAN text log: `(seconds) can0 ID#DATA`.
pub(super) fn can_log(frames: &[(Time, CanFrame)]) -> Vec<u8> {
    lines(frames, |out, time, frame| {
        let (seconds, micros) = (time.0.div_euclid(1_000_000), time.0.rem_euclid(1_000_000));
        write!(out, "({seconds}.{micros:06}) can0 {:08X}#", frame.id)?;
        frame.data().iter().try_for_each(|byte| write!(out, "{byte:02X}"))?;
        out.write_char('\n')
    })
}

/// A plain text log of CAN frames: time of day without a date, direction, identifier, bytes.
pub(super) fn can_by_the_clock(frames: &[(Time, CanFrame)]) -> Vec<u8> {
    lines(frames, |out, time, frame| {
        let millis = time.0.rem_euclid(1_000_000) / 1000;
        write!(out, "{}.{millis:03} R {:08X}", time.clock(), frame.id)?;
        frame.data().iter().try_for_each(|byte| write!(out, " {byte:02X}"))?;
        out.write_char('\n')
    })
}

/// One 0183 line as it came: when, which source's, and the sentence.
pub(super) type Heard = (Time, &'static str, String);

/// Sentences, each after its time in ISO 8601 to milliseconds.
pub(super) fn lines_iso(heard: &[Heard]) -> Vec<u8> {
    lines_of(heard, |out, (time, _, sentence)| {
        let text = time.to_string();
        writeln!(out, "{}Z {sentence}\r", text.get(..23).unwrap_or(&text))
    })
}

/// Sentences, each behind a TAG block with its source and its time in milliseconds (NMEA 0183 v4 clause 7).
pub(super) fn lines_tagged(heard: &[Heard]) -> Vec<u8> {
    lines_of(heard, |out, (time, source, sentence)| {
        let tag = format!("s:{source},c:{}", time.0 / 1000);
        writeln!(out, "\\{tag}*{:02X}\\{sentence}\r", checksum(&tag))
    })
}

/// Sentences alone.
pub(super) fn lines_bare(heard: &[Heard]) -> Vec<u8> {
    lines_of(heard, |out, (_, _, sentence)| writeln!(out, "{sentence}\r"))
}

fn lines(
    frames: &[(Time, CanFrame)],
    mut each: impl FnMut(&mut String, Time, &CanFrame) -> std::fmt::Result,
) -> Vec<u8> {
    lines_of(frames, |out, (time, frame)| each(out, *time, frame))
}

fn lines_of<T>(rows: &[T], mut each: impl FnMut(&mut String, &T) -> std::fmt::Result) -> Vec<u8> {
    let mut out = String::new();
    for row in rows {
        // Writing to a string cannot fail; a row that claimed to would end the file here.
        if each(&mut out, row).is_err() {
            break;
        }
    }
    out.into_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::CanKind;

    fn text(bytes: Vec<u8>) -> String {
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn writes_both_can_texts() {
        // 2026-01-01T12:34:56.123456Z, the time of a TAG block in a published test suite.
        let frame = CanFrame::new(0x09F8_0123, CanKind::Extended, &[0xE8, 0x13, 0x61]);
        let frames = [(Time(1_767_270_896_123_456), frame)];
        assert_eq!(text(can_log(&frames)), "(1767270896.123456) can0 09F80123#E81361\n");
        assert_eq!(text(can_by_the_clock(&frames)), "12:34:56.123 R 09F80123 E8 13 61\n");
    }

    #[test]
    fn writes_lines_with_their_times() {
        let heard = [(Time(1_767_270_896_500_000), "YX0001", String::from("$INMTW,17.9,C*1B"))];
        assert_eq!(text(lines_iso(&heard)), "2026-01-01T12:34:56.500Z $INMTW,17.9,C*1B\r\n");
        assert_eq!(text(lines_bare(&heard)), "$INMTW,17.9,C*1B\r\n");
        let tagged = text(lines_tagged(&heard));
        assert!(tagged.starts_with("\\s:YX0001,c:1767270896500*"), "{tagged}");
        assert!(tagged.ends_with("\\$INMTW,17.9,C*1B\r\n"));
    }
}
