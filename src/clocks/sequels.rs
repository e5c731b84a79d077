//! Which recording goes on where another ends: recorders begin a new file every so often.

use super::edges::{Common, Edge, Edges};
use crate::books::wires::NEXT_FILE_S;
use crate::recording::{Reckoning, WireInfo, WireKind};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::cmp::Reverse;

/// Most recordings of one run that are looked at for it: the files of a week, one an hour.
pub const MAX_JOINED: usize = 256;

/// Fewer frames than this, and who was not heard may have had nothing to say.
const LEAST_FRAMES: u64 = 20;

/// Likeness is told in so many steps: a finer difference is chance, and the files' names tell more.
const STEPS_OF_LIKENESS: f64 = 4.0;

/// A wire of a recording, by their numbers.
type Place = (usize, usize);

/// Which wire of which recording goes on with which of another.
#[derive(Debug, Default)]
pub struct Sequels {
    /// Each with the one before.
    of: FxHashMap<Place, Place>,
}

impl Sequels {
    /// The wires that come before this one, the nearest first.
    pub fn before(&self, place: (usize, usize)) -> impl Iterator<Item = (usize, usize)> {
        std::iter::successors(Some(place), |place| self.of.get(place).copied()).skip(1)
    }
}

/// How well it fits; the greatest first.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Rank {
    has_same_name: bool,
    likeness: u32,
    has_same_container: bool,
    /// Characters that the paths have in common at their begin.
    path: usize,
    fine_likeness: u32,
    order: Reverse<(Place, Place)>,
}

/// One wire of a recording, with its times by the common clock.
struct Side<'a> {
    place: Place,
    file: &'a Edges,
    edge: &'a Edge,
    info: &'a WireInfo,
    first: Time,
    last: Time,
    /// The end of the whole recording.
    ended: Time,
}

impl<'a> Side<'a> {
    fn of(place: Place, file: &'a Edges, edge: &'a Edge, reckoning: Option<&'a Reckoning>) -> Option<Self> {
        let by = |time: Time| reckoning.map_or(time, |reckoning| reckoning.correct(time));
        let ((first, last), info) = (edge.span?, edge.info.as_ref()?);
        let (first, last, ended) = (by(first), by(last), by(file.last?));
        Some(Self { place, file, edge, info, first, last, ended })
    }

    /// Whether `next` may go on with this wire, by what both are and when they were recorded.
    ///
    /// Where both recordings name the wire, the names must be one: some containers have no room for a name.
    fn may_go_on_with(&self, next: &Self) -> bool {
        let names = (self.info.name.as_deref(), next.info.name.as_deref());
        self.place.0 != next.place.0
            && self.info.kind == next.info.kind
            && !matches!(names, (Some(name), Some(other)) if name != other)
            // In order of their begins: no two go on with each other.
            && (self.first, self.place) < (next.first, next.place)
            && next.first >= self.ended
            && next.first.since(self.last) < NEXT_FILE_S
    }

    fn rank(&self, next: &Self, common: Option<Common>) -> Rank {
        let likeness = common.map_or(0.0, |common| common.share);
        let paths = self.file.path.chars().zip(next.file.path.chars());
        Rank {
            has_same_name: self.info.name.is_some() && next.info.name.is_some(),
            likeness: (likeness * STEPS_OF_LIKENESS).round() as u32,
            has_same_container: self.file.container == next.file.container,
            path: paths.take_while(|(a, b)| a == b).count(),
            fine_likeness: (likeness * 1000.0) as u32,
            order: Reverse((self.place, next.place)),
        }
    }
}

/// Which recordings go on where another ends, by the clock that the reckonings give.
///
/// A file goes on with one other at most, and the other with it alone: of several that fit by their times, those go together
/// that have the same name of the wire, the same messages of the same senders, and what their paths tell, in this order.
#[must_use]
pub fn sequels(edges: &[Edges], reckonings: &[Reckoning]) -> Sequels {
    let wires = |(n, file)| wires_of(n, file, reckonings.get(n));
    let sides: Vec<Side<'_>> = edges.iter().enumerate().flat_map(wires).collect();
    let mut candidates = Vec::new();
    for side in &sides {
        for next in sides.iter().filter(|next| side.may_go_on_with(next)) {
            let common = side.edge.common(next.edge);
            if !contradict(side, next, common) {
                candidates.push((side.rank(next, common), side.place, next.place));
            }
        }
    }
    candidates.sort_by(|(one, ..), (other, ..)| other.cmp(one));
    let (mut sequels, mut gone_on) = (Sequels::default(), FxHashSet::default());
    for (_, place, next) in candidates {
        if !gone_on.contains(&place) && !sequels.of.contains_key(&next) {
            gone_on.insert(place);
            sequels.of.insert(next, place);
        }
    }
    sequels
}

fn wires_of<'a>(
    number: usize,
    file: &'a Edges,
    reckoning: Option<&'a Reckoning>,
) -> impl Iterator<Item = Side<'a>> {
    let edges = file.wires.iter().enumerate();
    edges.filter_map(move |(wire, edge)| Side::of((number, wire), file, edge, reckoning))
}

/// Whether what is heard speaks against one wire: nothing in common, though enough was heard of several senders. A 0183 line
/// has one talker, as a rule.
fn contradict(side: &Side<'_>, next: &Side<'_>, common: Option<Common>) -> bool {
    let is_line = side.info.kind == WireKind::Line;
    side.edge.frames.min(next.edge.frames) >= LEAST_FRAMES
        && common.is_some_and(|common| common.share == 0.0 && (common.senders > 1 || is_line))
}
