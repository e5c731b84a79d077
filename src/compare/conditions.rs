//! Whether the boat was used so that a trouble would have shown, as the reports tell of its sources.

use super::need;
use super::side::{Finding, Shows, Source};
use super::view::View;

/// A heading that stood still shows where the boat turned at least by this part of what it turned before, in the same time.
const AS_MUCH: f64 = 0.5;

/// What the way in which the boat was used says of a trouble that depends on it.
pub(super) enum Shown {
    /// The trouble would surely have shown.
    Yes(String),
    /// It need not have shown.
    Not(String),
}

/// Whether one of `view.from`'s findings would surely have shown in `view.to`: whether the boat ran and steered there so that it must.
/// `None` where the reports do not tell.
pub(super) fn shown(view: &View<'_>, finding: &Finding) -> Option<Shown> {
    let there = || there(view, finding, need::of(&finding.kind).quantity.unwrap_or_default());
    match finding.kind.as_str() {
        "depth-lost-at-speed" => {
            let lost_kn = most(here(view, finding, "depth"), |s| s.lost_at_kn)?;
            let held_kn = most(there(), |s| s.held_over_kn)?;
            Some(if held_kn >= lost_kn {
                Shown::Yes(format!(
                    "{} holds a depth at over {held_kn:.0} kn for a minute or more",
                    view.name
                ))
            } else {
                Shown::Not(format!(
                    "the fastest minute with a depth in {} is at over {held_kn:.0} kn, and it was lost at over {lost_kn:.0} kn",
                    view.name
                ))
            })
        }
        "heading-misaligned" => {
            let error = finding.number("offset_deg")?.abs();
            Some(by_courses(view, error, least(there(), |s| s.offset_deg)?))
        }
        "compass-deviation" => Some(by_courses(view, swing(finding)?, least(there(), |s| s.swing_deg)?)),
        _ => None,
    }
}

/// Whether an error shows on the courses that were steered, on which one of `least` degrees surely would.
fn by_courses(view: &View<'_>, error: f64, least: f64) -> Shown {
    let name = view.name;
    if error >= least {
        Shown::Yes(format!("on the courses steered in {name} an error of {least:.0} deg would show"))
    } else {
        Shown::Not(format!(
            "on the courses steered in {name} only an error of {least:.0} deg would surely show"
        ))
    }
}

/// How far the boat turned there, degrees, when that is about as much as here, for what shows in turns.
pub(super) fn turned_as_much(view: &View<'_>, finding: &Finding) -> Option<f64> {
    if finding.kind != "heading-frozen" {
        return None;
    }
    let before = most(here(view, finding, "heading"), |s| s.turned_deg)? / view.from.lasted_s()?;
    let turned = most(there(view, finding, "heading"), |s| s.turned_deg)?;
    (turned / view.to.lasted_s()? >= AS_MUCH * before).then_some(turned)
}

/// What shows of a finding's devices on its own side.
fn here<'a>(view: &View<'a>, finding: &'a Finding, quantity: &'a str) -> impl Iterator<Item = &'a Shows> {
    let its = |s: &&Source| finding.devices.contains(&s.device);
    view.from.sources.iter().filter(move |s| s.quantity == quantity).filter(its).map(|s| &s.shows)
}

/// What shows of the same devices on the other side.
fn there<'a>(view: &View<'a>, finding: &Finding, quantity: &'a str) -> impl Iterator<Item = &'a Shows> {
    let partner = |id: &String| view.partner(view.ids.device(id)?);
    let devices: Vec<usize> = finding.devices.iter().filter_map(partner).collect();
    let to_ids = view.to_ids;
    let its = move |s: &&Source| to_ids.device(&s.device).is_some_and(|device| devices.contains(&device));
    view.to.sources.iter().filter(move |s| s.quantity == quantity).filter(its).map(|s| &s.shows)
}

fn most<'a>(of: impl Iterator<Item = &'a Shows>, number: fn(&Shows) -> Option<f64>) -> Option<f64> {
    of.filter_map(number).max_by(f64::total_cmp)
}

fn least<'a>(of: impl Iterator<Item = &'a Shows>, number: fn(&Shows) -> Option<f64>) -> Option<f64> {
    of.filter_map(number).min_by(f64::total_cmp)
}

/// By how much a deviation swings to either side, degrees.
fn swing(finding: &Finding) -> Option<f64> {
    let (b, c) = (finding.number("b")?, finding.number("c")?);
    let (d, e) = (finding.number("d")?, finding.number("e")?);
    let errors = (0..72).map(|i| {
        let z = f64::from(i * 5).to_radians();
        b * z.sin() + c * z.cos() + d * (2.0 * z).sin() + e * (2.0 * z).cos()
    });
    let (low, high) = errors.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    Some((high - low) / 2.0)
}
