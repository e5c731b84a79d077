//! What was replaced and blanked, for the closing words; and what no copy can hide.

use foldhash::fast::RandomState;
use std::collections::{BTreeMap, HashSet};

/// Different identities that are counted; one more and the count is "at least".
const MAX_COUNTED: usize = 65_536;

/// Kinds of unknown message that are named.
const MAX_NAMED: usize = 256;

/// Kinds of unknown message that the words name before they say "and more".
const MAX_SHOWN: usize = 8;

/// What a copy still tells, in plain words.
pub const NOT_HIDDEN: &[&str] = &[
    "Magnetic variation and latitude: the copy lies where a compass points as it does at the true place, and within some \
     6 degrees of its latitude, so that headings stay true. Together they leave stretches of a line across the globe.",
    "The outline of the track, of the bottom and of the routes, turned by nothing: somebody with a chart of the place can \
     lay them on it.",
    "Time of day and date, unless shifted; with weather, tide and the passing of other vessels they can be matched.",
    "Water temperature, air pressure, depth, and the counters of engine hours and miles.",
    "Which kinds of device there are, how they are connected, what they send and how often; private network addresses.",
];

/// Characters of an unknown sentence's address that are named; a talker's has five.
const MAX_NAME: usize = 12;

/// Counts of one copy.
#[derive(Debug, Clone, Default)]
pub struct Said {
    /// Positions that were moved, repeated ones included.
    pub places: u64,
    /// Messages and sentences of unknown or proprietary kinds that were blanked.
    pub blanked: u64,
    /// Lines that were no whole sentence, blanked.
    pub garbled: u64,
    /// Different identities by what they are.
    pub identities: BTreeMap<&'static str, u64>,
    pgns: BTreeMap<u32, u64>,
    sentences: BTreeMap<String, u64>,
    /// Its own random key keeps a recording's writer from choosing values that collide.
    seen: HashSet<(&'static str, u64), RandomState>,
}

impl Said {
    /// Counts an identity the first time that it is seen; `value` tells it from others of its kind.
    pub(super) fn identity(&mut self, kind: &'static str, value: u64) {
        if self.seen.len() < MAX_COUNTED && self.seen.insert((kind, value)) {
            *self.identities.entry(kind).or_default() += 1;
        }
    }

    pub(super) fn blanked_pgn(&mut self, pgn: u32) {
        self.blanked += 1;
        if self.pgns.len() < MAX_NAMED || self.pgns.contains_key(&pgn) {
            *self.pgns.entry(pgn).or_default() += 1;
        }
    }

    pub(super) fn blanked_sentence(&mut self, name: &str) {
        self.blanked += 1;
        let name = name.get(..MAX_NAME).unwrap_or(name);
        if let Some(count) = self.sentences.get_mut(name) {
            *count += 1;
        } else if self.sentences.len() < MAX_NAMED {
            self.sentences.insert(name.to_owned(), 1);
        }
    }

    /// What was replaced, one line each; empty when nothing was.
    #[must_use]
    pub fn replaced(&self) -> Vec<String> {
        let mut lines = Vec::new();
        if self.places > 0 {
            lines.push(format!("{} positions moved, all by the same rule", self.places));
        }
        let least = if self.seen.len() < MAX_COUNTED { "" } else { "at least " };
        lines.extend(self.identities.iter().map(|(kind, count)| format!("{least}{count} {kind}")));
        lines
    }

    /// What was blanked, one line each; empty when nothing was.
    #[must_use]
    pub fn emptied(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let named = |kinds: Vec<String>| {
            let more = if kinds.len() > MAX_SHOWN { " and more" } else { "" };
            format!("{}{more}", kinds.into_iter().take(MAX_SHOWN).collect::<Vec<_>>().join(", "))
        };
        if !self.pgns.is_empty() {
            let count: u64 = self.pgns.values().sum();
            let kinds = named(self.pgns.keys().map(u32::to_string).collect());
            lines.push(format!("{count} messages that are not understood (PGN {kinds})"));
        }
        if !self.sentences.is_empty() {
            let count: u64 = self.sentences.values().sum();
            let kinds = named(self.sentences.keys().cloned().collect());
            lines.push(format!("{count} sentences that are not understood or damaged ({kinds})"));
        }
        if self.garbled > 0 {
            lines.push(format!("{} garbled lines", self.garbled));
        }
        lines
    }
}
