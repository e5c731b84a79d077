//! Recorders that lose frames, or stamp them in bunches: what they do to all is no fault of one.

use crate::wires::sensors;
use crate::{alarms, can_log, judge, number};
use leadsman::report::model::{FindingRow, Number, Report, Severity};

type Frames = Vec<(f64, u32, String)>;

/// Numbers that look drawn by lot, from 0 to 1, the same each run.
fn lots(seed: u32) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(2_654_435_761);
    move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1 << 24)
    }
}

/// All but a share of the frames.
fn lossy(frames: Frames, share: f64) -> Frames {
    let mut lot = lots(7);
    frames.into_iter().filter(|_| lot() >= share).collect()
}

/// Each frame with the stamp of the end of a bunch of up to so many seconds.
fn bunched(mut frames: Frames, bunch_s: f64) -> Frames {
    frames.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut lot = lots(5);
    let mut end = 0.0;
    for (t, ..) in &mut frames {
        if *t >= end {
            end = *t + bunch_s * (0.3 + 0.7 * lot());
        }
        *t = end;
    }
    frames
}

/// A frame each so many seconds, for five minutes.
fn every(s: f64, id: u32, data: &str) -> Frames {
    let at = |i: u32| s.mul_add(f64::from(i), 0.07);
    (0..(300.0 / s) as u32).map(at).map(|t| (t, id, data.to_owned())).collect()
}

fn told<'a>(report: &'a Report, kind: &str) -> Option<&'a FindingRow> {
    report.findings.iter().find(|f| f.kind == kind)
}

/// A display asks the node at address 22 for its product information (PGN 126996) each 25 s; of each answer's twenty frames the
/// recorder lost some, and of the last but one.
#[test]
fn who_answers_in_pieces_answers() {
    let report = |frames: &[u8]| {
        let mut log = [sensors(0, 200), every(1.0, 0x0DF5_0B16, "FFE80300000000FF")].concat();
        for i in 0..7_u8 {
            let at = 25.0f64.mul_add(f64::from(i), 10.2);
            log.push((at, 0x18EA_1603, "14F001".to_owned()));
            for frame in frames {
                let body = if *frame == 0 { "86FFFFFFFFFFFF" } else { "FFFFFFFFFFFFFF" };
                let at = 0.001f64.mul_add(f64::from(*frame), at + 0.08);
                log.push((at, 0x19F0_1416, format!("{:02X}{body}", i << 5 | *frame)));
            }
        }
        judge(&[can_log(log)])
    };
    for frames in [&[0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11][..], &[4]] {
        let report = report(frames);
        assert!(!alarms(&report).contains(&"request-unanswered"), "{:?}", report.findings);
    }
    assert_eq!(alarms(&report(&[])), ["request-unanswered"]);
}

/// For twenty seconds the bus is three quarters full: bunches of stamps hide it in no second, and make it no fuller.
#[test]
fn a_load_that_lasts_shows_through_bunches() {
    let busy = |to: f64, apart_s: f64| {
        let at = (0..).map(move |i| 60.0 + apart_s * f64::from(i)).take_while(move |t| *t < to);
        at.map(|t| (t, 0x1CFF_0C33, "FFEEDDCCBBAA9988".to_owned())).collect::<Frames>()
    };
    for bunch_s in [0.04, 0.08, 0.1, 0.15, 0.25] {
        let full = judge(&[can_log(bunched([sensors(0, 150), busy(80.0, 0.000_7)].concat(), bunch_s))]);
        let load = told(&full, "bus-load-high").unwrap_or_else(|| panic!("{bunch_s}"));
        assert_eq!(load.severity, Severity::Warning, "{bunch_s}: {:?}", load.numbers);
        let peak = number(&full, "bus-load-high", "peak_percent");
        assert!((65.0..80.0).contains(&peak), "{bunch_s}: {peak}");
        let less = judge(&[can_log(bunched([sensors(0, 150), busy(80.0, 0.000_95)].concat(), bunch_s))]);
        assert!(told(&less, "bus-load-high").is_none(), "{bunch_s}: {:?}", less.findings);
    }
}

/// The heading (PGN 127250) of one node comes four at once and then not for 0.4 s, among messages of one and two seconds, and the
/// recorder loses some frames of all: a lost frame makes a slow message late by more, and is none the less no cause.
#[test]
fn a_recorder_that_loses_frames_of_all_hides_no_ragged_message() {
    let others = || {
        [
            sensors(0, 300),
            every(1.0, 0x0DF5_0B30, "FFE80300000000FF"),
            every(1.0, 0x09F5_0330, "FF2C01FFFF00FFFF"),
            every(1.5, 0x19F2_1431, "00EC04FF7FFFFFFF"),
            every(2.5, 0x19F2_1132, "001027E803000000"),
        ]
        .concat()
    };
    let heading = |at: fn(u32) -> f64| {
        let data = |i: u32| format!("FF{:02X}30FF7FFF7FFD", i % 200);
        (0..2990).map(|i| (at(i), 0x09F1_1222, data(i))).collect::<Frames>()
    };
    for share in [0.0, 0.01, 0.02, 0.04] {
        let ragged = heading(|i| f64::from(i / 4) * 0.4 + f64::from(i % 4) * 0.012);
        let report = judge(&[can_log(lossy([others(), ragged].concat(), share))]);
        assert_eq!(alarms(&report), ["irregular-message"], "{share}: {:?}", report.findings);
    }
    for share in [0.02, 0.05, 0.2] {
        let even = heading(|i| f64::from(i) * 0.1);
        let report = judge(&[can_log(lossy([others(), even].concat(), share))]);
        assert!(told(&report, "irregular-message").is_none(), "{share}: {:?}", report.findings);
    }
}

/// A display repeats the compass's last heading twice a second; the stamps come in bunches, and frames are lost.
#[test]
fn a_copy_shows_through_bunches() {
    let report = |bunch_s: f64, own_deg: f64| {
        let mut lot = lots(3);
        let mut frames = sensors(0, 220);
        let mut last = 0_u16;
        for i in 0..2200_u32 {
            let t = f64::from(i) / 10.0;
            let deg = 100.0 + 60.0 * (t / 15.0).sin() + 0.8 * (lot() - 0.5);
            let frame = |at: f64, id: u32, units: u16| {
                let [low, high] = units.to_le_bytes();
                (at, id, format!("FF{low:02X}{high:02X}FF7FFF7FFD"))
            };
            last = if i == 0 { (deg.to_radians() * 1e4) as u16 } else { last };
            if i % 5 == 3 {
                let off = (own_deg * (lot() - 0.5)).to_radians() * 1e4;
                frames.push(frame(t - 0.03, 0x0DF1_1277, (f64::from(last) + off) as u16));
            }
            last = (deg.to_radians() * 1e4) as u16;
            frames.push(frame(t, 0x09F1_1222, last));
        }
        judge(&[can_log(bunched(lossy(frames, 0.04), bunch_s))])
    };
    for bunch_s in [0.1, 0.15, 0.25] {
        let copy = report(bunch_s, 0.0);
        assert!(alarms(&copy).is_empty(), "{bunch_s}: {:?}", copy.findings);
        let pair = told(&copy, "duplicate-heading-source").unwrap();
        assert!(matches!(&pair.numbers["relation"], Number::Text(relation) if relation == "echo"));
        let second = report(bunch_s, 0.8);
        let pair = told(&second, "duplicate-heading-source").unwrap();
        assert!(!matches!(&pair.numbers["relation"], Number::Text(relation) if relation == "echo"));
    }
}
