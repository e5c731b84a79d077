//! Nodes that change their address while nobody knows their NAMEs yet.

use crate::silences::depths;
use crate::wires::sensors;
use crate::{alarms, ask, can_log, judge, number};
use leadsman::report::model::Report;

pub(crate) type Frames = Vec<(f64, u32, String)>;

/// A claim of an address by a NAME whose last digits are these.
pub(crate) fn claim(at: f64, address: u32, name: u32) -> Frames {
    vec![(at, 0x18EE_FF00 | address, format!("{name:02X}00D0260082A0C0"))]
}

/// Switch states (PGN 127501) from an address, once a second.
fn switches(from: u32, to: u32, address: u32) -> Frames {
    let frame = |i| (f64::from(i) + 0.3, 0x0DF2_0D00 | address, "01FFFFFFFFFFFFFF".to_owned());
    (from..to).map(frame).collect()
}

/// The frames of the node at one address, from a moment on at another one.
pub(crate) fn moved(frames: Frames, at: f64, from: u32, to: u32) -> Frames {
    let moved = |(t, id, data): (f64, u32, String)| {
        let id = if t >= at && id & 0xFF == from { id & !0xFF | to } else { id };
        (t, id, data)
    };
    frames.into_iter().map(moved).collect()
}

/// Frames of the node that claimed with this NAME, and the addresses that it held.
pub(crate) fn node(report: &Report, name: u32) -> (u64, Vec<u8>) {
    let name = format!("C0A0820026D000{name:02X}");
    let row = report.devices.iter().find(|d| d.name.as_deref() == Some(&name)).unwrap();
    (row.frames, row.addresses.clone())
}

/// A newcomer's claim ousts the sounder, which goes on from another address: nothing paused, and the depths are the sounder's.
#[test]
fn who_is_ousted_by_a_newcomer_keeps_its_past() {
    let depths = moved(depths(0, 200), 100.0, 0x16, 0x30);
    let claims = [claim(100.0, 0x16, 1), claim(100.1, 0x30, 2)].concat();
    let report = judge(&[can_log([sensors(0, 200), depths, claims, switches(101, 200, 0x16)].concat())]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    assert_eq!(node(&report, 1), (100, vec![0x16]));
    assert_eq!(node(&report, 2), (201, vec![0x16, 0x30]));
    // It goes on before its claim.
    let depths = moved(crate::silences::depths(0, 200), 100.0, 0x16, 0x30);
    let claims = [claim(100.3, 0x16, 1), claim(100.6, 0x30, 2)].concat();
    let report = judge(&[can_log([sensors(0, 200), depths, claims, switches(101, 200, 0x16)].concat())]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    assert_eq!(node(&report, 2).1, [0x16, 0x30]);
}

/// The sounder ousts the next one in turn, whichever is heard first from its new address.
#[test]
fn who_is_ousted_may_oust_another() {
    for turned in [false, true] {
        let depths = moved(depths(0, 200), 100.0, 0x16, 0x30);
        let late = |t| if turned { t + 0.4 } else { t };
        let tanks = (0..200).map(|i| {
            let address = if i < 100 { 0x30 } else { 0x31 };
            (late(f64::from(i) + 0.45), 0x19F2_1100 | address, "00E803FFFFFFFFFF".to_owned())
        });
        let claims = [claim(100.0, 0x16, 1), claim(100.05, 0x30, 2), claim(100.3, 0x31, 3)].concat();
        let frames = [sensors(0, 200), depths, tanks.collect(), claims, switches(101, 200, 0x16)].concat();
        let report = judge(&[can_log(frames)]);
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
        assert_eq!(node(&report, 1), (100, vec![0x16]));
        assert_eq!(node(&report, 2), (201, vec![0x16, 0x30]));
        assert_eq!(node(&report, 3), (201, vec![0x30, 0x31]));
    }
}

/// A claim of its own address names a node, though another one comes at the same moment; when it is silent later, that is told of
/// it.
#[test]
fn who_claims_the_address_it_has_is_named() {
    let depths: Frames = depths(0, 200).into_iter().filter(|(t, ..)| !(140.0..160.0).contains(t)).collect();
    let claims = [claim(100.0, 0x16, 1), claim(100.1, 0x30, 2)].concat();
    let report = judge(&[can_log([sensors(0, 200), depths, claims, switches(101, 200, 0x30)].concat())]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    assert_eq!(node(&report, 1), (181, vec![0x16]));
    assert_eq!(node(&report, 2), (100, vec![0x30]));
}

/// A node takes another address without a pause (a display told it to), and had told no NAME before: it did not fall silent.
#[test]
fn who_moves_before_its_name_is_known_does_not_fall_silent() {
    let moves = |pause: u32, name: Frames| {
        let depths = [depths(0, 100), moved(depths(100 + pause, 200), 0.0, 0x16, 0x30)].concat();
        judge(&[can_log([sensors(0, 200), depths, name].concat())])
    };
    let report = moves(0, claim(100.01, 0x30, 2));
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    let report = moves(20, claim(120.0, 0x30, 2));
    assert_eq!(alarms(&report), ["device-dropout"], "another one, put in its place");
    let report = judge(&[can_log(
        [sensors(0, 200), depths(0, 100), switches(100, 200, 0x30), claim(100.01, 0x30, 2)].concat(),
    )]);
    assert_eq!(alarms(&report), ["device-dropout"], "something else");
}

/// A node joins twice to ask all for their names and what they are; between, it says that it lives, every so often, or nothing.
/// Its NAME bears this class, as it stands there.
fn joins_twice(class: u32, beats_s: Option<f64>) -> Frames {
    let visit = |from: f64| {
        let claim = (from, 0x18EE_FF30, format!("0700D0260082{class:02X}C0"));
        let asks = (0..4).flat_map(move |i| {
            let at = from + 0.3 + f64::from(i);
            [(at, 0x18EA_FF30, "00EE00".to_owned()), (at + 0.5, 0x18EA_FF30, "14F001".to_owned())]
        });
        let beats = beats_s.into_iter().flat_map(move |every| {
            (1..=(50.0 / every) as u32)
                .map(move |i| (from + every * f64::from(i), 0x1DF0_1130, "60EA00FFFFFFFFFF".to_owned()))
        });
        std::iter::once(claim).chain(asks).chain(beats).collect::<Frames>()
    };
    [sensors(0, 260), depths(0, 260), visit(100.0), visit(190.0)].concat()
}

/// Somebody's computer (class 25, function 130 of NMEA's list) joins, leaves and joins again: nothing of the boat restarted. A
/// node of another kind that does the same has.
#[test]
fn a_computer_that_joins_twice_does_not_restart() {
    for beats_s in [None, Some(2.5)] {
        let report = judge(&[can_log(joins_twice(25 << 1, beats_s))]);
        assert!(alarms(&report).is_empty(), "{beats_s:?}: {:?}", report.findings);
        let report = judge(&[can_log(joins_twice(80 << 1, beats_s))]);
        assert!(alarms(&report).contains(&"device-restart"), "{beats_s:?}: {:?}", report.findings);
    }
}

/// A computer's adapter that is there from the beginning, and lives, is one of the boat's devices.
#[test]
fn a_computer_of_the_boat_restarts() {
    for every_s in [2.5, 60.0] {
        let beats = (0..(260.0 / every_s) as u32).map(|i| every_s * f64::from(i));
        let beats = beats.filter(|t| !(120.0..160.0).contains(t));
        let beats = beats.map(|t| (t, 0x1DF0_1130, "60EA00FFFFFFFFFF".to_owned()));
        let claims = [5.0, 159.9].map(|at| (at, 0x18EE_FF30, "0700D026008232C0".to_owned()));
        let frames = [sensors(0, 260), depths(0, 260), beats.collect(), claims.to_vec()].concat();
        let report = judge(&[can_log(frames)]);
        assert_eq!(alarms(&report), ["device-restart"], "{every_s}: {:?}", report.findings);
    }
}

/// Two sounders keep one address and claim it again and again; a log tries it once and finds none. That is a conflict of two, and
/// one without an address: the claims of the two are no restarts.
#[test]
fn a_third_one_that_gives_up_leaves_a_conflict_of_two() {
    let both = [
        depths(0, 300),
        moved(depths(0, 300), 0.0, 0x16, 0x16)
            .into_iter()
            .map(|(t, id, _)| (t + 0.005, id, "FFB80B00000000FF".to_owned()))
            .collect(),
    ];
    let quarrel = [20.0, 43.0, 63.0, 164.0, 213.0, 227.0]
        .map(|at| [claim(at, 0x16, 1), claim(at + 0.02, 0x16, 2)].concat());
    let third = [claim(28.0, 0x16, 3), claim(28.01, 0x16, 1), claim(28.15, 0xFE, 3)].concat();
    let report = judge(&[can_log([sensors(0, 300), both.concat(), quarrel.concat(), third].concat())]);
    assert_eq!(alarms(&report), ["address-conflict", "address-claim-failed"], "{:?}", report.findings);
    assert!(number(&report, "address-conflict", "claims") >= 12.0);
    let conflict = report.findings.iter().find(|f| f.kind == "address-conflict").unwrap();
    assert_eq!(conflict.devices.len(), 2);
}

/// In stamps of whole seconds a log claims the sounder's address, which defends it, and finds none: the order of the frames tells
/// that it got none before.
#[test]
fn who_finds_no_address_is_told_by_the_order_of_frames() {
    let tries =
        |moves_to| [claim(100.1, 0x16, 3), claim(100.15, 0x16, 1), claim(100.3, moves_to, 3)].concat();
    let judged = |frames: Frames| {
        let own = claim(5.0, 0x16, 1);
        let frames = [sensors(0, 300), depths(0, 300), own, frames].concat();
        let mut frames: Frames = frames.into_iter().collect();
        frames.sort_by(|a, b| a.0.total_cmp(&b.0));
        judge(&[can_log(frames.into_iter().map(|(t, id, data)| (t.floor(), id, data)).collect())])
    };
    let report = judged(tries(0xFE));
    assert_eq!(alarms(&report), ["address-claim-failed"], "{:?}", report.findings);
    let report = judged([tries(0xFE), claim(100.5, 0x40, 3)].concat());
    assert!(alarms(&report).is_empty(), "it found another: {:?}", report.findings);
}

/// The sounder restarts: of a heading that jumps this says that it restarted, and that it supplies none.
#[test]
fn who_restarts_and_supplies_nothing_of_it_is_told_so() {
    let depths: Frames = depths(0, 300).into_iter().filter(|(t, ..)| !(140.0..180.0).contains(t)).collect();
    let claims = [claim(5.0, 0x16, 1), claim(180.1, 0x16, 1)].concat();
    let log = can_log([sensors(0, 300), depths, claims].concat());
    let because = |complaint: &str| {
        let report = ask(std::slice::from_ref(&log), complaint);
        let cause = report.complaints[0].causes.iter().find(|c| c.cause == "device-restart").unwrap();
        cause.because.clone()
    };
    let words = because("heading-jumps");
    assert!(words.contains("restarts once; it does not supply heading."), "{words}");
    assert!(because("no-depth").contains("restarts once."));
}

/// Headings (PGN 127250) of the node at address 0x23, ten times a second.
fn headings(to: u32) -> Frames {
    let frame = |i: u32| {
        let [low, high, ..] = (9000 + i % 400).to_le_bytes();
        (f64::from(i) / 10.0 + 0.05, 0x09F1_1223, format!("FF{low:02X}{high:02X}FF7FFF7FFD"))
    };
    (0..10 * to).map(frame).collect()
}

/// A newcomer that starts asks all for their claims, claims the heading sensor's address and, where it has to, moves to one of its
/// own, from which it tells the wind. Who gives way claims address 0x50.
fn joins(answered: bool, yields: bool) -> Frames {
    let (holder, newcomer) = (2, 1);
    let asks = vec![(60.0, 0x18EA_FFFE, "00EE00".to_owned())];
    let answer = if answered { claim(60.06, 0x23, holder) } else { Vec::new() };
    let contest = claim(60.3, 0x23, newcomer);
    let (claims, winds) = if yields {
        (claim(60.42, 0x50, holder), 0x23)
    } else {
        ([claim(60.31, 0x23, holder), claim(60.42, 0x50, newcomer)].concat(), 0x50)
    };
    let wind = |i| (60.7 + f64::from(i) * 0.1, 0x09FD_0200 | winds, "00F40100E1FAFFFF".to_owned());
    let boat = [sensors(0, 200), depths(0, 200), headings(200)].concat();
    let boat = if yields { moved(boat, 60.4, 0x23, 0x50) } else { boat };
    [boat, asks, answer, contest, claims, (0..1390).map(wind).collect()].concat()
}

/// However the two settle it, nobody falls silent, and what came from the address is of who goes on with it.
#[test]
fn a_contest_for_an_address_is_no_silence() {
    for (answered, yields) in [(false, false), (true, false), (true, true)] {
        let report = judge(&[can_log(joins(answered, yields))]);
        assert!(alarms(&report).is_empty(), "{answered} {yields}: {:?}", report.findings);
        let sensor = node(&report, 2);
        let newcomer = node(&report, 1);
        assert!(
            sensor.0 > 2000 && (1390..1400).contains(&newcomer.0),
            "{answered} {yields}: {sensor:?} {newcomer:?}"
        );
        let nameless = report.devices.iter().find(|d| d.name.is_none() && d.address == Some(0x23));
        assert!(nameless.is_none(), "{answered} {yields}: {nameless:?}");
    }
}

/// A sounder claims the heading sensor's address, which goes on sending and claims it again some ms later; the sounder finds none.
/// The headings meanwhile are no sounder's: it is depth that is missing, and not heading.
#[test]
fn what_the_holder_sends_in_a_contest_is_its_own() {
    let tries = |at: f64, defended: f64| {
        let sounder =
            |at: f64, address: u32| vec![(at, 0x18EE_FF00 | address, "0100D026008278C0".to_owned())];
        [sounder(at, 0x23), claim(at + defended, 0x23, 2), sounder(at + defended + 0.1, 0xFE)].concat()
    };
    for defended in [0.06, 0.12] {
        let claims =
            [claim(1.0, 0x23, 2), tries(4.0, defended), tries(70.0, defended), tries(150.0, defended)];
        let log = can_log([sensors(0, 200), headings(200), claims.concat()].concat());
        for (complaint, standing) in [("no-depth", "Supported"), ("no-heading", "Open")] {
            let report = ask(std::slice::from_ref(&log), complaint);
            assert!(alarms(&report).contains(&"address-claim-failed"), "{:?}", report.findings);
            let cause =
                report.complaints[0].causes.iter().find(|c| c.cause == "address-claim-failed").unwrap();
            assert_eq!(
                format!("{:?}", cause.standing),
                standing,
                "{complaint} {defended}: {}",
                cause.because
            );
            assert_eq!(report.sources.iter().filter(|s| s.quantity == "heading").count(), 1, "{defended}");
        }
    }
}

/// A battery's state (PGN 127508), every 1.5 s, from an address.
pub(crate) fn batteries(from: f64, to: f64, address: u32) -> Frames {
    let frame = |i| (from + 1.5 * f64::from(i), 0x19F2_1400 | address, "000005FF7FFFFFFF".to_owned());
    (0..((to - from) / 1.5) as u32).map(frame).collect()
}

/// A battery monitor wins the sounder's address, which can claim no other: its depths stay its own.
#[test]
fn who_is_left_without_an_address_keeps_its_past() {
    let claims = [claim(100.0, 0x16, 1), claim(100.1, 0xFE, 2)].concat();
    let frames = [sensors(0, 200), depths(0, 100), claims, batteries(100.4, 199.0, 0x16)].concat();
    let report = judge(&[can_log(frames)]);
    assert_eq!(alarms(&report), ["address-claim-failed"], "{:?}", report.findings);
    assert_eq!(node(&report, 2), (101, vec![0x16, 0xFE]));
    assert_eq!(node(&report, 1).1, [0x16]);
}

/// The sounder is switched off; a battery monitor comes up at its address and gives way when it comes back: it is the sounder that
/// restarts.
#[test]
fn who_comes_back_to_its_address_is_who_restarts() {
    let claims = [claim(105.0, 0x16, 1), claim(130.0, 0x16, 2), claim(130.1, 0x31, 1)].concat();
    let batteries = [batteries(105.4, 130.0, 0x16), batteries(130.5, 199.0, 0x31)].concat();
    let depths = [depths(0, 100), depths(131, 200)].concat();
    let report = judge(&[can_log([sensors(0, 200), depths, claims, batteries].concat())]);
    assert_eq!(alarms(&report), ["device-restart"], "{:?}", report.findings);
    assert_eq!(node(&report, 2), (170, vec![0x16]));
    assert_eq!(node(&report, 1).1, [0x16, 0x31]);
    let span = report.findings.iter().find(|f| f.kind == "device-restart").unwrap().spans[0];
    assert!(span.seconds() > 30.0, "{span:?}");
}

/// Nobody has told a NAME yet when a newcomer claims one address in use after another: what came from them stays with those who
/// defend them.
#[test]
fn a_newcomer_that_tries_every_address_takes_none() {
    let claims = [
        claim(100.0, 0x23, 9),
        claim(100.01, 0x23, 3),
        claim(100.1, 0x16, 9),
        claim(100.11, 0x16, 2),
        claim(100.2, 0x31, 9),
    ];
    let boat = [sensors(0, 200), depths(0, 200), headings(200), batteries(100.6, 199.0, 0x31)];
    let report = judge(&[can_log([boat.concat(), claims.concat()].concat())]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    assert_eq!((node(&report, 2).0, node(&report, 3).0), (201, 4001));
}

/// A battery monitor loses a contest for the sounder's address and moves: that is as it should be, unless it goes on speaking from
/// there for seconds.
#[test]
fn who_loses_a_contest_and_goes_on_is_in_conflict() {
    let moves = |at: f64| {
        let claims = [claim(5.0, 0x16, 1), claim(100.0, 0x16, 2), claim(100.02, 0x16, 1), claim(at, 0x31, 2)];
        let batteries = [batteries(100.3, at, 0x16), batteries(at + 0.3, 199.0, 0x31)].concat();
        judge(&[can_log([sensors(0, 200), depths(0, 200), claims.concat(), batteries].concat())])
    };
    let report = moves(100.1);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    let report = moves(112.0);
    assert_eq!(alarms(&report), ["address-conflict"], "{:?}", report.findings);
    let conflict = report.findings.iter().find(|f| f.kind == "address-conflict").unwrap();
    assert_eq!((conflict.devices.len(), conflict.spans[0].seconds().round()), (2, 9.0));
    assert_eq!(node(&report, 1), (202, vec![0x16]));
}

/// A maker's own message (PGN 65330) that a node sends while somebody uses it, twice in the recording, is not missed in between; one
/// that came all the time is.
#[test]
fn what_a_maker_sends_on_demand_is_not_missed() {
    let used = |spans: &[(u32, u32)], asked: bool| {
        let frame = |i: u32| (f64::from(i) / 2.0 + 0.02, 0x18FF_3230, "099F0401FFFFFFFF".to_owned());
        let frames: Frames = spans.iter().flat_map(|(from, to)| (2 * from..2 * to).map(frame)).collect();
        let asks = vec![(150.0, 0x18EA_FF16, "00EE00".to_owned())];
        let answers = [asks, claim(150.05, 0x30, 2), claim(150.1, 0x16, 1)].concat();
        let answers = if asked { answers } else { Vec::new() };
        judge(&[can_log([sensors(0, 300), depths(0, 300), frames, claim(0.6, 0x30, 2), answers].concat())])
    };
    for asked in [true, false] {
        let report = used(&[(40, 110), (165, 255)], asked);
        assert!(alarms(&report).is_empty(), "{asked}: {:?}", report.findings);
    }
    let report = used(&[(0, 110), (165, 300)], false);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
}

/// A sounder that starts anew asks everybody for their claims, without an address, before it makes its own; who only answers has not
/// started, and who claims while another one of its address goes on has not taken over.
#[test]
fn who_asks_before_its_own_claim_has_started() {
    let asks = |at: f64| -> Frames { vec![(at, 0x18EA_FFFE, "00EE00".to_owned())] };
    let answers =
        |at: f64, address: u32, name: u32| [claim(1.0, address, name), claim(at, address, name)].concat();
    let all = [sensors(0, 200), asks(109.3), answers(109.9, 0x16, 1), answers(109.35, 0x23, 2)].concat();
    let quiet = |(t, ..): &(f64, u32, String)| !(100.0..110.0).contains(t);
    let depths_but = depths(0, 200).into_iter().filter(quiet).collect();
    let report = judge(&[can_log([all.clone(), depths_but].concat())]);
    assert_eq!(alarms(&report), ["device-restart"], "{:?}", report.findings);
    let report = judge(&[can_log([all, depths(0, 200)].concat())]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    let claimed = [sensors(0, 200), depths(0, 200), claim(100.3, 0x16, 1), switches(101, 200, 0x16)];
    let report = judge(&[can_log(claimed.concat())]);
    assert!(!alarms(&report).contains(&"device-dropout"), "{:?}", report.findings);
}
