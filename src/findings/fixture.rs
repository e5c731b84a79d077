//! Boats for the tests of detectors that judge values: readings straight into the books.

use super::{Evidence, Finding};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::timing::Message;
use crate::messages::{Absent, North, Reading};
use crate::report::model::Severity;
use crate::time::Time;

/// A boat of which only the values are known.
#[derive(Default)]
pub(super) struct Boat {
    pub(super) books: Books,
}

impl Boat {
    /// A moment on the first of June 2026.
    pub(super) fn at(seconds: f64) -> Time {
        Time(20_605 * crate::time::DAY_US).plus(seconds)
    }

    /// Books what a device says.
    pub(super) fn say(&mut self, device: u32, pgn: u32, seconds: f64, reading: &Reading) {
        self.books.series.reading(
            DeviceId(device),
            Message::Pgn(pgn),
            Some(Self::at(seconds)),
            reading,
            &mut crate::books::found::Found::default(),
        );
    }

    /// Books course (true) and speed over ground.
    pub(super) fn ground(&mut self, device: u32, seconds: f64, course_deg: f64, speed_kn: f64) {
        let course_deg = Ok(crate::units::wrap_360(course_deg));
        let reading = Reading::CourseSpeed { course_deg, north: Some(North::True), speed_kn: Ok(speed_kn) };
        self.say(device, 129_026, seconds, &reading);
    }

    /// Books a true heading.
    pub(super) fn heading(&mut self, device: u32, seconds: f64, deg: f64) {
        let reading = Reading::Heading {
            deg: Ok(crate::units::wrap_360(deg)),
            north: Some(North::True),
            deviation_deg: Err(Absent::Missing),
            variation_deg: Err(Absent::Missing),
        };
        self.say(device, 127_250, seconds, &reading);
    }

    pub(super) fn evidence(&self) -> Evidence<'_> {
        Evidence::of(&self.books)
    }
}

/// A number between -1 and 1 that looks random, the same each run.
pub(super) fn noise(i: i64) -> f64 {
    let x = (i as u64).wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let x = (x ^ (x >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (x >> 40) as f64 / f64::from(1 << 23) - 1.0
}

/// Severity and devices of each finding.
pub(super) fn kinds(findings: &[Finding]) -> Vec<(Severity, Vec<u32>)> {
    findings.iter().map(|f| (f.severity, f.devices.iter().map(|d| d.0).collect())).collect()
}
