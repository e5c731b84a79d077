//! Recorders that lose frames, or stamp them in bunches: what they do to all is no fault of one.

use crate::wires::sensors;
use crate::{alarms, can_log, judge};

type Frames = Vec<(f64, u32, String)>;

/// A frame each so many seconds, for five minutes.
fn every(s: f64, id: u32, data: &str) -> Frames {
    let at = |i: u32| s.mul_add(f64::from(i), 0.07);
    (0..(300.0 / s) as u32).map(at).map(|t| (t, id, data.to_owned())).collect()
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
