//! Answers to complaints.

use crate::make::{START_US, sentence};
use crate::silences::{depths, standing};
use crate::wires::sensors;
use crate::{ask, can_log, number};
use leadsman::report::model::{Report, Standing};
use leadsman::time::Time;

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

type Frames = Vec<(f64, u32, String)>;

/// Ten headings a second (PGN 127250, magnetic) of the node at an address; `None` where the message holds no heading.
fn headings(seconds: u32, address: u32, deg: impl Fn(f64) -> Option<f64>) -> Frames {
    let frame = |i: u32| {
        let t = f64::from(i) / 10.0 + 0.001 * f64::from(address);
        let units = deg(t).map_or(0xFFFF, |deg| (deg.rem_euclid(360.0).to_radians() * 1e4).round() as u16);
        let [low, high] = units.to_le_bytes();
        (t, 0x09F1_1200 | address, format!("FF{low:02X}{high:02X}FF7FFF7FFD"))
    };
    (0..10 * seconds).map(frame).collect()
}

/// A boat that swings to and fro.
fn swinging(t: f64) -> f64 {
    100.0 + 70.0 * (t / 15.0).sin()
}

/// What a device's own wobble adds, degrees, the same each run.
fn wobble(t: f64, phase: f64) -> f64 {
    0.4 * (t * 7.9 + phase).sin()
}

/// A claim of an address, as the node starts.
fn claim(at: f64, address: u32) -> Frames {
    vec![(at, 0x18EE_FF00 | address, format!("{address:02X}00D0260082A0C0"))]
}

/// Depth of the node at address 22, which starts anew after each silence.
fn restarting(seconds: u32, silences: &[(f64, f64)]) -> Frames {
    let silent = |t: f64| silences.iter().any(|(from, to)| (*from..*to).contains(&t));
    let claims = silences.iter().flat_map(|(_, to)| claim(*to, 22));
    let depths = depths(0, seconds).into_iter().filter(|(t, ..)| !silent(*t));
    depths.chain(claim(0.2, 22)).chain(claims).collect()
}

fn causes(report: &Report) -> Vec<(&str, Standing)> {
    report.complaints[0].causes.iter().map(|row| (row.cause.as_str(), row.standing)).collect()
}

/// Two compasses agree but for the leaps of one of them: the leaps are what is wrong, and no pair that differs.
#[test]
fn a_compass_that_leaps_goes_before_the_pair_that_agrees() {
    let leaps = |t: f64| [30.0, 70.0, 95.0, 130.0, 170.0].iter().any(|at| (*at..at + 3.0).contains(&t));
    let recorded = |away: f64, offset: f64| {
        let one = headings(200, 0x23, |t| Some(swinging(t) + wobble(t, 0.0)));
        let leaping = |t: f64| swinging(t) + offset + wobble(t, 2.0) + if leaps(t) { away } else { 0.0 };
        ask(&[can_log([one, headings(200, 0x24, |t| Some(leaping(t)))].concat())], "heading-jumps")
    };
    let report = recorded(50.0, 0.8);
    assert_eq!(causes(&report)[0].0, "heading-jump", "{}", report.complaints[0].answer);
    let p95 = number(&report, "duplicate-heading-source", "p95_difference_deg");
    assert!(p95 < 3.0, "{p95}");
    let pair = report.findings.iter().find(|f| f.kind == "duplicate-heading-source").unwrap();
    assert!(pair.evidence.iter().any(|line| line.contains("left out")), "{:?}", pair.evidence);
    let jump = report.findings.iter().find(|f| f.kind == "heading-jump").unwrap();
    assert!(
        jump.evidence.iter().any(|line| line.starts_with("Out and back 5 times: ")),
        "{:?}",
        jump.evidence
    );
    assert!(!pair.evidence.iter().any(|line| line.contains("askew")), "{:?}", pair.evidence);
    // Two that differ are a fault of their own.
    assert!(number(&recorded(50.0, 9.0), "duplicate-heading-source", "p95_difference_deg") > 8.0);
}

/// The battery is watched on one bus and the sounder restarts on another, and nothing tells how the two recorders' clocks compare.
#[test]
fn a_dip_leads_wherever_it_was_recorded() {
    let volts = |dips: [f64; 2]| {
        let frame = |i: u32| {
            let t = 1.5 * f64::from(i) + 0.06;
            let low = dips.iter().any(|at| (*at..at + 6.0).contains(&t));
            (t, 0x19F2_1448, format!("00{}FF7FFFFFFF", if low { "DE03" } else { "EC04" }))
        };
        can_log((0..160).map(frame).collect())
    };
    let restarts = can_log([sensors(0, 240), restarting(240, &[(60.0, 68.0), (150.0, 157.0)])].concat());
    let together = ask(&[restarts.clone(), volts([60.0, 149.0])], "no-depth");
    assert_eq!(
        causes(&together)[..2].iter().map(|c| c.0).collect::<Vec<_>>(),
        ["low-supply-voltage", "device-restart"]
    );
    assert!(together.complaints[0].answer.contains("With it: "), "{}", together.complaints[0].answer);
    let restart = together.findings.iter().find(|f| f.kind == "device-restart").unwrap();
    assert!(
        restart.evidence.iter().any(|line| line.contains("could not be compared")),
        "{:?}",
        restart.evidence
    );
    let apart = ask(&[restarts, volts([60.0, 200.0])], "no-depth");
    assert_eq!(causes(&apart)[0].0, "device-restart", "{}", apart.complaints[0].answer);
}

/// A satellite compass loses its fix, and its heading with it; a receiver that has a compass of its own keeps it.
#[test]
fn a_heading_that_goes_with_the_fix_is_the_fixs() {
    let lost = |t: f64| (60.0..95.0).contains(&t) || (130.0..150.0).contains(&t);
    let frames = |needs_it: bool| {
        let mut frames = sensors(0, 200);
        for (t, id, data) in &mut frames {
            if *id == 0x09F8_0103 && lost(*t) {
                *data = "FFFFFF7FFFFFFF7F".to_owned();
            }
        }
        let deg = move |t: f64| (!needs_it || !lost(t)).then(|| swinging(t));
        ask(&[can_log([frames, headings(200, 3, deg)].concat())], "no-heading")
    };
    let report = frames(true);
    let answer = &report.complaints[0].answer;
    assert_eq!(causes(&report)[0], ("fix-lost", Standing::Supported), "{answer}");
    assert!(answer.contains("loses its fix") && answer.contains("(28 %)"), "{answer}");
    let report = frames(false);
    assert!(causes(&report).contains(&("fix-lost", Standing::RuledOut)), "{:?}", causes(&report));
}

/// A compass that sends no heading for half a minute is there: that is said, and nobody is sent to look for it.
#[test]
fn a_heading_source_without_heading_is_told() {
    let deg = |t: f64| (!(60.0..90.0).contains(&t)).then(|| swinging(t));
    let report = ask(&[can_log([sensors(0, 200), headings(200, 0x16, deg)].concat())], "no-heading");
    let answer = &report.complaints[0].answer;
    for part in ["is there and sends no heading", "300 of 2000", "(15 %)", "30.0 s at the longest"] {
        assert!(answer.contains(part), "{part}: {answer}");
    }
    let first = report.complaints[0].causes.iter().find(|row| row.standing == Standing::Open).unwrap();
    assert!(first.next_check.contains("has power"), "{}", first.next_check);
}

/// A gateway sends no depth on its line exactly while the sounder of the bus starts anew; apart from that the two agree.
#[test]
fn what_a_gateway_lacks_while_its_sounder_starts_follows_from_the_start() {
    let silences = [(60.0, 68.0), (110.0, 119.0), (150.0, 157.0)];
    let silent = |t: f64| silences.iter().any(|(from, to)| (*from..*to).contains(&t));
    let line = (0..200).fold(String::new(), |log, i| {
        let t = f64::from(i) + 0.9;
        let depth = 8.0 + f64::from(i % 50) / 100.0 + 0.07 * (t * 1.3).sin();
        let depth = if silent(t) { String::new() } else { format!("{depth:.2}") };
        let at = Time(START_US as i64).plus(t);
        log + &format!("{at} {}", sentence(&format!("SDDPT,{depth},0.0")))
    });
    let bus = can_log([sensors(0, 200), restarting(200, &silences)].concat());
    let report = ask(&[bus, line.into_bytes()], "no-depth");
    assert_eq!(
        causes(&report)[0],
        ("device-restart", Standing::Supported),
        "{}",
        report.complaints[0].answer
    );
    let kept = report.findings.iter().find(|f| f.kind == "depth-not-available").unwrap();
    assert!(kept.evidence.iter().any(|line| line.starts_with("Follows from")), "{:?}", kept.evidence);
    let pair = causes(&report).into_iter().find(|c| c.0 == "duplicate-depth-source").unwrap();
    assert_eq!(pair.1, Standing::Open);
    let pair = report.findings.iter().find(|f| f.kind == pair.0).unwrap();
    assert!(pair.summary.ends_with("and agree") && pair.checks.len() == 1, "{:?}", pair.checks);
}

/// A compass starts anew and shows another heading: whether the boat turned meanwhile does not show.
#[test]
fn a_step_over_a_restart_is_not_excluded() {
    let recorded = |away: f64| {
        let shown = headings(200, 0x16, |t| Some(100.0 + wobble(t, 0.0) + if t > 63.0 { away } else { 0.0 }));
        let shown = shown.into_iter().filter(|(t, ..)| !(60.0..65.4).contains(t)).collect();
        standing(can_log([sensors(0, 200), shown].concat()), "heading-jumps", "heading-jump")
    };
    let (told, why) = recorded(72.0);
    assert_eq!(told, Standing::Open, "{why}");
    assert!(why.contains("does not show") && why.contains("+7"), "{why}");
    assert_eq!(recorded(0.0).0, Standing::RuledOut);
}

/// A recording in which nothing shows asks for a better one before it sends anybody to a part of the boat.
#[test]
fn where_nothing_shows_a_recording_comes_first() {
    let report = ask(&[can_log([sensors(0, 22), depths(0, 22)].concat())], "no-depth");
    let first = report.complaints[0].causes.iter().find(|row| row.standing == Standing::Open).unwrap();
    assert!(first.next_check.starts_with("Record "), "{}", first.next_check);
    // Nobody is sent to choose between sources where there is none.
    let report = ask(&[can_log([sensors(0, 120), depths(0, 120)].concat())], "heading-jumps");
    let first = report.complaints[0].causes.iter().find(|row| row.standing == Standing::Open).unwrap();
    assert!(first.next_check.starts_with("Record the wire of the device"), "{}", first.next_check);
}

/// A boat that runs north for a quarter of an hour at up to 12 kn, over a bottom that changes, with a good receiver.
#[test]
fn what_a_recording_shows_to_be_in_order_is_ruled_out() {
    let said = |quality: bool| {
        move |i: u32| {
            let knots = 6.0 + 6.0 * (f64::from(i) / 100.0).sin();
            let north = 30.0 + f64::from(i) * 6.0 / 3600.0 - (f64::from(i) / 100.0).cos() / 6.0;
            let place = format!("54{north:07.4},N,01010.0000,E");
            let time = format!("{:02}{:02}{:02}.00", i / 3600, i / 60 % 60, i % 60);
            let dilution = if quality { "1,09,0.9" } else { "1,," };
            vec![
                format!("GPRMC,{time},A,{place},{knots:.1},0.0,010126,,,A"),
                format!("GPGGA,{time},{place},{dilution},2.0,M,44.0,M,,"),
                format!("SDDPT,{:.1},0.3,", 9.0 + 3.0 * (f64::from(i) / 20.0).sin()),
            ]
        }
    };
    let told = |quality: bool, complaint: &str, cause: &str| {
        standing(crate::lines::line(900, said(quality)), complaint, cause)
    };
    for (complaint, cause, words) in [
        ("position-jumps", "fix-lost", "Each of 1800 position messages"),
        ("position-jumps", "poor-fix", "at most 0.9 and no fewer than 9 satellites"),
        ("position-jumps", "position-frozen", "under way at over 3 kn"),
        ("depth-wrong", "depth-frozen", "No depth stands still"),
        ("data-drops-out", "slow-message", "3 messages of live data"),
        ("data-drops-out", "irregular-message", "99 in 100 intervals of each of 3 messages"),
    ] {
        let (told, why) = told(true, complaint, cause);
        assert!(told == Standing::RuledOut && why.contains(words), "{cause}: {why}");
    }
    // What is left open says how far the recording goes.
    let (open, why) = told(true, "no-depth", "depth-lost-at-speed");
    assert!(open == Standing::Open && why.contains("up to 12 kn"), "{why}");
    let (open, why) = told(false, "position-jumps", "poor-fix");
    assert!(
        open == Standing::Open && why.contains("Not every receiver") && why.contains("It would show"),
        "{why}"
    );
}
