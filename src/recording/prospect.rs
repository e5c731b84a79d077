//! The look ahead at a text: whether it is a log at all, and which clock it has.

use super::boat_clock::{self, BoatTime};
use super::line_text::{What, recognise};
use super::stamp::Stamp;
use crate::time::DAY_US;

/// What the beginning of a text shows.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Prospect {
    /// The first line that is one: a CAN frame (`true`) or a sentence.
    pub(super) first_is_can: Option<bool>,
    /// The first time in front of a frame or sentence.
    pub(super) stamp: Option<Stamp>,
    /// First times of the boat's clock: vouched for, and not.
    valid: Option<BoatTime>,
    void: Option<BoatTime>,
    /// First moments with a date: vouched for, and not.
    valid_dated: Option<i64>,
    void_dated: Option<i64>,
}

impl Prospect {
    /// Looks at the beginning of a text, whole lines only unless it is `complete`.
    pub(super) fn of(text: &[u8], complete: bool) -> Self {
        let mut prospect = Self::default();
        let end = if complete { text.len() } else { memchr::memrchr2(b'\n', b'\r', text).unwrap_or(0) };
        let lines = text.get(..end).unwrap_or_default().split(|byte| matches!(byte, b'\n' | b'\r'));
        for line in lines {
            prospect.look_at(line.trim_ascii_start().strip_prefix(b"\xEF\xBB\xBF").unwrap_or(line));
            if prospect.is_settled() {
                break;
            }
        }
        prospect
    }

    /// Whether more text would change nothing.
    pub(super) fn is_settled(&self) -> bool {
        self.first_is_can.is_some() && self.stamp.is_some()
    }

    fn look_at(&mut self, line: &[u8]) {
        let nuls = line.iter().take_while(|&&byte| byte == 0).count();
        let line = line.get(nuls..).unwrap_or_default();
        let (stamp, what) = recognise(line);
        let is_can = match what {
            What::Can(..) => true,
            What::Sentence(at) => {
                let sentence = line.get(at..).unwrap_or_default();
                if !has_address(super::line_text::bare_sentence(sentence)) {
                    return;
                }
                if let Some(time) = boat_clock::read(sentence) {
                    self.note_boat_time(time);
                }
                false
            }
            What::TagBlock => {
                self.stamp = self.stamp.or(stamp);
                return;
            }
            What::Incomplete | What::Tail(_) | What::Comment | What::Other => return,
        };
        self.first_is_can.get_or_insert(is_can);
        self.stamp = self.stamp.or(stamp.filter(|&stamp| stamp != Stamp::Count));
    }

    fn note_boat_time(&mut self, time: BoatTime) {
        let (first, dated) = if time.valid {
            (&mut self.valid, &mut self.valid_dated)
        } else {
            (&mut self.void, &mut self.void_dated)
        };
        first.get_or_insert(time);
        if let Some(day) = time.day {
            dated.get_or_insert(day.saturating_mul(DAY_US).saturating_add(time.of_day));
        }
    }

    /// The time of the first sentence that gives one, and whether its date is known. A time that nobody vouches for is
    /// taken when it lies within an hour of one that somebody does, or when there is no other.
    pub(super) fn boat_start(&self) -> Option<(i64, bool)> {
        const HOUR_US: u64 = DAY_US as u64 / 24;
        let Some(first) = self.valid else { return Some(beside(self.void?.of_day, self.void_dated)) };
        let (start, dated) = beside(first.of_day, self.valid_dated.or(self.void_dated));
        let (void_start, _) = beside(self.void.map_or(first.of_day, |void| void.of_day), Some(start));
        let near = void_start < start && void_start.abs_diff(start) <= HOUR_US;
        Some((if near { void_start } else { start }, dated))
    }

    /// Whether nobody vouches for any time.
    pub(super) fn is_void(&self) -> bool {
        self.valid.is_none()
    }
}

/// A time of day on the day of `moment`, or the one beside it when that is nearer; whether there is such a moment.
fn beside(of_day: i64, moment: Option<i64>) -> (i64, bool) {
    let Some(moment) = moment else { return (of_day, false) };
    let same_day = moment.div_euclid(DAY_US).saturating_mul(DAY_US).saturating_add(of_day);
    let day = if same_day.saturating_sub(moment) > DAY_US / 2 {
        -DAY_US
    } else if moment.saturating_sub(same_day) > DAY_US / 2 {
        DAY_US
    } else {
        0
    };
    (same_day.saturating_add(day), true)
}

/// A start, three letters or digits at least, and a comma or `*` behind them.
fn has_address(sentence: &[u8]) -> bool {
    let address = sentence.get(1..).unwrap_or_default();
    let letters = address.iter().take_while(|byte| byte.is_ascii_alphanumeric()).count();
    (3..=16).contains(&letters) && matches!(address.get(letters), Some(b',' | b'*'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn recognises_logs_and_refuses_prose() {
        let first = |text: &str| Prospect::of(text.as_bytes(), true).first_is_can;
        assert_eq!(first("# log\n$SDDBT,7.7,f,2.3,M,1.3,F*05\n"), Some(false));
        assert_eq!(first("(1.5) can0 09F80102#00\n"), Some(true));
        assert_eq!(first("$STI,IC,error=4\r\n"), Some(false));
        assert_eq!(first("this is not a valid pcap file."), None);
        assert_eq!(first("! attention\n$ 5.00\n"), None);
    }

    #[test]
    fn the_boat_start_crosses_midnight() {
        // GGA at 23:59:59.5, RMC with the date at 00:00:00 of 2020-07-11 (day 18454).
        let text = b"$GPGGA,235959.50,,,,,1,,,,,,,,\n$GPRMC,000000.00,A,,,,,,,110720,,\n";
        let start = Prospect::of(text, true).boat_start();
        assert_eq!(start, Some((18_454 * DAY_US - 500_000, true)));
        assert!(!Prospect::of(text, true).is_void());
    }
}
