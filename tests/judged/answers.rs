//! Answers to complaints.

use crate::wires::sensors;
use crate::{ask, can_log};
use leadsman::report::model::Standing;

/// Battery status (PGN 127508) of the node at address 72, 12.6 V, each 1.5 s.
fn battery(seconds: f64) -> Vec<(f64, u32, String)> {
    let at = (0..(seconds / 1.5) as u32).map(|i| 1.5 * f64::from(i) + 0.06);
    at.map(|t| (t, 0x19F2_1448, "00EC04FF7FFFFFFF".to_owned())).collect()
}

/// Who has a device that reports the voltage is not told to record with one.
#[test]
fn nobody_is_sent_for_what_is_there() {
    for (battery, sent) in [(Vec::new(), true), (battery(300.0), false)] {
        let report = ask(&[can_log([sensors(0, 300), battery].concat())], "data-drops-out");
        let cause = report.complaints[0].causes.iter().find(|c| c.cause == "low-supply-voltage").unwrap();
        assert_eq!(cause.standing, Standing::Open);
        assert_eq!(cause.because.contains("It would show"), sent, "{}", cause.because);
    }
}
