//! Recordings before and after, and what the second one proves.

use crate::depths::{depths, speeds};
use crate::wires::sensors;
use crate::{can_log, judge};
use leadsman::compare::model::{Comparison, Standing};
use leadsman::compare::{compare, side::Side};

type Frames = Vec<(f64, u32, String)>;

fn compared(before: Frames, after: Frames) -> Comparison {
    let side = |frames: Frames| {
        let (first, last) = (0, 400);
        Side::of(&judge(&[can_log([sensors(first, last), frames].concat())])).unwrap()
    };
    compare(&side(before), &side(after))
}

/// Where a finding stands, and why.
fn standing<'a>(comparison: &'a Comparison, kind: &str) -> (Standing, &'a str) {
    let finding = comparison.findings.iter().find(|f| f.kind == kind);
    let finding = finding.unwrap_or_else(|| panic!("no {kind} in {:?}", comparison.findings));
    (finding.standing, &finding.because)
}

fn is_fast(t: f64) -> bool {
    (100.0..180.0).contains(&t) || (240.0..320.0).contains(&t)
}

/// A sounder that loses the bottom at 20 kn is mended when it keeps it there, and not when nobody ran so fast.
#[test]
fn a_run_that_holds_its_depth_clears_one_that_lost_it() {
    let run = |fast_kn: f64, loses: bool| {
        let knots = move |t: f64| if is_fast(t) { fast_kn } else { 4.0 };
        let depth = move |t: f64| (!(loses && is_fast(t - 2.0))).then_some(8.0 + (t / 9.0).sin());
        [speeds(knots), depths(depth)].concat()
    };
    let of = |after| {
        let comparison = compared(run(20.0, true), after);
        let (standing, why) = standing(&comparison, "depth-lost-at-speed");
        (standing, why.to_owned())
    };
    let (cleared, why) = of(run(21.0, false));
    assert_eq!(cleared, Standing::Cleared, "{why}");
    let (slower, why) = of(run(12.0, false));
    assert_eq!(slower, Standing::NotShown, "{why}");
    let back = compared(run(21.0, false), run(20.0, true));
    assert_eq!(standing(&back, "depth-lost-at-speed").0, Standing::New);
}

/// True headings (PGN 127250) off by so much, and course over ground at 8 kn (PGN 129026), on so many courses.
fn courses(number: u32, off_deg: f64) -> Frames {
    let units = |deg: f64| ((deg.rem_euclid(360.0).to_radians() * 1e4).round() as u16).to_le_bytes();
    // Each course is steered to a turn of 20 s; the last one goes on.
    let lasts = 400.0 / f64::from(number);
    let course = move |t: f64| {
        let (leg, into) = ((t / lasts).floor(), t % lasts);
        let turned =
            if leg + 1.0 < f64::from(number) { ((into - lasts + 20.0) / 20.0).max(0.0) } else { 0.0 };
        20.0 + 360.0 / f64::from(number) * (leg + turned)
    };
    let heading = (0..4000).map(move |i| {
        let t = f64::from(i) / 10.0;
        let [low, high] = units(course(t) - off_deg + 0.4 * (t * 7.9).sin());
        (t, 0x09F1_1223, format!("FF{low:02X}{high:02X}FF7FFF7FFC"))
    });
    let ground = (0..1600).map(move |i| {
        let t = f64::from(i) / 4.0 + 0.01;
        let [low, high] = units(course(t) + 0.3 * (t * 5.3).sin());
        (t, 0x09F8_0203, format!("FFFC{low:02X}{high:02X}9B01FFFF"))
    });
    heading.chain(ground).collect()
}

/// A heading that was off is mended when it is right on several courses, and not when one was steered.
#[test]
fn courses_that_were_steered_clear_a_heading_that_was_off() {
    let of = |number: u32| {
        let comparison = compared(courses(6, 12.0), courses(number, 0.0));
        let (standing, why) = standing(&comparison, "heading-misaligned");
        (standing, why.to_owned())
    };
    let (cleared, why) = of(6);
    assert_eq!(cleared, Standing::Cleared, "{why}");
    let (one, why) = of(1);
    assert_eq!(one, Standing::NotShown, "{why}");
}

/// Somebody set the sounder's offset anew.
#[test]
fn an_offset_that_was_set_anew_is_told() {
    let with = |offset: &str| {
        let frames = depths(|t| Some(8.0 + (t / 9.0).sin()));
        frames.into_iter().map(|(t, id, data)| (t, id, data.replace("0000FF", offset))).collect::<Frames>()
    };
    let offsets = |comparison: Comparison| {
        let changed = comparison.sources.into_iter().filter(|row| row.what == Some("offset"));
        changed.map(|row| (row.before.unwrap(), row.after.unwrap())).collect::<Vec<_>>()
    };
    let (plus, minus) = (with("2C01FF"), with("0CFEFF"));
    assert_eq!(offsets(compared(plus.clone(), minus)), [("+0.30 m".to_owned(), "-0.50 m".to_owned())]);
    assert!(offsets(compared(plus.clone(), plus)).is_empty());
}
