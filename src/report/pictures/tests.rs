use super::*;
use crate::report::fixture;
use crate::report::model::{Bin, Number};
use crate::report::plots::{BySpeed, IntervalPlot, Line, Plots, Point, Presence, Scatter};
use crate::time::{Span, Time};

/// 2026-05-01 10:02:11 UTC, when the invented recordings begin.
fn at(seconds: f64) -> Time {
    Time(1_777_629_731_000_000).plus(seconds)
}

fn line(subject: &str, quantity: &'static str, values: &[(f64, Option<f64>)]) -> Line {
    let point =
        |(s, v): &(f64, Option<f64>)| Point { from: at(*s), to: at(*s), values: v.map(|v| (v, v, v)) };
    Line {
        subject: subject.to_owned(),
        message: String::from("127250"),
        quantity,
        reference: None,
        instance: None,
        join_s: 120.0,
        points: values.iter().map(point).collect(),
    }
}

fn finding(
    kind: &'static str,
    devices: &[&str],
    numbers: &[(&'static str, f64)],
) -> crate::report::model::FindingRow {
    let mut row = fixture::troubled().findings.remove(0);
    row.kind = kind;
    row.devices = devices.iter().map(|&d| String::from(d)).collect();
    row.messages = vec![String::from("127250")];
    row.spans = vec![Span::new(at(200.0), at(260.0))];
    row.numbers = numbers.iter().map(|(key, value)| (*key, Number::Real(*value))).collect();
    row
}

/// A little of everything.
fn everything() -> Report {
    let mut report = fixture::troubled();
    report.findings = vec![
        finding(
            "duplicate-heading-source",
            &["d1", "d2"],
            &[("a", 2.0), ("b", 8.0), ("c", 0.0), ("d", 0.0), ("e", 0.0)],
        ),
        finding("duplicate-position-source", &["d1", "d2"], &[("median_separation_m", 6.0)]),
        finding("depth-lost-at-speed", &["d4"], &[("threshold_kn", 14.0)]),
        finding("device-dropout", &["d2"], &[]),
        finding("device-restart", &["d1"], &[]),
        finding("link-flap", &["d3"], &[]),
        finding("slow-message", &["d1"], &[]),
        finding("compass-deviation", &["d2"], &[("a", 1.0), ("b", 9.0), ("c", 4.0), ("d", 0.0), ("e", 0.0)]),
    ];
    let presence = ["d1", "d2", "d3", "d4"].map(|d| Presence {
        device: String::from(d),
        heard: Span::new(at(0.0), at(700.0)),
        silences: vec![Span::new(at(200.0), at(260.0))],
    });
    let scatter = |finding, boat_axes| Scatter {
        finding,
        devices: [String::from("d1"), String::from("d2")],
        boat_axes,
        points: (0..8).map(|i| (f64::from(i) * 45.0, f64::from(i % 3))).collect(),
    };
    let mut load = line("w1", "load", &[(0.0, Some(31.0)), (60.0, Some(45.0))]);
    load.message.clear();
    report.plots = Plots {
        range: Some(Span::new(at(0.0), at(724.0))),
        presence: presence.to_vec(),
        lines: vec![
            line(
                "d1",
                "heading",
                &[(0.0, Some(350.0)), (60.0, Some(370.0)), (90.0, None), (120.0, Some(371.0))],
            ),
            line(
                "d4",
                "depth",
                &[(0.0, Some(4.0)), (60.0, Some(4.5)), (300.0, Some(9.0)), (360.0, Some(8.0))],
            ),
            line("d2", "course-and-speed-over-ground", &[(0.0, Some(0.0)), (60.0, Some(21.5))]),
            line("d1", "voltage", &[(0.0, Some(12.6)), (60.0, Some(9.1))]),
            load,
            line("w2", "rate", &[(0.0, Some(310.0)), (60.0, Some(900.0))]),
        ],
        spans: Vec::new(),
        intervals: vec![IntervalPlot {
            device: String::from("d1"),
            message: String::from("127250"),
            nominal_s: Some(0.1),
            bins: vec![
                Bin { from_s: 0.1, to_s: 0.126, count: 5200 },
                Bin { from_s: 7.94, to_s: 10.0, count: 1 },
            ],
        }],
        depth_by_speed: vec![BySpeed {
            device: String::from("d4"),
            message: String::from("127250"),
            classes: vec![(4.0, 40, 1), (13.5, 20, 5), (20.0, 0, 30)],
            class_kn: 0.5,
        }],
        heading_differences: vec![scatter(0, false)],
        separations: vec![scatter(1, true)],
    };
    report
}

#[test]
fn every_picture_is_drawn_as_it_was() {
    for picture in draw(&everything()) {
        let shown = format!("{}\n{}\n{:?}\n{}", picture.title, picture.about, picture.findings, picture.svg);
        insta::assert_snapshot!(picture.id.clone(), shown);
    }
}

#[test]
fn pictures_have_ids_of_their_own_and_find_their_findings() {
    let pictures = draw(&everything());
    let ids: Vec<&str> = pictures.iter().map(|p| p.id.as_str()).collect();
    assert_eq!(
        ids,
        [
            "heading-difference-1",
            "deviation-8",
            "separation-1",
            "depth-by-speed-1",
            "heading",
            "depth",
            "speed",
            "voltage",
            "bus-load",
            "network-rate",
            "presence",
            "intervals-1"
        ]
    );
    for picture in &pictures {
        for named in picture.svg.split(" id=\"").skip(1) {
            assert!(named.starts_with(&format!("{}-", picture.id)), "{named}");
        }
        assert!(picture.findings.iter().all(|f| *f < 8));
    }
    let of = |id: &str| &pictures.iter().find(|p| p.id == id).unwrap().findings;
    assert_eq!(*of("heading-difference-1"), [0]);
    assert_eq!(*of("depth-by-speed-1"), [2]);
    assert_eq!(*of("presence"), [3, 4, 5]);
    assert_eq!(*of("intervals-1"), [6]);
}

#[test]
fn where_nothing_is_known_nothing_is_drawn() {
    assert!(draw(&fixture::empty()).is_empty());
    assert!(draw(&fixture::troubled()).is_empty(), "findings alone make no picture");
}

#[test]
fn a_strangers_text_stays_text() {
    let mut report = everything();
    let evil = "</text></svg><script>alert(1)</script>\" onload='x' \u{202e}&amp;";
    for device in &mut report.devices {
        device.label = String::from(evil);
    }
    for wire in &mut report.wires {
        wire.label = Some(String::from(evil));
    }
    for line in &mut report.plots.lines {
        line.message = String::from(evil);
    }
    for plot in &mut report.plots.intervals {
        plot.message = String::from(evil);
    }
    for plot in &mut report.plots.depth_by_speed {
        plot.message = String::from(evil);
    }
    for finding in &mut report.findings {
        finding.summary = String::from(evil);
    }
    let pictures = draw(&report);
    assert_eq!(pictures.len(), 12);
    for picture in pictures {
        let svg = &picture.svg;
        assert!(!svg.contains("<script") && !svg.contains('\u{202e}'), "{svg}");
        assert!(!svg.contains("onload='"), "{svg}");
        assert_eq!(svg.matches("<svg").count(), 1);
        assert_eq!(svg.matches("<text").count(), svg.matches("</text>").count());
    }
}

#[test]
fn numbers_that_are_none_draw_no_nan() {
    let mut report = everything();
    for line in &mut report.plots.lines {
        line.points.push(Point {
            from: Time(i64::MAX),
            to: Time(i64::MAX),
            values: Some((f64::NEG_INFINITY, f64::NAN, f64::MAX)),
        });
    }
    report.plots.separations[0].points.push((f64::NAN, f64::INFINITY));
    report.plots.range = Some(Span::new(Time(i64::MIN), Time(i64::MAX)));
    for picture in draw(&report) {
        let paths: String = picture.svg.split(" d=\"").skip(1).filter_map(|d| d.split('"').next()).collect();
        assert!(!paths.contains("NaN") && !paths.contains("inf"), "{}: {paths}", picture.id);
    }
}

#[test]
fn a_heading_that_swings_about_north_is_drawn_around_it() {
    let mut report = everything();
    report.findings.clear();
    report.plots.lines =
        vec![line("d1", "heading", &[(0.0, Some(350.0)), (1.0, Some(10.0)), (2.0, Some(355.0))])];
    let heading = draw(&report).into_iter().find(|p| p.id == "heading").unwrap();
    assert!(heading.svg.contains(">350<") && heading.svg.contains(">0<"), "{}", heading.svg);
    assert!(!heading.svg.contains(">180<"), "the rest of the circle is left out");
}
