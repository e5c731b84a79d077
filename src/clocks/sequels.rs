//! Which recording goes on where another ends: recorders begin a new file every so often.

use super::edges::{Common, Edge, Edges, Mark};
use crate::books::wires::NEXT_FILE_S;
use crate::recording::{Reckoning, WireInfo, WireKind};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::cmp::Reverse;

/// Most recordings of one run that are looked at for it: the files of a week, one an hour.
pub const MAX_JOINED: usize = 256;

/// Files of one recorder hold the same for so long at most, seconds: whoever cuts a capture leaves some seconds on both sides
/// (common practice, no source). What overlaps for longer was taken by two recorders, as a rule.
const OVERLAP_S: f64 = 60.0;

/// So many frames in a row that both have are no chance, whatever their stamps. With the same stamps one is enough.
const LEAST_SAME: usize = 8;

/// Two recorders of one wire stamp its frames this far apart at most once their clocks are set by each other, and scatter by
/// no more than that, microseconds.
const APART_US: i64 = 250_000;
const SCATTER_US: i64 = 50_000;

/// Places where the same frames may begin that are tried: what comes again and again has many.
const MAX_TRIED: usize = 64;

/// Fewer frames than this, and who was not heard may have had nothing to say.
const LEAST_FRAMES: u64 = 20;

/// Likeness is told in so many steps: a finer difference is chance, and the files' names tell more.
const STEPS_OF_LIKENESS: f64 = 4.0;

/// Two wires this much alike that overlap are worth a word when they cannot be read as one.
const ALIKE: f64 = 0.5;

/// A recorder that was stopped and started again goes on with its wire within this time, seconds (common practice, no source).
const STOPPED_S: f64 = 86_400.0;

/// It hears so much of what either file holds again, and of what the one with less holds: devices tell of themselves when they are
/// switched on or asked (common practice, no source).
const HEARD_AGAIN: f64 = 0.25;
const HEARD_OF_FEWER: f64 = 0.75;

/// A wire of a recording, by their numbers.
type Place = (usize, usize);

/// Which wire of which recording goes on with which of another.
#[derive(Debug, Default)]
pub struct Sequels {
    of: FxHashMap<Place, Sequel>,
    /// Frames that are still to come again.
    due: u64,
    /// What a reader must know of it: the number of the recording, and the words.
    pub problems: Vec<(usize, String)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Sequel {
    before: Place,
    /// Its first frames that the one before ends with.
    same: u64,
}

impl Sequels {
    /// The wires that come before this one, the nearest first.
    pub fn before(&self, place: (usize, usize)) -> impl Iterator<Item = (usize, usize)> {
        std::iter::successors(Some(place), |place| self.of.get(place).map(|sequel| sequel.before)).skip(1)
    }

    /// Whether the next record of a wire was in the file before already; call it once a record.
    #[inline]
    pub fn is_repeat(&mut self, place: (usize, usize)) -> bool {
        if self.due == 0 {
            return false;
        }
        let Some(sequel) = self.of.get_mut(&place).filter(|sequel| sequel.same > 0) else { return false };
        sequel.same -= 1;
        self.due -= 1;
        true
    }
}

/// How well it fits; the greatest first.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Rank {
    has_same_frames: bool,
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
    reckoning: Option<&'a Reckoning>,
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
        Some(Self { place, file, edge, info, reckoning, first, last, ended })
    }

    fn moved(&self, mut marks: Vec<Mark>) -> Vec<Mark> {
        for (mark, reckoning) in marks.iter_mut().filter_map(|mark| Some((mark, self.reckoning?))) {
            mark.at = reckoning.correct(mark.at);
        }
        marks
    }

    /// Whether `next` may go on with this wire, by what both are and when they were recorded.
    ///
    /// Where both recordings name the wire, the names must be one: some containers have no room for a name.
    fn may_go_on_with(&self, next: &Self) -> bool {
        self.may_be(next) && (-OVERLAP_S..NEXT_FILE_S).contains(&next.first.since(self.last))
    }

    /// Whether `next` may be the same wire, recorded after this.
    fn may_be(&self, next: &Self) -> bool {
        let names = (self.info.name.as_deref(), next.info.name.as_deref());
        self.place.0 != next.place.0
            && self.info.kind == next.info.kind
            && !matches!(names, (Some(name), Some(other)) if name != other)
            // In order of their begins: no two go on with each other.
            && (self.first, self.place) < (next.first, next.place)
    }

    /// Whether this wire lies between two others and may be the one that both belong to: a file that is short, and in which few
    /// are heard, is passed over for none that is more alike.
    fn is_between(&self, side: &Self, next: &Self) -> bool {
        let middle = self.first.moved(self.last.micros_since(self.first) / 2);
        side.last <= middle
            && middle <= next.first
            && side.may_go_on_with(self)
            && self.may_go_on_with(next)
            && !contradict(side, self, side.edge.common(self.edge))
            && !contradict(self, next, self.edge.common(next.edge))
    }

    /// How many frames `next` begins with that this wire ends with.
    fn same_frames(&self, next: &Self) -> usize {
        let overlap = next.first <= self.last && next.last > self.last;
        if !overlap || !self.edge.is_timed || !next.edge.is_timed {
            return 0;
        }
        let end = self.moved(self.file.end(self.place.1));
        same_frames(&end, &next.moved(next.file.begin(next.place.1)))
    }

    fn rank(&self, next: &Self, same: usize, common: Option<Common>) -> Rank {
        let likeness = common.map_or(0.0, |common| common.share);
        let paths = self.file.path.chars().zip(next.file.path.chars());
        Rank {
            has_same_frames: same > 0,
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
/// A file goes on with one other at most, and the other with it alone, and over none that may come between them: of several
/// that fit by their times, those go together
/// that have the same frames where they overlap, the same name of the wire, the same messages of the same senders, and what
/// their paths tell, in this order.
#[must_use]
pub fn sequels(edges: &[Edges], reckonings: &[Reckoning]) -> Sequels {
    let wires = |(n, file)| wires_of(n, file, reckonings.get(n));
    let sides: Vec<Side<'_>> = edges.iter().enumerate().flat_map(wires).collect();
    let pairs: Vec<(&Side<'_>, &Side<'_>, usize)> = sides
        .iter()
        .flat_map(|side| sides.iter().map(move |next| (side, next)))
        .filter(|(side, next)| side.may_go_on_with(next))
        .filter(|(side, next)| !sides.iter().any(|other| other.is_between(side, next)))
        .map(|(side, next)| (side, next, side.same_frames(next)))
        .collect();
    let files = |side: &Side<'_>, next: &Side<'_>| (side.place.0, next.place.0);
    let overlapping: FxHashSet<(usize, usize)> =
        pairs.iter().filter(|(.., same)| *same > 0).map(|(side, next, _)| files(side, next)).collect();
    let (mut candidates, mut apart) = (Vec::new(), Vec::new());
    for (side, next, same) in &pairs {
        let common = side.edge.common(next.edge);
        // A wire on which nothing came while the files overlap goes on as the others do.
        let in_turn =
            next.first >= side.ended || next.first > side.last && overlapping.contains(&files(side, next));
        if *same == 0 && !in_turn {
            if common.is_some_and(|common| common.share >= ALIKE) && next.last > side.ended {
                apart.push((side, next));
            }
        } else if *same > 0 || !contradict(side, next, common) {
            candidates.push((side.rank(next, *same, common), side, next, *same));
        }
    }
    candidates.sort_by(|(one, ..), (other, ..)| other.cmp(one));
    let (mut sequels, mut gone_on) = (Sequels::default(), FxHashSet::default());
    for (_, side, next, same) in candidates {
        if gone_on.contains(&side.place) || sequels.of.contains_key(&next.place) {
            continue;
        }
        gone_on.insert(side.place);
        sequels.due += same as u64;
        sequels.of.insert(next.place, Sequel { before: side.place, same: same as u64 });
        if same > 0 {
            let frames = if same == 1 {
                "first frame is the last".to_owned()
            } else {
                format!("first {same} frames are the last")
            };
            let words = format!("its {frames} of {} too, and counted once", side.file.path);
            sequels.problems.push((next.place.0, words));
        }
    }
    started_again(&sides, &mut sequels, &mut gone_on);
    for (side, next) in apart {
        let overlap_s = side.ended.since(next.first);
        if overlap_s <= OVERLAP_S && !gone_on.contains(&side.place) && !sequels.of.contains_key(&next.place) {
            let words = format!(
                "it begins {overlap_s:.1} s before the end of {}, and no same frames were found then: not read as one",
                side.file.path
            );
            sequels.problems.push((next.place.0, words));
        }
    }
    sequels
}

/// Pairs what is left with the wires that a recorder began anew, after it was stopped.
fn started_again(sides: &[Side<'_>], sequels: &mut Sequels, gone_on: &mut FxHashSet<Place>) {
    let mut begun: Vec<&Side<'_>> =
        sides.iter().filter(|side| !sequels.of.contains_key(&side.place)).collect();
    begun.sort_by_key(|side| (side.first, side.place));
    for next in begun {
        let may_be = |side: &&Side<'_>| {
            let stopped = (NEXT_FILE_S..STOPPED_S).contains(&next.first.since(side.ended));
            stopped && side.may_be(next) && !gone_on.contains(&side.place)
        };
        let is_alike = |side: &Side<'_>| {
            let common = side.edge.common(next.edge)?;
            let is_one = common.share >= HEARD_AGAIN && common.of_fewer >= HEARD_OF_FEWER;
            is_one.then(|| (side.rank(next, 0, Some(common)), side.place))
        };
        let ended = sides.iter().filter(may_be).filter_map(is_alike);
        if let Some((_, before)) = ended.max_by(|(one, _), (other, _)| one.cmp(other)) {
            gone_on.insert(before);
            sequels.of.insert(next.place, Sequel { before, same: 0 });
        }
    }
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

/// How many frames one file begins with that another ends with.
fn same_frames(end: &[Mark], begin: &[Mark]) -> usize {
    let Some(head) = begin.first() else { return 0 };
    let is_one = |(a, b): (&Mark, &Mark), apart: i64| {
        a.print == b.print && b.at.micros_since(a.at).saturating_sub(apart).abs() <= SCATTER_US
    };
    let near = |mark: &Mark| mark.print == head.print && head.at.micros_since(mark.at).abs() <= APART_US;
    let starts = end.iter().enumerate().filter(|(_, mark)| near(mark)).take(MAX_TRIED);
    let mut same = starts.filter_map(|(start, mark)| {
        let (tail, apart) = (end.get(start..)?, head.at.micros_since(mark.at));
        let fits = tail.len() <= begin.len() && tail.iter().zip(begin).all(|pair| is_one(pair, apart));
        let has_same_stamps = || tail.iter().zip(begin).all(|(a, b)| a.at == b.at);
        (fits && (tail.len() >= LEAST_SAME || has_same_stamps())).then_some(tail.len())
    });
    same.next().unwrap_or(0)
}
