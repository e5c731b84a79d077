//! What found no room in the books, told among the recording's problems.

use super::Intake;
use super::followed::MAX_FOLLOWED;
use crate::books::Books;
use crate::books::inventory::MAX_DEVICES;
use crate::books::series::{MAX_SOURCES, MAX_TRACKS};
use crate::books::timing::MAX_STREAMS;

/// What the pass itself left out, beside what the books count.
pub(super) struct LeftOut {
    lines: u64,
    given_up: u64,
}

impl Intake {
    /// Whether anything found no room yet, as far as the pass knows; the ledger knows of itself.
    pub(super) fn is_full(&self) -> bool {
        let books = &self.books;
        let counts =
            [books.inventory.unbooked, books.wires.unbooked, self.feeds.unbooked, self.followed.given_up];
        counts.iter().fold(0, |any, count| any | count) != 0
    }

    /// What the pass itself left out.
    pub(super) fn left_out(&self) -> LeftOut {
        let lines = self.feeds.unbooked.saturating_add(self.text_left_out);
        LeftOut { lines, given_up: self.followed.given_up }
    }
}

/// Adds a line for every bound that was met to the problems of the recording in which the first one was; of several
/// recordings read together nobody can tell whose devices took the room.
pub(super) fn tell(books: &mut Books, left_out: &LeftOut, recording: Option<usize>) {
    let sum = |counts: &mut dyn Iterator<Item = u64>| counts.fold(0, u64::saturating_add);
    let addresses = sum(&mut books.networks.iter().map(|(_, n)| n.unbooked.saturating_add(n.talks.unbooked)));
    let requests = sum(&mut books.buses.iter().map(|(_, bus)| bus.unbooked));
    let bounds = [
        (
            books.inventory.unbooked,
            format!("only the first {MAX_DEVICES} devices are listed; left out: {{}} frames of others"),
        ),
        (
            books.timing.unbooked,
            format!(
                "only the first {MAX_STREAMS} message streams are timed; left out: {{}} messages of others"
            ),
        ),
        (
            books.timing.unmeasured,
            "too many messages with long pauses; {} intervals are missing in the timing table".to_owned(),
        ),
        (
            books.series.unbooked,
            format!("only the first {MAX_SOURCES} sources are kept; left out: {{}} values of others"),
        ),
        (
            books.series.untracked,
            format!("only the first {MAX_TRACKS} sources are compared with each other; left out: {{}}"),
        ),
        (
            books.wires.unbooked,
            "too many wires; {} of them are told as the last one of their kind".to_owned(),
        ),
        (
            left_out.given_up,
            format!(
                "more than {MAX_FOLLOWED} networks speak at once; TCP streams were followed only in parts (a network \
                 made room for another {{}} times)"
            ),
        ),
        (
            left_out.lines,
            "too many senders of lines in TCP and UDP; left out: {} segments or lines".to_owned(),
        ),
        (addresses, "too many addresses or pairs of hosts on a network; left out: {} packets".to_owned()),
        (requests, "too many requests or senders on a bus; left out: {} messages".to_owned()),
    ];
    let told = bounds.into_iter().filter(|(count, _)| *count > 0);
    let lines: Vec<_> = told.map(|(count, text)| text.replace("{}", &count.to_string())).collect();
    let last = books.recordings.len().saturating_sub(1);
    if let Some(recording) = books.recordings.get_mut(recording.unwrap_or(last)) {
        recording.problems.extend(lines);
    }
}
