//! Series: who supplies which quantity, and the values of those quantities that findings compare.

use super::found::Found;
use super::inventory::DeviceId;
use super::message::{Message, same_text};
use super::numbers::{absence, numbers};
use super::runs::Runs;
use super::standing::stands;
use super::steps::Steps;
use super::timing::Gaps;
use super::traces::Trace;
pub use super::track::{Sample, Track, Walk, around};
use crate::messages::{Absent, Reading};
use crate::time::Time;
use rustc_hash::FxHashMap;

/// Most sources that are kept.
pub const MAX_SOURCES: usize = 1536;

/// Most sources whose values are kept.
pub const MAX_TRACKS: usize = 64;

/// Width of a class of speed in [`Source::by_speed`], knots.
pub const SPEED_CLASS_KN: f64 = 0.5;

/// Classes of speed: up to 60 knots.
pub const SPEED_CLASSES: usize = 120;

/// How old a speed may be to be taken for the boat's speed now, seconds.
const SPEED_HOLDS_S: f64 = 3.0;

/// A source's last value.
#[derive(Debug, Clone, PartialEq)]
pub enum LastValue {
    /// Nothing yet.
    None,
    /// A number in the quantity's unit.
    Number(f64),
    /// Named numbers; the names bear the units.
    Fields(Vec<(&'static str, f64)>),
    /// A number in a unit that the quantity's name does not fix.
    Measure(f64, &'static str),
}

/// What makes a source: a device's stream of one quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct SourceKey {
    /// Whose.
    pub device: DeviceId,
    /// In which message.
    pub message: Message,
    /// Plain name of the quantity.
    pub quantity: &'static str,
    /// What it counts from.
    pub reference: Option<&'static str>,
    /// Which of several alike.
    pub instance: Option<u8>,
}

impl SourceKey {
    fn of(device: DeviceId, message: Message, reading: &Reading) -> Self {
        Self {
            device,
            message,
            quantity: reading.quantity().unwrap_or(FIX_QUALITY),
            reference: reading.reference(),
            instance: reading.instance(),
        }
    }
}

/// What a reading of the fix alone is a source of.
const FIX_QUALITY: &str = "fix-quality";

/// One source.
#[derive(Debug, Clone)]
pub struct Source {
    /// What makes it.
    pub key: SourceKey,
    /// See [`Reading::kind`].
    kind: u32,
    /// The number of its messages' stream, of several the one of its first message.
    pub(super) stream: Option<u32>,
    /// Messages.
    pub count: u64,
    /// Messages that held the value.
    pub valid: u64,
    /// Messages with an exact zero where the value belongs.
    pub zero: u64,
    /// Messages without value because the field says "not available" or is empty.
    pub not_available: u64,
    /// Messages without value for any other reason.
    pub unusable: u64,
    last_valid: Option<Reading>,
    /// First message.
    pub first: Option<Time>,
    /// Last message.
    pub last: Option<Time>,
    /// Stretches between two values; of an engine's speed and oil pressure, between two at which it runs.
    pub value_gaps: Gaps,
    /// When the first and the last of these values came.
    pub values_from_to: Option<(Time, Time)>,
    /// Messages with and without value by the boat's speed, in classes of [`SPEED_CLASS_KN`].
    pub by_speed: Vec<(u32, u32)>,
    /// Depth: the offset that the messages carry, metres.
    pub offset_m: Option<f64>,
    /// Steps that no boat makes, and values of two sensors in turn.
    pub steps: Steps,
    /// Stretches in which the value stood still, or was absent.
    pub runs: Runs,
    /// The values, for the quantities that are compared.
    pub track: Track,
    /// The values over the whole recording, thinned for pictures: headings unwound, speeds, depths, voltages.
    pub trace: Trace,
    tracked: bool,
    drawn: Drawn,
}

/// What a source's trace is made of.
#[derive(Debug, Clone, Copy)]
enum Drawn {
    Nothing,
    /// The first number, an angle.
    Angle,
    /// The first number.
    First,
    /// The first number; an exact zero is none.
    Depth,
    /// The second number.
    Second,
}

impl Drawn {
    fn of(quantity: &str) -> Self {
        match quantity {
            "heading" => Self::Angle,
            "course-and-speed-over-ground" => Self::Second,
            "depth" => Self::Depth,
            "speed-through-water" | "voltage" => Self::First,
            _ => Self::Nothing,
        }
    }
}

/// Every source. At most [`MAX_SOURCES`], values of `MAX_TRACKS`.
#[derive(Debug, Default)]
pub struct Series {
    sources: Vec<Source>,
    index: FxHashMap<SourceKey, u32>,
    tracks: usize,
    /// Readings of sources that found no room.
    pub unbooked: u64,
    /// Sources whose values are not compared with others', for want of room.
    pub untracked: u64,
    speed: Option<(Time, f64)>,
}

impl Series {
    /// Books one thing that a message says. `found` is kept by the caller for this device, message and place in it.
    #[inline(always)]
    pub fn reading(
        &mut self,
        device: DeviceId,
        message: Message,
        time: Option<Time>,
        reading: &Reading,
        found: &mut Found,
    ) {
        // The boat's speed matters to few.
        let speed = match reading {
            Reading::Depth { .. } | Reading::Position { .. } | Reading::WaterSpeed { .. } => {
                self.speed_at(time)
            }
            _ => None,
        };
        if let (
            Reading::CourseSpeed { speed_kn: Ok(kn), .. } | Reading::WaterSpeed { kn: Ok(kn) },
            Some(time),
        ) = (reading, time)
            && (matches!(reading, Reading::CourseSpeed { .. }) || speed.is_none())
        {
            self.speed = Some((time, *kn));
        }
        if let Some(source) = self.source(device, message, reading, found.stream, &mut found.reading) {
            source.reading(time, reading, speed);
        }
        if let Reading::Position { satellites, hdop, at } = reading
            && (satellites.is_some() || hdop.is_some())
        {
            let fix = Reading::FixQuality {
                fix: Some(at.is_ok()),
                satellites: *satellites,
                hdop: hdop.ok_or(Absent::NotAvailable),
            };
            if let Some(source) = self.source(device, message, &fix, found.stream, &mut found.fix) {
                source.reading(time, &fix, None);
            }
        }
    }

    /// The boat's speed over ground (or through water when nothing else is there) at this moment, knots.
    fn speed_at(&self, time: Option<Time>) -> Option<f64> {
        let (at, kn) = self.speed?;
        (time?.since(at).abs() <= SPEED_HOLDS_S).then_some(kn)
    }

    /// The source of a reading; `row` is where that of the last alike was found.
    #[inline(always)]
    fn source(
        &mut self,
        device: DeviceId,
        message: Message,
        reading: &Reading,
        stream: Option<u32>,
        row: &mut u32,
    ) -> Option<&mut Source> {
        let at = *row as usize;
        let at = match self.sources.get(at) {
            Some(source) if source.is_of(reading) => at,
            _ => {
                *row = self.find(SourceKey::of(device, message, reading), reading.kind(), stream)?;
                *row as usize
            }
        };
        let source = self.sources.get_mut(at)?;
        debug_assert_eq!(source.key, SourceKey::of(device, message, reading), "found for another message");
        Some(source)
    }

    /// The row of a source, a new one when it is not known.
    #[inline(never)]
    fn find(&mut self, key: SourceKey, kind: u32, stream: Option<u32>) -> Option<u32> {
        let next = self.sources.len();
        if let Some(&index) = self.index.get(&key) {
            return Some(index);
        }
        if next >= MAX_SOURCES {
            self.unbooked += 1;
            return None;
        }
        let wanted = is_tracked(key.quantity);
        let tracked = wanted && self.tracks < MAX_TRACKS;
        self.untracked += u64::from(wanted && !tracked);
        self.tracks += usize::from(tracked);
        self.index.insert(key, next as u32);
        self.sources.push(Source { stream, ..Source::new(key, kind, tracked) });
        Some(next as u32)
    }

    /// Every source, in order of first appearance.
    pub fn iter(&self) -> impl Iterator<Item = &Source> {
        self.sources.iter()
    }

    /// The sources of one quantity.
    pub fn of<'a>(&'a self, quantity: &'a str) -> impl Iterator<Item = &'a Source> {
        self.sources.iter().filter(move |s| s.key.quantity == quantity)
    }
}

fn is_tracked(quantity: &str) -> bool {
    matches!(
        quantity,
        "heading"
            | "position"
            | "depth"
            | "course-and-speed-over-ground"
            | "speed-through-water"
            | "voltage"
            | "variation"
            | "rate-of-turn"
            | FIX_QUALITY
    )
}

impl Source {
    fn new(key: SourceKey, kind: u32, tracked: bool) -> Self {
        let by_speed = if key.quantity == "depth" { vec![(0, 0); SPEED_CLASSES] } else { Vec::new() };
        Self {
            key,
            kind,
            stream: None,
            count: 0,
            valid: 0,
            zero: 0,
            not_available: 0,
            unusable: 0,
            last_valid: None,
            first: None,
            last: None,
            value_gaps: Gaps::default(),
            values_from_to: None,
            by_speed,
            offset_m: None,
            steps: Steps::default(),
            runs: Runs::default(),
            track: Track::default(),
            trace: Trace::default(),
            tracked,
            drawn: Drawn::of(key.quantity),
        }
    }

    /// Whether it is the source of this reading, given that both are of one message of one device.
    #[inline(always)]
    fn is_of(&self, reading: &Reading) -> bool {
        // The kind does not tell the quantities that have no kind of their own.
        let is_named = |quantity| same_text(self.key.quantity, quantity);
        self.kind == reading.kind()
            && if let Reading::Other { quantity, .. } = reading { is_named(quantity) } else { true }
    }

    /// The last value.
    #[must_use]
    pub fn last_value(&self) -> LastValue {
        self.last_valid.as_ref().map_or(LastValue::None, last_value)
    }

    fn reading(&mut self, time: Option<Time>, reading: &Reading, speed_kn: Option<f64>) {
        self.count += 1;
        if let Reading::Depth { offset_m, .. } = reading {
            self.offset_m = offset_m.ok().or(self.offset_m);
        }
        let (valid, a, mut b) = numbers(reading);
        // A depth of exactly nothing is what some sounders send for "no bottom"; it is counted apart and judged later.
        let zero = matches!(reading, Reading::Depth { m: Ok(m), .. } if *m == 0.0);
        if valid {
            self.valid += 1;
            self.zero += u64::from(zero);
            self.last_valid = Some(*reading);
        } else if absence(reading) == Some(Absent::NotAvailable) {
            self.not_available += 1;
        } else {
            self.unusable += 1;
        }
        let Some(time) = time else { return };
        self.first.get_or_insert(time);
        self.last = Some(time);
        if valid && !zero && !stands(reading) {
            if let Some((_, last)) = self.values_from_to {
                self.value_gaps.interval(last, time);
            }
            self.values_from_to = Some((self.values_from_to.map_or(time, |(from, _)| from), time));
        }
        if let Some(class) =
            speed_kn.and_then(|kn| self.by_speed.get_mut((kn.abs() / SPEED_CLASS_KN) as usize))
        {
            let side = if valid && !zero { &mut class.0 } else { &mut class.1 };
            *side = side.saturating_add(1);
        }
        if !self.tracked && !matches!(reading, Reading::Heading { .. } | Reading::Position { .. }) {
            return;
        }
        match reading {
            Reading::Heading { .. } if valid => self.steps.heading(time, a),
            Reading::Position { .. } if valid => self.steps.position(time, a, b, speed_kn),
            Reading::Depth { .. } => {
                b = speed_kn.unwrap_or(f64::NAN);
                if valid && !zero {
                    self.steps.depth(time, a);
                }
            }
            _ => {}
        }
        if self.tracked {
            // The second number goes with the message (variation, offset), but a place is both.
            let second = if matches!(reading, Reading::Position { .. }) { b } else { 0.0 };
            self.runs.message(time, (valid && !zero).then_some((a, second)));
            self.track.push(Sample { time, a, b });
            match self.drawn {
                Drawn::Nothing => {}
                Drawn::Angle => self.trace.angle(time, a),
                Drawn::First => self.trace.push(time, a),
                Drawn::Depth => self.trace.push(time, if zero { f64::NAN } else { a }),
                Drawn::Second => self.trace.push(time, b),
            }
        }
    }
}

fn last_value(reading: &Reading) -> LastValue {
    let number = |v: &crate::messages::Value| v.map_or(LastValue::None, LastValue::Number);
    let fields = |list: &[(&'static str, f64)]| {
        LastValue::Fields(list.iter().copied().filter(|(_, v)| v.is_finite()).collect())
    };
    let or_nan = |v: &crate::messages::Value| v.unwrap_or(f64::NAN);
    match reading {
        Reading::Position { at: Ok(place), .. } => {
            fields(&[("lat_deg", place.lat_deg), ("lon_deg", place.lon_deg)])
        }
        Reading::CourseSpeed { course_deg, speed_kn, .. } => {
            fields(&[("course_deg", or_nan(course_deg)), ("speed_kn", or_nan(speed_kn))])
        }
        Reading::Wind { angle_deg, speed_kn, .. } => {
            fields(&[("angle_deg", or_nan(angle_deg)), ("speed_kn", or_nan(speed_kn))])
        }
        Reading::Attitude { yaw_deg, pitch_deg, roll_deg } => fields(&[
            ("yaw_deg", or_nan(yaw_deg)),
            ("pitch_deg", or_nan(pitch_deg)),
            ("roll_deg", or_nan(roll_deg)),
        ]),
        Reading::Clock { days, of_day_us } => {
            let seconds = of_day_us.map_or(f64::NAN, |us| us as f64 / 1e6);
            match days {
                Some(days) => fields(&[("unix_s", *days as f64 * 86_400.0 + seconds)]),
                None => fields(&[("of_day_s", seconds)]),
            }
        }
        Reading::Other { value: Ok(v), unit, .. } => LastValue::Measure(*v, unit),
        Reading::Heading { deg: v, .. }
        | Reading::Depth { m: v, .. }
        | Reading::WaterSpeed { kn: v }
        | Reading::RateOfTurn { deg_per_min: v }
        | Reading::Rudder { deg: v, .. }
        | Reading::WaterTemperature { celsius: v, .. }
        | Reading::Voltage { volts: v, .. }
        | Reading::Engine { rpm: v, .. }
        | Reading::Variation { deg: v }
        | Reading::FixQuality { hdop: v, .. } => number(v),
        Reading::Position { .. } | Reading::Other { .. } => LastValue::None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_booked_by_speed() {
        let mut series = Series::default();
        let depth = |m| Reading::Depth {
            m,
            below: crate::messages::DepthBelow::Transducer,
            offset_m: Err(Absent::NotAvailable),
        };
        let mut found = Found::default();
        for i in 0..40_i64 {
            let kn = i as f64;
            let speed = Reading::CourseSpeed { course_deg: Ok(0.0), north: None, speed_kn: Ok(kn) };
            let time = Some(Time(i * 1_000_000));
            series.reading(DeviceId(0), Message::Pgn(129_026), time, &speed, &mut Found::default());
            let m = if i < 20 { Ok(5.0) } else { Err(Absent::NotAvailable) };
            series.reading(DeviceId(1), Message::Pgn(128_267), time, &depth(m), &mut found);
        }
        let source = series.of("depth").next().unwrap();
        assert_eq!((source.count, source.valid, source.not_available), (40, 20, 20));
        assert_eq!(source.by_speed[38], (1, 0));
        assert_eq!(source.by_speed[40], (0, 1));
    }
}
