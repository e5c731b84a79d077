//! NMEA 0183 lines.

use crate::make::{START_US, sentence};
use crate::silences::standing;
use crate::{alarms, judge, number};
use leadsman::report::model::Standing;
use leadsman::time::Time;

/// A line of so many seconds, each with the sentences that `said` gives for it.
pub(crate) fn line(seconds: u32, said: impl Fn(u32) -> Vec<String>) -> Vec<u8> {
    let mut log = String::new();
    for i in 0..seconds {
        for (n, body) in said(i).iter().enumerate() {
            let at = Time(START_US as i64).plus(f64::from(i) + 0.1 * n as f64);
            log += &format!("{at} {}", sentence(body));
        }
    }
    log.into_bytes()
}

/// RMC and GGA of a boat that goes north at 6 kn, with this status, mode and quality.
fn fix(i: u32, status: char, mode: char, quality: u32) -> Vec<String> {
    let minutes = 30.0 + f64::from(i) * 6.0 / 3600.0;
    let (hour, minute, second) = (i / 3600, i / 60 % 60, i % 60);
    let time = format!("{hour:02}{minute:02}{second:02}.00");
    let satellites = if quality == 6 { 0 } else { 9 };
    vec![
        format!("GPRMC,{time},{status},54{minutes:07.4},N,01010.0000,E,6.0,0.0,010126,,,{mode}"),
        format!("GPGGA,{time},54{minutes:07.4},N,01010.0000,E,{quality},{satellites:02},0.9,2.0,M,44.0,M,,"),
    ]
}

/// Dead reckoning is no fix (IEC 61162-1: mode E forces status V; GGA quality 6), whether or not the receiver sets the status.
#[test]
fn a_reckoned_place_is_no_fix() {
    for status in ['A', 'V'] {
        let lost = |i: &u32| (100..150).contains(i);
        let report =
            judge(&[line(300, |i| if lost(&i) { fix(i, status, 'E', 6) } else { fix(i, 'A', 'A', 1) })]);
        assert_eq!(alarms(&report), ["fix-lost"]);
        assert!((number(&report, "fix-lost", "lost_s") - 50.0).abs() < 1.5);
    }
}

/// A log without stamps takes its times from the receiver, which has none while it has no fix.
#[test]
fn a_loss_shows_where_the_times_go_with_the_fix() {
    let said = |i: u32| {
        let mut said = if (100..150).contains(&i) {
            vec!["GPRMC,,V,,,,,,,,,,N".to_owned(), "GPGGA,,,,,,0,00,99.99,,,,,,".to_owned()]
        } else {
            fix(i, 'A', 'A', 1)
        };
        said.extend((0..5).map(|n| format!("HCHDG,{:.1},,,,", 90.0 + f64::from((i * 5 + n) % 7) / 10.0)));
        said
    };
    let log: String = (0..300).flat_map(said).map(|body| sentence(&body)).collect();
    let report = judge(&[log.into_bytes()]);
    assert_eq!(alarms(&report), ["fix-lost"], "{:?}", report.findings);
    assert!((number(&report, "fix-lost", "lost_s") - 50.0).abs() < 2.5);
}

/// A line of 4800 baud (480 characters a second, ten bits each) is asked for more: its talker sends without a pause and leaves
/// out what finds no room, whole sentences and none cut.
fn full_line(left_out: impl Fn(u32, &str) -> bool) -> Vec<u8> {
    let slow = [
        "GPRMC,101530.00,A,5418.0000,N,01010.0000,E,6.0,045.0,010526,4.0,E,A",
        "GPGGA,101530.00,5418.0000,N,01010.0000,E,1,09,0.9,3.0,M,45.0,M,,",
        "GPGLL,5418.0000,N,01010.0000,E,101530.00,A,A",
        "GPVTG,045.0,T,041.0,M,6.0,N,11.1,K,A",
        "GPGSV,2,1,08,01,40,083,46,02,17,308,41,03,07,344,39,04,22,228,45",
        "GPGSV,2,2,08,05,40,083,46,06,17,308,41,07,07,344,39,08,22,228,45",
        "SDDPT,7.4,0.3,",
        "VWVHW,,T,,M,5.8,N,10.7,K",
    ];
    let mut out = String::new();
    let mut count = 0_u32;
    for second in 0..240_u32 {
        let fast = |tick: u32| format!("HCHDT,{:.1},T", f64::from((second + tick) % 50) / 10.0);
        let due = slow.iter().map(|body| (*body).to_owned()).chain((0..9).map(fast));
        let mut at = f64::from(second);
        for body in due {
            count += 1;
            // One in five finds no room, in no order.
            let finds_room = count.wrapping_mul(2_654_435_761) >> 16 & 0xFF >= 51;
            if finds_room && !left_out(second, &body) {
                let line = sentence(&body);
                at += line.len() as f64 / 480.0;
                out += &format!("{} {line}", Time(START_US as i64).plus(at));
            }
        }
    }
    out.into_bytes()
}

#[test]
fn a_full_line_that_leaves_sentences_out_is_overloaded() {
    let report = judge(&[full_line(|_, _| false)]);
    assert!(alarms(&report).contains(&"line-overloaded"), "{:?}", report.findings);
    assert!(!alarms(&report).contains(&"irregular-message"), "{:?}", report.findings);
}

/// A line whose sentences lose their beginning now and then, as a buffer that overflows makes them: they are counted, and are
/// neither frames nor readings. Common practice, no source.
#[test]
fn sentences_that_lost_their_start_are_garbled() {
    let said = |i: u32| vec![format!("HCHDG,{:.1},,,4.4,E", f64::from(i % 9)), "SDDPT,7.4,0.3,".to_owned()];
    let whole = String::from_utf8(line(300, said)).unwrap();
    let cut = |(n, line): (usize, &str)| match line.split_once('$') {
        Some((stamp, sentence)) if n % 40 == 11 => format!("{stamp}{}\n", &sentence[n % 5..]),
        _ => format!("{line}\n"),
    };
    let text: String = whole.lines().enumerate().map(cut).collect();
    let report = judge(&[text.into_bytes()]);
    assert_eq!(alarms(&report), ["garbled-sentence"], "{:?}", report.findings);
    assert!((number(&report, "garbled-sentence", "garbled") - 15.0).abs() < 0.1);
    assert!((number(&report, "garbled-sentence", "total") - 600.0).abs() < 0.1);
    assert_eq!(report.recordings[0].frames, 585);
}

/// What finds no room several times in a row is missing for seconds, and no device fell silent; a minute is too long for that.
#[test]
fn what_a_full_line_leaves_out_in_a_row_is_no_dropout() {
    let without = |seconds: u32| {
        judge(&[full_line(|s, body| (100..100 + seconds).contains(&s) && body.starts_with("VW"))])
    };
    assert!(alarms(&without(9)).contains(&"line-overloaded"));
    assert!(!alarms(&without(9)).contains(&"device-dropout"));
    assert!(alarms(&without(60)).contains(&"device-dropout"));
}

/// A line that never rests: what came last in each round finds room by chance only, so that no rhythm is left of it.
#[test]
fn a_line_that_never_rests_is_overloaded_whatever_it_leaves_out() {
    let steady = ["GPVTG,045.0,T,041.0,M,6.0,N,11.1,K,A", "VWVHW,,T,,M,5.8,N,10.7,K", "SDDPT,7.4,0.3,"];
    let seldom = [
        "GPRMC,101530.00,A,5418.0000,N,01010.0000,E,6.0,045.0,010526,4.0,E,A",
        "GPGGA,101530.00,5418.0000,N,01010.0000,E,1,09,0.9,3.0,M,45.0,M,,",
    ];
    let (mut out, mut at, mut number) = (String::new(), 0.0, 7_u32);
    let mut say = |at: &mut f64, body: &str| {
        let line = sentence(body);
        *at += line.len() as f64 / 480.0;
        out += &format!("{} {line}", Time(START_US as i64).plus(*at));
    };
    for second in 0..240_u32 {
        steady.iter().for_each(|body| say(&mut at, body));
        // The rest of the second is full of headings, but for the other two when one of them finds room.
        while at < f64::from(second + 1) {
            number = number.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            match number >> 24 {
                0..4 => say(&mut at, seldom[0]),
                4..6 => say(&mut at, seldom[1]),
                _ => say(&mut at, &format!("HCHDT,{:.1},T", f64::from(second % 50) / 10.0)),
            }
        }
    }
    assert!(alarms(&judge(&[out.into_bytes()])).contains(&"line-overloaded"));
}

/// Stamps of a second make a full line's sentences come unevenly; none of them is missing.
#[test]
fn a_line_that_is_nearly_full_and_whole_is_healthy() {
    let mut out = String::new();
    let mut at = 0.0_f64;
    for second in 0..240_u32 {
        at = at.max(f64::from(second));
        let heading = |n: u32| format!("HCHDG,{:.1},,,4.4,E", f64::from((second + n) % 50) / 10.0);
        let fix = [
            "GPRMC,101530.00,A,5418.0000,N,01010.0000,E,0.0,045.0,010526,4.0,E,A".to_owned(),
            "GPGGA,101530.00,5418.0000,N,01010.0000,E,1,09,0.9,3.0,M,45.0,M,,".to_owned(),
            "GPVTG,045.0,T,041.0,M,0.0,N,0.0,K,A".to_owned(),
            "GPGSA,A,3,01,02,03,04,05,06,07,08,,,,,1.9,0.9,1.6".to_owned(),
            "WIMWV,033.4,R,11.9,N,A".to_owned(),
            "GPGLL,5418.0000,N,01010.0000,E,101530.00,A,A".to_owned(),
            "VWVHW,,T,,M,0.0,N,0.0,K".to_owned(),
        ];
        for body in fix.into_iter().chain((0..5).map(heading)) {
            let line = sentence(&body);
            at += line.len() as f64 / 480.0;
            out += &format!("{} {line}", Time(START_US as i64).plus(at.floor()));
        }
    }
    let report = judge(&[out.into_bytes()]);
    let load = report.wires[0].load_by_baud.iter().find(|load| load.baud == 4800).unwrap().mean_percent;
    assert!((93.0..99.0).contains(&load), "{load}");
    assert_eq!(alarms(&report), [""; 0]);
}

/// A sounder that gives tenths of a metre over steep ground stands still at 6 kn and wakes up elsewhere; or there is a shelf
/// as flat as that, and the ground goes on behind it as it did before.
#[test]
fn a_depth_in_tenths_that_stands_is_told_from_a_shelf() {
    let bottom = |t: f64| 12.0 + 4.0 * (t / 8.0).sin();
    let stands = |i: u32| bottom(f64::from(if (100..124).contains(&i) { 100 } else { i }));
    let shelf = |i: u32| bottom(f64::from(if i < 100 { i } else { i.max(124) - 24 }));
    let depth = |m: f64| format!("SDDPT,{m:.1},0.0");
    let judged =
        |m: &dyn Fn(u32) -> f64| judge(&[line(300, |i| [fix(i, 'A', 'A', 1), vec![depth(m(i))]].concat())]);
    let report = judged(&stands);
    assert_eq!(alarms(&report), ["depth-frozen"], "{:?}", report.findings);
    assert!((number(&report, "depth-frozen", "frozen_s") - 24.0).abs() < 2.0);
    assert!(alarms(&judged(&shelf)).is_empty());
}

/// Without a recorder's clock the time leaps where the receiver is silent or its clock is set: unless the others' sentences tell
/// that the time passed, neither is excluded.
#[test]
fn silences_by_the_boats_own_clock_are_not_excluded() {
    let log = |headings_go_on: bool| {
        let mut log = String::new();
        for i in 0..300 {
            let silent = (100..120).contains(&i);
            if !silent {
                fix(i, 'A', 'A', 1).iter().for_each(|said| log += &sentence(said));
            }
            for n in 0..if silent && !headings_go_on { 0 } else { 5 } {
                log += &sentence(&format!("HCHDG,{}.{n},,,4.0,E", 100 + i % 7));
            }
        }
        standing(log.into_bytes(), "no-position", "device-dropout")
    };
    let (told, why) = log(false);
    assert_eq!(told, Standing::Open, "{why}");
    assert!(why.contains("own clock"), "{why}");
    assert_eq!(log(true).0, Standing::Supported);
}

/// A line of so many baud that carries about 475 characters a second: what a receiver has once a second in one go, and a heading
/// five times. One sentence in thirty is cut short by noise.
fn noisy_line(baud: u32) -> Vec<u8> {
    let once = [
        "GPRMC,101530.00,A,5418.0000,N,01010.0000,E,0.0,045.0,010526,4.0,E,A",
        "GPGGA,101530.00,5418.0000,N,01010.0000,E,1,09,0.9,3.0,M,45.0,M,,",
        "GPVTG,045.0,T,041.0,M,0.0,N,0.0,K,A",
        "GPGLL,5418.0000,N,01010.0000,E,101530.00,A,A",
        "GPGSV,1,1,04,01,40,083,46,02,17,308,41,03,07,344,39,04,22,228,45",
        "VWVHW,,T,,M,0.0,N,0.0,K",
        "SDDPT,7.4,0.3,",
    ];
    let mut out = String::new();
    let (mut free, mut count) = (0.0_f64, 0_u32);
    for second in 0..240_u32 {
        let fast = (0..5).map(|n| {
            (0.2 * f64::from(n), format!("HCHDG,{:.1},,,4.4,E", f64::from((second + n) % 50) / 10.0))
        });
        let mut due: Vec<(f64, String)> =
            once.iter().map(|body| (0.3, (*body).to_owned())).chain(fast).collect();
        due.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (late, body) in due {
            let line = sentence(&body);
            free = free.max(f64::from(second) + late) + line.len() as f64 * 10.0 / f64::from(baud);
            count += 1;
            let whole = count.wrapping_mul(2_654_435_761) >> 16 & 0xFF >= 9;
            let line = if whole { &line } else { &format!("{}\r\n", &line[..line.len() / 2]) };
            out += &format!("{} {line}", Time(START_US as i64).plus(free));
        }
    }
    out.into_bytes()
}

/// A fast line that carries as much as a slow one can is told by its bursts.
#[test]
fn a_noisy_fast_line_is_not_full() {
    let slow = judge(&[noisy_line(4800)]);
    let per_s = number(&slow, "line-overloaded", "chars_per_s");
    assert!((450.0..485.0).contains(&per_s), "{per_s}");
    let fast = judge(&[noisy_line(38_400)]);
    assert_eq!(alarms(&fast), ["garbled-sentence"], "{:?}", fast.findings);
}

/// Damage in bursts takes five sentences in a row now and then: that is the damage's, and told once.
#[test]
fn what_comes_damaged_is_not_missed() {
    let said = |i: u32| {
        let mut said = fix(i, 'A', 'A', 1);
        said.push(format!("SDDPT,{:.2},0.3,", 8.0 + f64::from(i % 60) / 20.0));
        said
    };
    let text = String::from_utf8(line(600, said)).unwrap();
    let damaged = |i: usize| (200..230).contains(&(i / 3)) && (i / 3 % 10 < 8 || i.is_multiple_of(2));
    let bad: String = (0..)
        .zip(text.lines())
        .map(|(i, line)| {
            if damaged(i) {
                format!("{}5{}\r\n", &line[..line.len() - 6], &line[line.len() - 6..])
            } else {
                format!("{line}\r\n")
            }
        })
        .collect();
    assert_eq!(alarms(&judge(&[bad.into_bytes()])), ["bad-checksum"]);
    let cut: String = (0..)
        .zip(text.lines())
        .map(
            |(i, line)| {
                if damaged(i) { format!("{}\r\n", &line[..line.len() - 6]) } else { format!("{line}\r\n") }
            },
        )
        .collect();
    assert_eq!(alarms(&judge(&[cut.into_bytes()])), ["garbled-sentence"]);
    // A talker that is silent on a damaged line is silent all the same, though every third sentence is cut.
    for every in [19, 3] {
        let cut = |i: usize| (i * 7 + i / 5).is_multiple_of(every);
        let silent: String = (0..)
            .zip(text.lines())
            .filter(|(i, line)| !(line.contains("SDDPT") && (300..330).contains(&(i / 3))))
            .map(
                |(i, line)| {
                    if cut(i) { format!("{}\r\n", &line[..line.len() - 6]) } else { format!("{line}\r\n") }
                },
            )
            .collect();
        let found = alarms(&judge(&[silent.into_bytes()]));
        assert_eq!(found, ["device-dropout", "garbled-sentence"], "every {every}");
    }
}

/// A line of 4800 baud whose talkers have so many headings a second beside the rest, and of which nobody wrote down the times: of
/// what finds no room behind 260 characters that wait some is cut, and most is left out.
fn queued_line(headings: u32) -> Vec<u8> {
    let rest = [
        "GPVTG,045.0,T,041.0,M,0.0,N,0.0,K,A",
        "GPGSV,2,1,08,01,40,083,46,02,17,308,41,03,07,344,39,04,22,228,45",
        "GPGSV,2,2,08,05,40,083,46,06,17,308,41,07,07,344,39,08,22,228,45",
        "WIMWV,033.4,R,11.9,N,A",
        "VWVHW,,T,,M,0.0,N,0.0,K",
        "SDDPT,7.4,0.3,",
    ];
    let mut out = String::new();
    let (mut free, mut number) = (0.0_f64, 7_u32);
    let mut draw = || {
        number = number.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(number >> 16) / 65_536.0
    };
    for second in 0..240_u32 {
        let time = format!("{:02}{:02}", 15 + second / 60, second % 60);
        let fix = format!("GPRMC,10{time}.00,A,5418.0000,N,01010.0000,E,0.0,045.0,010526,4.0,E,A");
        let fast = (0..headings).map(|n| format!("HCHDG,{:.1},,,4.4,E", f64::from((second + n) % 50) / 10.0));
        let bodies = std::iter::once(fix).chain(rest.map(str::to_owned)).chain(fast);
        let mut due: Vec<(f64, String)> = bodies.map(|body| (f64::from(second) + draw(), body)).collect();
        due.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (at, body) in due {
            let mut line = sentence(&body);
            if (free - at).max(0.0) * 480.0 + line.len() as f64 > 260.0 {
                if draw() < 0.7 {
                    continue;
                }
                line = format!("{}\r\n", &line[..line.len() / 2]);
            }
            free = free.max(at) + line.len() as f64 / 480.0;
            out += &line;
        }
    }
    out.into_bytes()
}

/// Where the boat's own clock alone tells the time, and some of its sentences find no room either, what came in two or three seconds
/// bears one time: the mean tells that the line is full.
#[test]
fn a_full_line_without_stamps_is_overloaded() {
    for headings in [8, 9, 10] {
        let report = judge(&[queued_line(headings)]);
        assert_eq!(alarms(&report), ["line-overloaded"], "{headings}: {:?}", report.findings);
    }
    let with_room = judge(&[queued_line(4)]);
    assert!(!alarms(&with_room).contains(&"line-overloaded"), "its queue overflows now and then");
}
