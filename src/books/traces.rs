//! Traces: a value over the whole recording for pictures, thinned while it streams so that no spike is lost.

use crate::time::Time;
use crate::units::wrap_180;

/// Most buckets of one trace: a picture has about as many columns.
pub const MAX_BUCKETS: usize = 512;

/// The first buckets are 2^16 microseconds (66 ms) wide: every sample of a message sent ten times a second has its own.
const FIRST_SHIFT: u32 = 16;

/// The widest that buckets become, as a power of two of microseconds: all of time in four.
const LAST_SHIFT: u32 = 62;

/// What came within one bucket of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bucket {
    number: i64,
    /// Its first message.
    pub from: Time,
    /// Its last message.
    pub to: Time,
    /// The smallest value; NaN without values.
    pub low: f64,
    /// The largest value; NaN without values.
    pub high: f64,
    /// The sum of the values.
    pub sum: f64,
    /// Messages with a value.
    pub values: u32,
}

impl Bucket {
    /// Takes in a later bucket; of two without values the ends of time alone count.
    fn join(&mut self, later: &Self) {
        self.to = later.to;
        // `min` and `max` pass over NaN.
        self.low = self.low.min(later.low);
        self.high = self.high.max(later.high);
        self.sum += later.sum;
        self.values = self.values.saturating_add(later.values);
    }
}

/// A value over time in at most [`MAX_BUCKETS`] buckets; when they are full, each two neighbours become one.
///
/// Messages that are stamped before the running bucket (a clock that stepped back) are left out.
#[derive(Debug, Clone)]
pub struct Trace {
    buckets: Vec<Bucket>,
    shift: u32,
    /// The last angle, and the turns that lie behind it, degrees.
    angle: Option<f64>,
    turned: f64,
}

impl Default for Trace {
    fn default() -> Self {
        Self { buckets: Vec::new(), shift: FIRST_SHIFT, angle: None, turned: 0.0 }
    }
}

impl Trace {
    /// Books a value; what is no number is a message without value.
    pub fn push(&mut self, time: Time, value: f64) {
        let holds = value.is_finite();
        let number = time.0 >> self.shift;
        if let Some(last) = self.buckets.last_mut()
            && last.number >= number
        {
            if last.number == number && last.to <= time {
                last.to = time;
                if holds {
                    last.low = last.low.min(value);
                    last.high = last.high.max(value);
                    last.sum += value;
                    last.values = last.values.saturating_add(1);
                }
            }
            return;
        }
        let (limit, sum) = if holds { (value, value) } else { (f64::NAN, 0.0) };
        let (low, high, values) = (limit, limit, u32::from(holds));
        self.buckets.push(Bucket { number, from: time, to: time, low, high, sum, values });
        while self.buckets.len() > MAX_BUCKETS && self.shift < LAST_SHIFT {
            self.halve();
        }
    }

    /// Books an angle in degrees, unwound: a turn through north goes on past 360.
    pub fn angle(&mut self, time: Time, deg: f64) {
        if deg.is_finite() {
            let step = self.angle.replace(deg).map_or(0.0, |last| deg - last);
            let back = wrap_180(step) - step;
            // Whole turns, so that nothing adds up.
            if back.abs() > 180.0 {
                self.turned += back.round();
            }
        }
        self.push(time, self.turned + deg);
    }

    fn halve(&mut self) {
        self.shift += 1;
        self.buckets.iter_mut().for_each(|bucket| bucket.number >>= 1);
        self.buckets.dedup_by(|later, earlier| {
            let one = later.number == earlier.number;
            if one {
                earlier.join(later);
            }
            one
        });
    }

    /// The buckets in the order of time; where nothing came there is none.
    #[must_use]
    pub fn buckets(&self) -> &[Bucket] {
        &self.buckets
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trace(seconds: i64, value: impl Fn(i64) -> f64) -> Trace {
        let mut trace = Trace::default();
        for i in 0..seconds * 10 {
            trace.push(Time(i * 100_000), value(i));
        }
        trace
    }

    #[test]
    fn a_spike_of_one_sample_survives_in_a_bounded_trace() {
        for seconds in [60, 600, 6000] {
            let spike = |i| if i == seconds * 3 { 99.0 } else { 1.0 };
            let trace = trace(seconds, spike);
            let buckets = trace.buckets();
            assert!((MAX_BUCKETS / 2..=MAX_BUCKETS).contains(&buckets.len()), "{}", buckets.len());
            assert!(trace.buckets.capacity() <= 2 * MAX_BUCKETS);
            let spiked: Vec<&Bucket> = buckets.iter().filter(|b| b.high == 99.0).collect();
            let [spiked] = spiked[..] else { panic!("one bucket has it") };
            let at = Time(seconds * 300_000);
            assert!(spiked.from <= at && at <= spiked.to);
            let values: u32 = buckets.iter().map(|b| b.values).sum();
            assert_eq!(i64::from(values), seconds * 10, "nothing is lost");
        }
    }

    #[test]
    fn pauses_and_messages_without_value_stay() {
        let mut trace = trace(600, |i| if (1000..2000).contains(&i) { f64::NAN } else { 1.0 });
        for i in 0..6000 {
            trace.push(Time(1_000_000_000 + i * 100_000), 1.0);
        }
        let longest = trace.buckets().windows(2).map(|w| w[1].from.since(w[0].to)).fold(0.0, f64::max);
        assert!((399.0..=401.0).contains(&longest), "{longest}");
        let empty = trace.buckets().iter().filter(|b| b.values == 0).count();
        assert!(empty > 20 && trace.buckets().iter().all(|b| (b.values == 0) == b.low.is_nan()));
    }

    #[test]
    fn a_turn_through_north_is_no_step() {
        let mut trace = Trace::default();
        for (i, deg) in [350.0, 359.0, 8.0, f64::NAN, 17.0, 359.0].into_iter().enumerate() {
            trace.angle(Time(i as i64 * 1_000_000), deg);
        }
        let values: Vec<f64> = trace.buckets().iter().filter(|b| b.values > 0).map(|b| b.low).collect();
        assert_eq!(values, [350.0, 359.0, 368.0, 377.0, 359.0]);
    }

    #[test]
    fn any_times_end_within_the_bound() {
        let mut trace = Trace::default();
        for i in 0..5000_i64 {
            trace.push(Time((i - 2500) * (i64::MAX / 2600)), i as f64);
        }
        trace.push(Time(i64::MAX), 1.0);
        trace.push(Time(i64::MIN), 1.0);
        assert!(trace.buckets().len() <= MAX_BUCKETS);
    }
}
