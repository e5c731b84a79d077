//! What a recording turned out to be, kept while it is read: wires, damage, problems.

use super::compressed::Origin;
use super::{Summary, TimeBase, WireInfo, WireKind};
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

/// Wires told apart in one recording; what comes on more of them is booked on the last.
const MAX_WIRES: usize = 256;

/// Places of damage that get a line of their own; the rest is one line.
const MAX_DAMAGE_LINES: u64 = 5;

/// Bytes of a line end: damaged lines in a row are one place.
const LINE_END: u64 = 2;

/// Lines of problems kept.
const MAX_PROBLEMS: usize = 64;

/// Unknown link types told apart.
const MAX_OTHER_LINKS: usize = 16;

/// How much a problem matters to a reader of the report: the smaller, the further up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Rank {
    /// The content ends early.
    Cut,
    /// Bytes are damaged.
    Damage,
    /// Frames are missing or were not looked into.
    Loss,
    /// How the times came about.
    Clock,
    /// Good to know.
    Note,
}

/// The summary in the making.
pub(super) struct Account {
    /// The summary as far as it is known.
    pub(super) summary: Summary,
    ranks: Vec<Rank>,
    damage_places: u64,
    /// The place of damage that may still grow: where it begins and ends, and how many bytes of it are damaged.
    place: Option<(u64, u64, u64)>,
    other_links: Vec<(u16, u64)>,
    further_links: u64,
    short_can: u64,
    more_wires: bool,
    origin: Arc<Origin>,
    finished: bool,
}

impl Account {
    /// An account of the recording that comes from `origin`.
    pub(super) fn new(origin: Arc<Origin>, container: &'static str) -> Self {
        let mut account = Self {
            summary: Summary {
                path: origin.path.clone(),
                container,
                compression: origin.compression.get().copied(),
                bytes: origin.size.unwrap_or(0),
                ..Summary::default()
            },
            ranks: Vec::new(),
            damage_places: 0,
            place: None,
            other_links: Vec::new(),
            further_links: 0,
            short_can: 0,
            more_wires: false,
            origin,
            finished: false,
        };
        if account.origin.layers.load(Relaxed) > 1 {
            account.note(Rank::Note, "the file is compressed twice".to_owned());
        }
        account
    }

    /// Puts a problem at the place of its rank.
    pub(super) fn note(&mut self, rank: Rank, text: String) {
        if self.summary.problems.len() < MAX_PROBLEMS {
            let at = self.ranks.partition_point(|&r| r <= rank);
            self.ranks.insert(at, rank);
            self.summary.problems.insert(at, text);
        }
    }

    /// Books `bytes` skipped bytes that begin at `offset` of the (unpacked) content.
    pub(super) fn damage(&mut self, offset: u64, bytes: u64) {
        if bytes == 0 {
            return;
        }
        self.summary.damaged_bytes = self.summary.damaged_bytes.saturating_add(bytes);
        let end = offset.saturating_add(bytes);
        self.place = match self.place {
            Some((from, to, sum)) if offset <= to.saturating_add(LINE_END) => {
                Some((from, end, sum.saturating_add(bytes)))
            }
            _ => {
                self.name_place();
                Some((offset, end, bytes))
            }
        };
    }

    /// Gives the last place of damage a line, if there is still room for one.
    fn name_place(&mut self) {
        let Some((offset, _, bytes)) = self.place.take() else { return };
        self.damage_places += 1;
        if self.damage_places <= MAX_DAMAGE_LINES {
            let unpacked = if self.summary.compression.is_some() { " of the unpacked content" } else { "" };
            let text =
                format!("{} damaged and skipped at byte {offset}{unpacked}", counted_were(bytes, "byte"));
            self.note(Rank::Damage, text);
        }
    }

    /// Books the end of the file in mid-record, with what was there of the record.
    pub(super) fn truncated(&mut self, bytes: u64) {
        self.summary.truncated = true;
        self.summary.truncated_bytes = self.summary.truncated_bytes.saturating_add(bytes);
        self.note(
            Rank::Cut,
            format!("the file ends in mid-record: {} of the last record are there", counted(bytes, "byte")),
        );
    }

    /// Counts one frame.
    pub(super) fn frame(&mut self) {
        self.frames(1);
    }

    /// Counts frames.
    pub(super) fn frames(&mut self, frames: u64) {
        self.summary.frames = self.summary.frames.saturating_add(frames);
    }

    /// Counts a packet of a link type that is not read.
    pub(super) fn other_link(&mut self, link: u16) {
        if let Some((_, count)) = self.other_links.iter_mut().find(|(number, _)| *number == link) {
            *count += 1;
        } else if self.other_links.len() < MAX_OTHER_LINKS {
            self.other_links.push((link, 1));
        } else {
            self.further_links += 1;
        }
    }

    /// Counts a packet of which the recorder kept only the first bytes.
    pub(super) fn cut_packet(&mut self, kept: u32) {
        self.summary.cut_packets += 1;
        self.summary.cut_to = self.summary.cut_to.max(kept);
    }

    /// Counts a packet that should hold a CAN frame and is too short for it.
    pub(super) fn short_can(&mut self) {
        self.short_can += 1;
    }

    /// The number of the wire of that kind and name; a new one at its first appearance.
    pub(super) fn wire(&mut self, kind: WireKind, name: Option<&str>) -> usize {
        let known =
            self.summary.wires.iter().position(|wire| wire.kind == kind && wire.name.as_deref() == name);
        known.unwrap_or_else(|| self.new_wire(kind, name))
    }

    /// A new wire, even if one of that kind and name is known.
    pub(super) fn new_wire(&mut self, kind: WireKind, name: Option<&str>) -> usize {
        if self.summary.wires.len() < MAX_WIRES {
            self.summary.wires.push(WireInfo { kind, name: name.map(str::to_owned) });
        } else {
            self.more_wires = true;
        }
        self.summary.wires.len().saturating_sub(1)
    }

    /// Share of the stored file that was read.
    pub(super) fn progress(&self) -> Option<f64> {
        let size = self.origin.size.filter(|&size| size > 0)?;
        Some((self.origin.read() as f64 / size as f64).min(1.0))
    }

    /// Whether the end was not yet reached.
    pub(super) fn is_open(&self) -> bool {
        !self.finished
    }

    /// Closes the account: the end of the input was reached.
    pub(super) fn finish(&mut self) {
        if std::mem::replace(&mut self.finished, true) {
            return;
        }
        self.summary.bytes = self.origin.size.unwrap_or_else(|| self.origin.read());
        if let Some(fault) = self.origin.take_fault() {
            // Whatever came after the fault is lost, wherever the last whole record ended.
            self.summary.truncated = true;
            self.note(Rank::Cut, fault);
        }
        self.name_place();
        if self.damage_places > MAX_DAMAGE_LINES {
            let (more, all) = (self.damage_places - MAX_DAMAGE_LINES, self.summary.damaged_bytes);
            self.note(
                Rank::Damage,
                format!("{} damaged too: {all} bytes in all", counted_are(more, "further place")),
            );
        }
        for (link, count) in std::mem::take(&mut self.other_links) {
            self.note(
                Rank::Loss,
                format!(
                    "link type {link} is not read here; {} counted and not looked into",
                    counted_were(count, "packet")
                ),
            );
        }
        if self.further_links > 0 {
            let text = format!(
                "{} of yet other link types counted and not looked into",
                counted_were(self.further_links, "packet")
            );
            self.note(Rank::Loss, text);
        }
        if self.more_wires {
            let text = format!(
                "there are more than {MAX_WIRES} wires; what came on the others is told as the last one's"
            );
            self.note(Rank::Loss, text);
        }
        if self.summary.cut_packets > 0 {
            let text = format!(
                "{} cut by the recorder behind {} bytes or fewer: what stood there is not seen",
                counted_were(self.summary.cut_packets, "packet"),
                self.summary.cut_to
            );
            self.note(Rank::Loss, text);
        }
        if self.short_can > 0 {
            let text = format!("{} too short for a CAN frame", counted_are(self.short_can, "packet"));
            self.note(Rank::Loss, text);
        }
        if self.summary.frames == 0 {
            self.note(Rank::Loss, "the recording holds no frame".to_owned());
            self.summary.time_base = TimeBase::None;
        }
    }
}

/// "1 line", "2 lines".
pub(super) fn counted(n: u64, noun: &str) -> String {
    format!("{n} {noun}{}", if n == 1 { "" } else { "s" })
}

/// "1 line is", "2 lines are".
pub(super) fn counted_are(n: u64, noun: &str) -> String {
    format!("{} {}", counted(n, noun), if n == 1 { "is" } else { "are" })
}

/// "1 line was", "2 lines were".
pub(super) fn counted_were(n: u64, noun: &str) -> String {
    format!("{} {}", counted(n, noun), if n == 1 { "was" } else { "were" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn damage_in_a_row_is_one_place_and_the_list_is_bounded() {
        let mut account = Account::new(Arc::new(Origin::new("x", Some(10))), "pcap");
        account.damage(100, 5);
        account.damage(106, 4);
        for place in 0..10 {
            account.damage(1000 * (place + 1), 1);
        }
        account.finish();
        assert_eq!(account.summary.damaged_bytes, 19);
        let damage: Vec<_> =
            account.summary.problems.iter().filter(|text| text.contains("damaged")).collect();
        assert_eq!(damage.len() as u64, MAX_DAMAGE_LINES + 1, "{damage:?}");
        assert_eq!(damage[0], "9 bytes were damaged and skipped at byte 100");
        assert_eq!(damage[5], "6 further places are damaged too: 19 bytes in all");
    }

    #[test]
    fn the_gravest_problem_comes_first() {
        let mut account = Account::new(Arc::new(Origin::new("x", None)), "pcap");
        account.note(Rank::Note, "c".to_owned());
        account.note(Rank::Cut, "a".to_owned());
        account.note(Rank::Cut, "b".to_owned());
        assert_eq!(account.summary.problems, ["a", "b", "c"]);
    }
}
