//! Which numbers in front of the lines of a text log are its times. The others may be anything: a place, a telephone number.

use crate::recording::{LineKind, Part, Row, Seen, Sight, StampForm, StampSeen, Tape, split_line, tag_seen};
use crate::time::DAY_US;

/// Forms of times that one recording may have, files of several recorders put together included.
const MAX_FORMS: usize = 8;

/// Lines with a record that a batch must have for its usual form to be the recording's, once there was one.
const ENOUGH_LINES: usize = 16;

/// So many times in a row that are near each other are a recorder's, wherever its clock was set to.
const RUN: usize = 4;

/// Times below this are counted from some start, and not from 1970 (1973 as a time since then).
const RELATIVE_BELOW_US: i64 = 100_000_000_000_000;

/// How far apart neighbours may be: a boat at rest may send nothing for days.
const NEAR_US: i64 = 7 * DAY_US;

/// As [`NEAR_US`], of times that are counted from some start. They are small numbers: what is not meant as a time soon seems
/// near.
const NEAR_SMALL_US: i64 = 60_000_000;

/// As [`NEAR_US`], of times of day.
const NEAR_OF_DAY_US: i64 = DAY_US / 24;

/// Whether two moments may be of one recording.
pub(super) const fn near(a: i64, b: i64) -> bool {
    let most = if a < RELATIVE_BELOW_US || b < RELATIVE_BELOW_US { NEAR_SMALL_US } else { NEAR_US };
    a.abs_diff(b) <= most as u64
}

/// As [`near`], of two times in front of lines.
fn near_stamps(a: StampSeen, b: StampSeen) -> bool {
    if a.is_of_day() != b.is_of_day() {
        return false;
    }
    if a.is_of_day() {
        let apart = (a.us - b.us).rem_euclid(DAY_US);
        return apart.min(DAY_US - apart) <= NEAR_OF_DAY_US;
    }
    near(a.us, b.us)
}

/// What is known of a recording's times so far.
#[derive(Debug, Default)]
pub(super) struct Stamps {
    /// Forms that most lines of some batch had.
    forms: Vec<StampForm>,
    /// The last time that was believed.
    last: Option<StampSeen>,
    /// Lines of the batch at hand whose time is none, in ascending order.
    doubtful: Vec<u64>,
    /// Times of the batch at hand, and where their lines begin.
    seen: Vec<(u64, StampSeen)>,
    sight: Sight,
}

impl Stamps {
    /// The time in front of a line.
    pub(super) fn of(&mut self, line: &[u8]) -> Option<StampSeen> {
        self.sight.stamp(line)
    }

    /// Looks at the lines of a batch before they are rewritten.
    pub(super) fn look(&mut self, tape: &mut Tape, rows: &[Row]) {
        self.doubtful.clear();
        self.seen.clear();
        let mut records = 0_usize;
        for row in rows {
            let Part::Line { seen, .. } = row.mark.part else { continue };
            let (at, len) = (row.mark.at, row.mark.len);
            let Some(line) = tape.get_mut(at, len) else { continue };
            records += usize::from(row.record.is_some());
            let found = match seen {
                Seen::Sentence { timed, .. } | Seen::Can { timed, .. } => {
                    if timed {
                        self.sight.stamp(line)
                    } else {
                        None
                    }
                }
                Seen::Other => other_line(line, &mut self.sight),
            };
            self.seen.extend(found.map(|found| (at, found)));
        }
        self.note_form(records);
        self.judge();
    }

    /// Whether what stands in front of the line that begins at `at` is no time of this recording.
    pub(super) fn is_doubtful(&self, at: u64) -> bool {
        self.doubtful.binary_search(&at).is_ok()
    }

    /// Notes the forms that half of the lines with a record have, or more.
    fn note_form(&mut self, records: usize) {
        if !self.forms.is_empty() && records < ENOUGH_LINES {
            return;
        }
        let mut counts: Vec<(StampForm, usize)> = Vec::new();
        for (_, seen) in self.seen.iter().filter(|(_, seen)| !seen.is_tag()) {
            match counts.iter_mut().find(|(form, _)| *form == seen.form) {
                Some((_, count)) => *count += 1,
                None => counts.push((seen.form, 1)),
            }
        }
        for (form, count) in counts {
            if 2 * count >= records && self.forms.len() < MAX_FORMS && !self.forms.contains(&form) {
                self.forms.push(form);
            }
        }
    }

    /// Splits the times into runs of which each is near the one before, and believes the long ones and those that go on
    /// where the last one stopped.
    fn judge(&mut self) {
        let forms = &self.forms;
        let (usual, other): (Vec<_>, Vec<_>) =
            self.seen.iter().copied().partition(|(_, seen)| seen.is_tag() || forms.contains(&seen.form));
        self.doubtful.extend(other.iter().map(|(at, _)| *at));
        let runs = || usual.chunk_by(|(_, a), (_, b)| near_stamps(*a, *b));
        // Where a line comes now and then no two are near each other; they come in order.
        let sparse = 2 * runs().count() > usual.len() && usual.is_sorted_by_key(|(_, seen)| seen.us);
        for run in runs() {
            let (Some((_, first)), Some((_, last))) = (run.first(), run.last()) else { continue };
            let goes_on = self.last.is_some_and(|last| near_stamps(last, *first));
            if sparse || run.len() >= RUN || 2 * run.len() >= usual.len() || goes_on {
                self.last = Some(*last);
            } else {
                self.doubtful.extend(run.iter().map(|(at, _)| *at));
            }
        }
        self.doubtful.sort_unstable();
    }
}

/// The time of a line that its reader did not describe.
fn other_line(line: &[u8], sight: &mut Sight) -> Option<StampSeen> {
    let parts = split_line(line);
    let at = match parts.kind {
        LineKind::Sentence(at) | LineKind::TagBlock(at) => at,
        LineKind::Can(..) | LineKind::Tail(_) => line.len(),
        LineKind::Incomplete | LineKind::Comment | LineKind::Other => return None,
    };
    if parts.stamp > 0 { sight.stamp(line) } else { tag_seen(line.get(at..)?) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The numbers of the lines whose times are doubted, of a text in which every line holds a record.
    fn doubted(text: &str) -> Vec<usize> {
        let mut stamps = Stamps::default();
        let lines: Vec<&[u8]> = text.lines().map(str::as_bytes).collect();
        let mut sight = Sight::default();
        let found =
            lines.iter().enumerate().filter_map(|(n, line)| Some((n as u64, other_line(line, &mut sight)?)));
        stamps.seen.extend(found);
        stamps.note_form(lines.len());
        stamps.judge();
        (0..lines.len()).filter(|n| stamps.is_doubtful(*n as u64)).collect()
    }

    #[test]
    fn a_number_of_another_form_or_another_time_is_none() {
        let frame = |time: &str| format!("{time} can0 09F80102#36729A16021AB80D\n");
        let usual: String = (0..6).map(|n| frame(&format!("(176727089{n}.500000)"))).collect();
        assert_eq!(doubted(&usual), [0; 0]);
        // A place and a telephone number in front of a sentence, and a place in the recorder's own form.
        let odd = format!(
            "{usual}30.2399 $GPGLL,,,,,,V\n9876543210 $GPGLL,,,,,,V\n{}{usual}",
            frame("(30.239975)")
        );
        assert_eq!(doubted(&odd), [6, 7, 8]);
        assert_eq!(doubted("30.2399 $GPGLL,,,,,,V\n$GPGLL,,,,,,V\n$GPGLL,,,,,,V\n"), [0]);
        assert_eq!(doubted("2026-01-01T12:34:56Z $GPGLL,,,,,,V\n"), [0; 0]);
    }

    #[test]
    fn a_clock_that_was_set_is_believed() {
        let frame = |s: u64| format!("({s}.500000) can0 09F80102#36729A16021AB80D\n");
        let text: String = (10..16).chain(1_767_270_890..1_767_270_899).map(frame).collect();
        assert_eq!(doubted(&text), [0; 0]);
        let days = "23:59:58 $GPGLL,,,,,,V\n00:00:01 $GPGLL,,,,,,V\n00:10:00 $GPGLL,,,,,,V\n";
        assert_eq!(doubted(days), [0; 0]);
    }

    #[test]
    fn tag_blocks_that_stand_alone_in_time_are_doubted() {
        let line = |s: u64| {
            let block = format!("c:{s}");
            let sum = block.bytes().fold(0, |sum, byte| sum ^ byte);
            format!("\\{block}*{sum:02X}\\$GPGLL,,,,,,V\n")
        };
        let text: String = [1_767_270_890, 1_767_270_891, 1_234_567_890, 1_767_270_892].map(line).concat();
        assert_eq!(doubted(&text), [2]);
    }
}
