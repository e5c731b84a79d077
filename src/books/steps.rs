//! Steps: where a heading or a position moves faster than a boat can, noted as it passes.

use super::lanes::Lanes;
use crate::time::Time;
use crate::units::{KNOTS_PER_M_S, Place, length, wrap_180};

/// Most steps that are remembered, the first ones; all are counted.
const MAX_STEPS: usize = 256;

/// Steps before the one in question that it is compared with; an even number, in which a value that leaps to and fro ends
/// where it began.
const BEFORE: usize = 6;

/// No boat of this size turns faster than this for a moment, degrees a second (a bow motor pivots a light boat at
/// about 60; common practice, no source).
const TURN_LIMIT_DEG_S: f64 = 90.0;

/// Sensor noise and rounding that a heading step may have on top, degrees.
const HEADING_SLACK_DEG: f64 = 5.0;

/// Longest time over which a step is judged, seconds; after a longer pause everything may have moved.
const LONGEST_S: f64 = 2.5;

/// Stamps closer than this are a batch's or a coarse clock's; the fastest headings and positions come ten times a
/// second, seconds. Where the source is slower, its own mean interval counts.
const SHORTEST_S: f64 = 0.1;

/// A step that stands alone (the boat hardly turns before it and hardly after it, or turns right back) needs less to be
/// none of the boat's: a boat has inertia, and a turn builds up over several values. Degrees, and degrees a second.
const ALONE_SLACK_DEG: f64 = 10.0;
const ALONE_DEG_S: f64 = 25.0;

/// No boat of this kind goes faster than this, knots (common practice, no source).
const SPEED_LIMIT_KN: f64 = 90.0;

/// What a position may wander between two fixes without the boat moving, metres (GNSS noise, common practice).
const POSITION_SLACK_M: f64 = 25.0;

/// What a position steps beyond the boat's way from here may be the receiver's noise or a jump, metres.
const DOUBTFUL_M: f64 = 10.0;

/// A heading that steps by so much more than before may have jumped or turned fast, degrees a second.
const DOUBTFUL_DEG_S: f64 = 10.0;

/// Distances up to which two lanes of values are none: sensors' noise, degrees and metres.
const LANES_DEG: f64 = 3.0;
const LANES_PLACE_M: f64 = 5.0;
const LANES_DEPTH_M: f64 = 0.5;

/// One step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The last value before it.
    pub from: Time,
    /// The first value after it.
    pub to: Time,
    /// Its size: degrees (signed) or metres.
    pub size: f64,
}

/// The steps of one source.
#[derive(Debug, Clone, Default)]
pub struct Steps {
    /// The first ones, at most `MAX_STEPS`.
    pub list: Vec<Step>,
    /// How many there were.
    pub count: u64,
    /// The largest, degrees or metres, without sign.
    pub largest: f64,
    /// Whether there was one that a boat makes only by chance, too small to be counted.
    pub doubtful: bool,
    /// The largest change of a heading over a pause too long to judge it.
    pub across: Option<Step>,
    /// Whether the values are those of two sensors in turn.
    pub lanes: Lanes,
    first: Option<Time>,
    values: u64,
    last: Option<(Time, f64, f64)>,
    /// A step that stands alone so far: what comes next tells.
    pending: Option<Step>,
    /// The last steps as rates, degrees or metres a second.
    rates: [[f64; 2]; BEFORE],
    seen: usize,
}

impl Steps {
    /// Books a heading in degrees.
    pub(super) fn heading(&mut self, time: Time, deg: f64) {
        let last = self.last.replace((time, deg, 0.0));
        let mean = self.mean_s(time);
        let Some((from, before, _)) = last else { return };
        let dt = time.since(from);
        let size = wrap_180(deg - before);
        self.lanes.step(from, time, [size, 0.0], LANES_DEG);
        if !(0.0..=LONGEST_S).contains(&dt) {
            self.seen = 0;
            self.pending = None;
            if size.abs() > ALONE_SLACK_DEG && self.across.is_none_or(|most| most.size.abs() < size.abs()) {
                self.across = Some(Step { from, to: time, size });
            }
            return;
        }
        let dt = dt.max(mean);
        if let Some(alone) = self.pending.take()
            && (size.abs() < alone.size.abs() / 3.0 || (size + alone.size).abs() < alone.size.abs() / 3.0)
        {
            self.note(alone);
        }
        // What nearly always holds is looked at first: no rate of before makes a step of this.
        if size.abs() <= ALONE_SLACK_DEG.min(HEADING_SLACK_DEG + TURN_LIMIT_DEG_S * dt) {
            self.rate([size / dt, 0.0]);
            return;
        }
        let usual = self.usual_rate();
        let step = Step { from, to: time, size };
        self.doubtful |= self.seen >= BEFORE
            && size.abs() > ALONE_SLACK_DEG + DOUBTFUL_DEG_S * dt
            && size.abs() > 4.0 * usual * dt;
        if size.abs() > HEADING_SLACK_DEG + (TURN_LIMIT_DEG_S * dt).max(3.0 * usual * dt) && self.seen > 0 {
            self.note(step);
        } else if size.abs() > ALONE_SLACK_DEG + ALONE_DEG_S * dt
            && size.abs() > 4.0 * usual * dt
            && self.seen >= BEFORE
        {
            self.pending = Some(step);
        }
        self.rate([size / dt, 0.0]);
    }

    /// Books a position; `speed_kn` is the boat's speed when another message tells it.
    pub(super) fn position(&mut self, time: Time, lat_deg: f64, lon_deg: f64, speed_kn: Option<f64>) {
        let last = self.last.replace((time, lat_deg, lon_deg));
        let mean = self.mean_s(time);
        let Some((from, lat, lon)) = last else { return };
        let dt = time.since(from);
        let (north, east) = Place { lat_deg: lat, lon_deg: lon }.offset_to(Place { lat_deg, lon_deg });
        let size = length([north, east]);
        self.lanes.step(from, time, [north, east], LANES_PLACE_M);
        if !(0.0..=LONGEST_S * 2.0).contains(&dt) {
            self.seen = 0;
            return;
        }
        let dt = dt.max(mean);
        let speed = speed_kn.map(|kn| kn / KNOTS_PER_M_S);
        if size > DOUBTFUL_M && self.seen >= BEFORE {
            let way = speed.unwrap_or(0.0).max(self.usual_rate()) * dt;
            self.doubtful |= size - way > DOUBTFUL_M;
        }
        let known = speed.map_or(SPEED_LIMIT_KN / KNOTS_PER_M_S, |speed| 2.0 * speed);
        if size <= POSITION_SLACK_M + known * dt {
            self.rate([north / dt, east / dt]);
            return;
        }
        let usual = self.usual_rate();
        let limit = POSITION_SLACK_M + (known * dt).max(3.0 * usual * dt);
        if size > limit && self.seen > 0 {
            self.note(Step { from, to: time, size });
        }
        self.rate([north / dt, east / dt]);
    }

    /// Books a depth: its steps are the bottom's, but two sounders' depths in turn show.
    pub(super) fn depth(&mut self, time: Time, m: f64) {
        if let Some((from, before, _)) = self.last.replace((time, m, 0.0)) {
            self.lanes.step(from, time, [m - before, 0.0], LANES_DEPTH_M);
        }
    }

    /// How many values were judged: those that came with a time.
    #[must_use]
    pub fn judged(&self) -> u64 {
        self.values
    }

    /// The mean interval so far, seconds.
    fn mean_s(&mut self, time: Time) -> f64 {
        let first = *self.first.get_or_insert(time);
        self.values += 1;
        let mean = time.since(first) / (self.values - 1).max(1) as f64;
        mean.clamp(SHORTEST_S, LONGEST_S)
    }

    fn note(&mut self, step: Step) {
        self.count += 1;
        self.largest = self.largest.max(step.size.abs());
        if self.list.len() < MAX_STEPS {
            self.list.push(step);
        }
    }

    fn rate(&mut self, rate: [f64; 2]) {
        if let Some(slot) = self.rates.get_mut(self.seen % BEFORE) {
            *slot = rate;
        }
        self.seen += 1;
        if self.seen >= 2 * BEFORE {
            self.seen -= BEFORE;
        }
    }

    /// How fast it went over the last few steps: their median, so that a jump and its return do not hide each other, and
    /// no more than all of them together led away, so that a value that leaps to and fro hides nothing.
    fn usual_rate(&self) -> f64 {
        let known = self.seen.min(BEFORE);
        let mut sizes = self.rates.map(length);
        let (Some(rates), Some(sizes)) = (self.rates.get(..known), sizes.get_mut(..known)) else {
            return 0.0;
        };
        sizes.sort_unstable_by(f64::total_cmp);
        let median = sizes.get(known / 2).copied().unwrap_or(0.0);
        let sum = rates.iter().fold([0.0, 0.0], |[x, y], [dx, dy]| [x + dx, y + dy]);
        median.min(length(sum) / known.max(1) as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headings(list: impl Iterator<Item = f64>) -> Steps {
        let mut steps = Steps::default();
        for (i, deg) in list.enumerate() {
            steps.heading(Time(i as i64 * 100_000), deg);
        }
        steps
    }

    #[test]
    fn a_jump_and_its_return_are_two_steps_across_north() {
        let steps = headings((0..60).map(|i| if (30..36).contains(&i) { 40.0 } else { 355.0 }));
        assert_eq!(steps.count, 2);
        assert_eq!(steps.list[0].size, 45.0);
        assert_eq!(steps.list[1].size, -45.0);
    }

    #[test]
    fn a_heading_that_leaps_to_and_fro_steps_each_time() {
        let steps = headings((0..60).map(|i| if i >= 30 && i % 2 == 0 { 40.0 } else { 15.0 }));
        assert_eq!(steps.count, 30);
    }

    #[test]
    fn stamps_of_a_second_hide_no_jump_and_make_none() {
        let mut steps = Steps::default();
        for i in 0..200_i64 {
            let deg = if (93..97).contains(&i) { 100.0 } else { 20.0 + 0.3 * i as f64 };
            steps.heading(Time(i / 10 * 1_000_000), deg);
        }
        assert_eq!(steps.count, 2);
    }

    #[test]
    fn a_slow_compass_jumps_too_and_its_turns_do_not() {
        let at_1_hz = |list: &[f64]| {
            let mut steps = Steps::default();
            for (i, deg) in list.iter().enumerate() {
                steps.heading(Time(i as i64 * 1_000_000), *deg);
            }
            steps.count
        };
        let still = [10.0; 12];
        let jump = [&still[..], &[60.0; 4], &still].concat();
        assert_eq!(at_1_hz(&jump), 2, "there and back");
        let spike = [&still[..], &[60.0], &still].concat();
        assert_eq!(at_1_hz(&spike), 2);
        let pivot = [&still[..], &[25.0, 65.0, 110.0, 155.0, 190.0, 200.0], &[202.0; 9]].concat();
        assert_eq!(at_1_hz(&pivot), 0);
    }

    #[test]
    fn what_happened_over_a_pause_is_kept_and_no_step() {
        let mut steps = Steps::default();
        for (at, deg) in [(0, 10.0), (1, 11.0), (9, 82.0), (10, 83.0), (20, 60.0), (21, 61.0), (30, 64.0)] {
            steps.heading(Time(at * 1_000_000), deg);
        }
        let across = steps.across.unwrap();
        assert_eq!((steps.count, across.from, across.size), (0, Time(1_000_000), 71.0));
    }

    #[test]
    fn a_fast_turn_is_no_jump() {
        let turning = headings((0..80).map(|i| crate::units::wrap_360(6.0 * f64::from(i))));
        assert_eq!(turning.count, 0, "60 degrees a second, through north");
    }

    #[test]
    fn a_step_within_a_receivers_noise_is_doubtful() {
        let at_20_kn = |away_m: f64| {
            let mut steps = Steps::default();
            for i in 0..60_i64 {
                let north_m = 10.3 * i as f64 + if (30..40).contains(&i) { away_m } else { 0.0 };
                steps.position(Time(i * 1_000_000), 54.0 + north_m / 111_200.0, 10.0, Some(20.0));
            }
            (steps.count, steps.doubtful)
        };
        assert_eq!(at_20_kn(3.0), (0, false));
        assert_eq!(at_20_kn(20.0), (0, true));
    }

    #[test]
    fn a_position_that_leaves_the_boat_is_a_step() {
        let mut steps = Steps::default();
        for i in 0..30_i64 {
            let away = if i == 20 { 0.003 } else { 0.0 };
            steps.position(Time(i * 1_000_000), 54.0 + away + 1e-4 * i as f64, 179.9999, Some(22.0));
        }
        assert_eq!(steps.count, 2);
        assert!((steps.largest - 345.0).abs() < 5.0, "{}", steps.largest);
    }
}
