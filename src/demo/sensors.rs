//! What the boat's sensors read: the truth with their noise, their place aboard and, on demand, a fault.

use crate::demo::boat::{START, State, VARIATION_DEG, Voyage, place};
use crate::demo::rng::{Drift, Rng};
use crate::time::{DAY_US, Time};
use crate::units::{KNOTS_PER_M_S, Place};

/// A spell of an error: from, to (seconds from the start), degrees.
pub(super) type Spell = (f64, f64, f64);

/// A heading sensor and what is wrong with it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct CompassFault {
    /// How far it is mounted askew, degrees.
    pub(super) askew_deg: f64,
    /// How late its readings are, seconds.
    pub(super) late_s: f64,
    /// When something pulls at its needle.
    pub(super) pulled: &'static [Spell],
}

/// A heading sensor.
#[derive(Debug)]
pub(super) struct Compass {
    fault: CompassFault,
    drift: Drift,
    noise: Rng,
}

impl Compass {
    /// The compass called `name`.
    pub(super) fn new(seed: u64, name: &str, fault: CompassFault, seconds: f64) -> Self {
        let drift = Drift::new(Rng::stream(seed, &format!("{name} drift")), 0.25, 15.0, seconds);
        Self { fault, drift, noise: Rng::stream(seed, &format!("{name} noise")) }
    }

    /// Its magnetic heading.
    pub(super) fn magnetic_deg(&mut self, voyage: &Voyage, t: f64) -> f64 {
        let pull: f64 =
            self.fault.pulled.iter().filter(|(from, to, _)| (*from..*to).contains(&t)).map(|s| s.2).sum();
        voyage.at(t - self.fault.late_s).magnetic_deg()
            + self.fault.askew_deg
            + self.drift.at(t)
            + 0.12 * self.noise.normal()
            + pull
    }

    /// Its heading from true north, as a sensor gives it that knows where it is.
    pub(super) fn true_deg(&mut self, voyage: &Voyage, t: f64) -> f64 {
        self.magnetic_deg(voyage, t) + VARIATION_DEG
    }
}

/// A GNSS receiver: slow errors of place and speed, and an antenna some way aft of the boat's middle.
#[derive(Debug)]
pub(super) struct Receiver {
    aft_m: f64,
    drifts: [Drift; 4],
    hdop: Drift,
}

impl Receiver {
    /// The receiver called `name`.
    pub(super) fn new(seed: u64, name: &str, aft_m: f64, seconds: f64) -> Self {
        let drift = |part: &str, sigma: f64, memory_s: f64| {
            Drift::new(Rng::stream(seed, &format!("{name} {part}")), sigma, memory_s, seconds)
        };
        Self {
            aft_m,
            drifts: [
                drift("north", 0.4, 60.0),
                drift("east", 0.4, 60.0),
                drift("north speed", 0.03, 3.0),
                drift("east speed", 0.03, 3.0),
            ],
            hdop: drift("geometry", 0.04, 60.0),
        }
    }

    /// Where the antenna seems to be.
    pub(super) fn place(&self, state: &State, t: f64) -> Place {
        let (east, north) = state.heading_deg.to_radians().sin_cos();
        let [north_error, east_error, ..] = &self.drifts;
        place(
            state.north_m - self.aft_m * north + north_error.at(t),
            state.east_m - self.aft_m * east + east_error.at(t),
        )
    }

    /// Course over ground from true north in degrees and speed in knots; near standstill the course is noise.
    pub(super) fn course_speed(&self, state: &State, t: f64) -> (f64, f64) {
        let [_, _, north_error, east_error] = &self.drifts;
        let (north, east) = (state.north_m_s + north_error.at(t), state.east_m_s + east_error.at(t));
        (east.atan2(north).to_degrees(), north.hypot(east) * KNOTS_PER_M_S)
    }

    /// Horizontal dilution of precision.
    pub(super) fn hdop(&self, t: f64) -> f64 {
        0.9 + self.hdop.at(t)
    }
}

/// What is wrong with the sounder.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) enum SounderFault {
    /// Nothing.
    #[default]
    None,
    /// Its transducer is off from this second on: it speaks on and has nothing to say.
    Deaf {
        /// Seconds from the start.
        from_s: f64,
    },
    /// Air under the transducer above this speed.
    LosesBottom {
        /// Knots.
        above_kn: f64,
    },
}

/// Depth below the transducer in metres, with 2 cm of noise; `None` when the sounder finds no bottom.
pub(super) fn depth(state: &State, t: f64, fault: SounderFault, noise: &mut Rng) -> Option<f64> {
    let read = state.depth_m() + 0.02 * noise.normal();
    match fault {
        SounderFault::Deaf { from_s } if t >= from_s => None,
        SounderFault::LosesBottom { above_kn } if state.ground_kn() > above_kn => None,
        _ => Some(read),
    }
}

/// Water temperature in degrees Celsius: rises slowly as the boat leaves the shade.
pub(super) fn water_celsius(t: f64, noise: &mut Rng) -> f64 {
    17.4 + 0.002 * t + 0.02 * noise.normal()
}

/// The moment `t` seconds from the start.
pub(super) fn moment(t: f64) -> Time {
    START.plus(t)
}

/// Days since 1970 and seconds since midnight (to 1e-4) at a moment.
pub(super) fn date_and_time(time: Time) -> (u16, f64) {
    let of_day = time.0.rem_euclid(DAY_US) as f64 / 1e6;
    (time.0.div_euclid(DAY_US) as u16, of_day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::wrap_180;

    #[test]
    fn faults_do_what_they_say() {
        let voyage = Voyage::new(1);
        let mean = |fault| {
            let mut compass = Compass::new(1, "bow", fault, 300.0);
            let error = |t: f64, c: &mut Compass| c.magnetic_deg(&voyage, t) - voyage.at(t).magnetic_deg();
            (0..2000).map(|k| error(f64::from(k) * 0.1, &mut compass)).sum::<f64>() / 2000.0
        };
        assert!(mean(CompassFault::default()).abs() < 0.2);
        assert!((mean(CompassFault { askew_deg: -11.0, ..CompassFault::default() }) + 11.0).abs() < 0.2);

        let mut noise = Rng::new(1);
        assert_eq!(depth(&voyage.at(9.0), 9.0, SounderFault::Deaf { from_s: 9.0 }, &mut noise), None);
        let fault = SounderFault::LosesBottom { above_kn: 21.0 };
        assert!(depth(&voyage.at(100.0), 100.0, fault, &mut noise).is_some());
        assert_eq!(depth(&voyage.at(245.0), 245.0, fault, &mut noise), None);
    }

    #[test]
    fn an_antenna_aft_lies_behind() {
        let voyage = Voyage::new(1);
        let (fore, aft) = (Receiver::new(1, "a", 0.0, 300.0), Receiver::new(1, "a", 5.0, 300.0));
        let state = voyage.at(105.0);
        let (metres, azimuth) = aft.place(&state, 105.0).to(fore.place(&state, 105.0));
        assert!((metres - 5.0).abs() < 0.01);
        assert!(wrap_180(azimuth - state.heading_deg).abs() < 0.1);
    }

    #[test]
    fn splits_a_moment_into_date_and_time() {
        assert_eq!(date_and_time(moment(1.5)), (20_582, 23_401.5));
    }
}
