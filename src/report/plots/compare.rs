//! Two sources of one finding, at the same moments.

use super::Scatter;
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::series::Source;
use crate::findings::Finding;
use crate::findings::pairs::Curve;
use crate::units::{Place, wrap_180};

/// Most points of one scatter: more only blacken the paper.
const MAX_POINTS: usize = 400;

/// Most pairs that are compared for pictures.
const MAX_PAIRS: usize = 4;

/// The pairs of devices that findings of this kind are about.
fn pairs_of<'a>(
    findings: &'a [Finding],
    kind: &'a str,
) -> impl Iterator<Item = (usize, DeviceId, DeviceId)> + 'a {
    let pair = |(at, finding): (usize, &Finding)| match finding.devices[..] {
        [a, b, ..] => Some((at, a, b)),
        _ => None,
    };
    findings.iter().enumerate().filter(move |(_, f)| f.kind == kind).filter_map(pair).take(MAX_PAIRS)
}

/// The source of a device with the most values.
fn main_source<'a>(books: &'a Books, quantity: &'a str, device: DeviceId) -> Option<&'a Source> {
    books.series.of(quantity).filter(|s| s.key.device == device).max_by_key(|s| s.valid)
}

/// Every so many-th point, so that at most [`MAX_POINTS`] are left.
fn thinned(points: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let step = points.len().div_ceil(MAX_POINTS).max(1);
    points.into_iter().step_by(step).collect()
}

fn ids(a: DeviceId, b: DeviceId) -> [String; 2] {
    [a, b].map(crate::report::assemble::device_id)
}

/// The differences of headings that findings compare, the second minus the first over the first.
pub(super) fn headings(books: &Books, findings: &[Finding]) -> Vec<Scatter> {
    let scatter = |(finding, a, b): (usize, DeviceId, DeviceId)| {
        let first = Curve::new(main_source(books, "heading", a)?.track.samples(), true);
        let second = Curve::new(main_source(books, "heading", b)?.track.samples(), true);
        let point = |s: &crate::books::series::Sample| Some((s.a, wrap_180(second.at(s.time)? - s.a)));
        let points = thinned(first.samples().iter().filter_map(point).collect());
        (points.len() >= 5).then(|| Scatter { finding, devices: ids(a, b), boat_axes: false, points })
    };
    pairs_of(findings, "duplicate-heading-source").filter_map(scatter).collect()
}

/// The separations of positions that findings compare: the second seen from the first, in the boat's axes where a
/// heading is known at the time, north up elsewhere.
pub(super) fn positions(books: &Books, findings: &[Finding]) -> Vec<Scatter> {
    // A true heading first: magnetic ones turn the axes by the variation.
    let heading = books
        .series
        .of("heading")
        .filter(|s| s.valid >= 5)
        .max_by_key(|s| (s.key.reference == Some("true"), s.valid))
        .map(|s| Curve::new(s.track.samples(), true));
    let scatter = |(finding, a, b): (usize, DeviceId, DeviceId)| {
        let first = Curve::new(main_source(books, "position", a)?.track.samples(), false);
        let second = Curve::new(main_source(books, "position", b)?.track.samples(), false);
        let mut north_up = Vec::new();
        let mut bow_up = Vec::new();
        for s in first.samples() {
            let Some((lat, lon)) = second.both_at(s.time) else { continue };
            let Some((here, there)) = Place::new(s.a, s.b).zip(Place::new(lat, lon)) else { continue };
            let (north, east) = here.offset_to(there);
            north_up.push((east, north));
            if let Some(z) = heading.as_ref().and_then(|h| h.at(s.time)).map(f64::to_radians) {
                bow_up.push((east * z.cos() - north * z.sin(), north * z.cos() + east * z.sin()));
            }
        }
        let boat_axes = !north_up.is_empty() && bow_up.len() * 2 >= north_up.len();
        let points = thinned(if boat_axes { bow_up } else { north_up });
        (points.len() >= 5).then(|| Scatter { finding, devices: ids(a, b), boat_axes, points })
    };
    pairs_of(findings, "duplicate-position-source").filter_map(scatter).collect()
}
