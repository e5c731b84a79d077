//! Two nodes that speak from one address, of which neither defends it.

use crate::claims::{Frames, batteries, claim, moved, node};
use crate::silences::depths;
use crate::wires::sensors;
use crate::{alarms, can_log, judge};

/// A boat whose sounder claims its address, and another node claims it at 100 s.
fn claimed(frames: Frames) -> Vec<u8> {
    can_log([sensors(0, 200), claim(5.0, 0x16, 1), claim(100.0, 0x16, 2), frames].concat())
}

/// A battery monitor claims the sounder's address; the sounder takes no notice and goes on, and both speak from it.
#[test]
fn who_lets_a_claim_pass_and_goes_on_is_in_conflict() {
    let report = judge(&[claimed([depths(0, 200), batteries(100.4, 199.0, 0x16)].concat())]);
    assert_eq!(alarms(&report), ["address-conflict"], "{:?}", report.findings);
    let conflict = report.findings.iter().find(|f| f.kind == "address-conflict").unwrap();
    assert_eq!((conflict.devices.len(), conflict.spans[0].seconds().round()), (2, 96.0));
    assert_eq!((node(&report, 1).0, node(&report, 2).0), (201, 66));
    // The newcomer leaves in the end: the address is the sounder's, as it was.
    let leaves = [claim(150.0, 0x31, 2), batteries(100.4, 150.0, 0x16), batteries(150.3, 199.0, 0x31)];
    let report = judge(&[claimed([depths(0, 200), leaves.concat()].concat())]);
    assert_eq!(alarms(&report), ["address-conflict"], "{:?}", report.findings);
    assert_eq!(node(&report, 1), (201, vec![0x16]));
}

/// Two sounders at one address, of the same depths: they come twice as often as those of one.
#[test]
fn two_that_send_the_same_come_twice_as_often() {
    let second = depths(100, 200).into_iter().map(|(t, id, data)| (t + 0.37, id, data)).collect();
    let report = judge(&[claimed([depths(0, 200), second].concat())]);
    assert_eq!(alarms(&report), ["address-conflict"], "{:?}", report.findings);
}

/// Who loses its address to a newcomer and moves on is in no conflict and has not started anew, also where it takes a second for that;
/// nor is one in conflict that is put in the other's place.
#[test]
fn who_leaves_its_address_is_in_none() {
    for late in [0.1, 0.9, 1.4] {
        let depths: Frames =
            depths(0, 200).into_iter().filter(|(t, ..)| !(100.0..101.8).contains(t)).collect();
        let depths = moved(depths, 100.0, 0x16, 0x30);
        let moves = [claim(100.0 + late, 0x30, 1), batteries(100.4, 199.0, 0x16)];
        let report = judge(&[claimed([depths, moves.concat()].concat())]);
        assert!(alarms(&report).is_empty(), "{late}: {:?}", report.findings);
    }
    let exchanged: Frames = depths(0, 200).into_iter().filter(|(t, ..)| !(92.0..101.0).contains(t)).collect();
    let report = judge(&[claimed(exchanged)]);
    assert!(!alarms(&report).contains(&"address-conflict"), "{:?}", report.findings);
}
