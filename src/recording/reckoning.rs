//! How one recorder's clock stands to another's.

use crate::time::Time;

/// What is added to the stamps of one recording so that they can stand beside another's.
#[derive(Debug, Clone, PartialEq)]
pub struct Reckoning {
    /// Seconds added to its stamps at the moment `about`; 0 when nothing is added.
    pub offset_s: f64,
    /// How far the offset may be wrong, seconds; `None` when it could not be told.
    pub uncertainty_s: Option<f64>,
    /// By how much its clock runs slow, millionths: the offset grows by this many microseconds a second. `None` when it
    /// could not be told.
    pub drift_ppm: Option<f64>,
    /// The moment, by its own clock, at which the offset holds.
    pub about: Time,
    /// From what it was told, or why it was not; a few words.
    pub from: String,
}

impl Reckoning {
    /// A clock that is left as it is.
    #[must_use]
    pub fn untouched(from: impl Into<String>, uncertainty_s: Option<f64>) -> Self {
        Self { offset_s: 0.0, uncertainty_s, drift_ppm: None, about: Time(0), from: from.into() }
    }

    /// The moment by the other clock.
    #[must_use]
    pub fn correct(&self, time: Time) -> Time {
        let drift_us = self.drift_ppm.map_or(0.0, |ppm| ppm * time.since(self.about));
        // A float that is too large becomes the nearest whole number: times stay times.
        time.moved((self.offset_s * 1e6 + drift_us).round() as i64)
    }

    /// Whether it changes anything.
    #[must_use]
    pub fn moves(&self) -> bool {
        self.offset_s != 0.0 || self.drift_ppm.is_some_and(|ppm| ppm != 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn offset_and_drift_are_added() {
        let about = Time::from_parts(1000, 0);
        let slow = Reckoning {
            offset_s: 2.5,
            uncertainty_s: Some(0.1),
            drift_ppm: Some(100.0),
            about,
            from: String::new(),
        };
        assert_eq!(slow.correct(about), about.plus(2.5));
        assert_eq!(slow.correct(about.plus(1000.0)), about.plus(1002.6));
        assert!(slow.moves() && !Reckoning::untouched("", None).moves());
        assert_eq!(Reckoning { offset_s: f64::INFINITY, ..slow }.correct(about).0, i64::MAX);
    }
}
