//! What would have shown of a source in the way that the boat was used: what a comparison needs so that a finding's absence means
//! anything.

use super::motion::within;
use super::{Evidence, compass_deviation, duplicate_heading_source, heading_misaligned, pairs};
use crate::books::Books;
use crate::books::series::{SPEED_CLASS_KN, Source, SourceKey};
use crate::books::timing::Stream;
use crate::report::model::Shows;
use crate::units::wrap_180;
use rustc_hash::FxHashMap;

/// A depth that holds for so long in all at some speed is none that speed takes, seconds.
const HELD_S: f64 = 60.0;

/// Of its messages at that speed at least this share holds a depth.
const HELD: f64 = 0.9;

/// A depth that stays to the last digit for so long is held and not measured, seconds.
const REPEATED_S: f64 = 10.0;

/// A heading that went so far has turned with the boat, degrees: yaw and noise do less.
const TURN_DEG: f64 = 30.0;

/// By source, as far as anything would have shown.
pub(super) fn all(evidence: &Evidence<'_>) -> FxHashMap<SourceKey, Shows> {
    let books = evidence.books;
    let depths = books.series.of("depth").map(|source| {
        let shows = Shows {
            held_over_kn: held_over_kn(books, source),
            lost_at_kn: lost_at_kn(source),
            ..Shows::default()
        };
        (source.key, shows)
    });
    let told = duplicate_heading_source::told(evidence);
    let headings = pairs::main_sources(evidence, "heading").into_iter().map(|source| {
        let judged = !told.contains(&source.key.device);
        let error = judged.then(|| super::course_error::course_error(evidence, source)).flatten();
        let shows = Shows {
            offset_deg: error.as_ref().and_then(heading_misaligned::surely_deg),
            swing_deg: error.as_ref().and_then(compass_deviation::surely_deg),
            turned_deg: turned_deg(source),
            ..Shows::default()
        };
        (source.key, shows)
    });
    depths.chain(headings).filter(|(_, shows)| *shows != Shows::default()).collect()
}

/// The speed over which the depth held for long enough, knots.
fn held_over_kn(books: &Books, source: &Source) -> Option<f64> {
    let every_s = books.stream(source).and_then(Stream::median_s)?;
    let (mut held, mut all) = (0_u64, 0_u64);
    let class = (0..source.by_speed.len()).rev().find(|class| {
        let (with, without) = source.by_speed.get(*class).copied().unwrap_or_default();
        held += u64::from(with);
        all += u64::from(with) + u64::from(without);
        held as f64 * every_s >= HELD_S
    })?;
    let kn = class as f64 * SPEED_CLASS_KN;
    let repeats =
        source.runs.still(REPEATED_S).into_iter().any(|span| within(source, span).iter().any(|s| s.b > kn));
    (held as f64 >= HELD * all as f64 && !repeats).then_some(kn)
}

/// The speed over which half of the messages without a depth came, knots.
fn lost_at_kn(source: &Source) -> Option<f64> {
    let all: u64 = source.by_speed.iter().map(|class| u64::from(class.1)).sum();
    let mut faster = 0;
    let class = (0..source.by_speed.len()).rev().find(|class| {
        faster += source.by_speed.get(*class).map_or(0, |class| u64::from(class.1));
        all > 0 && 2 * faster >= all
    })?;
    Some(class as f64 * SPEED_CLASS_KN)
}

/// How far a heading turned in all, degrees.
fn turned_deg(source: &Source) -> Option<f64> {
    let mut headings = source.track.samples().iter().map(|s| s.a).filter(|a| a.is_finite());
    let mut from = headings.next()?;
    let mut turned = 0.0;
    for heading in headings {
        let by = wrap_180(heading - from).abs();
        if by >= TURN_DEG {
            turned += by;
            from = heading;
        }
    }
    (turned > 0.0).then_some(turned)
}
