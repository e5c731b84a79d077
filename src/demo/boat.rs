//! The invented boat and its invented lake: what she really does, before any sensor sees it.

use crate::demo::rng::{Drift, Rng};
use crate::time::Time;
use crate::units::{KNOTS_PER_M_S, Place, wrap_180};
use geographiclib_rs::{DirectGeodesic, Geodesic};
use std::sync::LazyLock;

/// When every demo recording begins: 2026-05-09T06:30:00Z.
pub(super) const START: Time = Time(1_778_308_200_000_000);

/// The lake's middle. There is no lake and no land for a thousand kilometres: open ocean.
pub(super) const HOME: Place = Place { lat_deg: -30.4, lon_deg: -24.6 };

/// Magnetic variation there, degrees, east positive: what the World Magnetic Model 2025 says, rounded.
pub(super) const VARIATION_DEG: f64 = -24.3;

/// Time between two states, seconds.
const STEP_S: f64 = 0.05;

/// Drift of the lake's water towards north and east, m/s.
const CURRENT_M_S: (f64, f64) = (-0.03, 0.07);

/// Limits of the boat: degrees a second, degrees a second squared, knots a second.
const MAX_TURN: f64 = 8.0;
const MAX_TURN_CHANGE: f64 = 6.0;
const MAX_ACCELERATION: f64 = 1.6;

/// What the helm does for a while.
#[derive(Debug, Clone, Copy)]
enum Helm {
    /// Steers a true course.
    Course(f64),
    /// Turns at a steady rate, degrees a second, to starboard.
    Turn(f64),
}

/// The voyage of every recording: for how many seconds, at how many knots, steering how. 300 seconds in all:
/// idle, a slow full circle, four courses each with its reverse, a fast run out and back, slow again.
const LEGS: [(f64, f64, Helm); 9] = [
    (20.0, 0.4, Helm::Course(40.0)),
    (60.0, 5.0, Helm::Turn(6.4)),
    (32.0, 8.0, Helm::Course(45.0)),
    (32.0, 8.0, Helm::Course(135.0)),
    (32.0, 8.0, Helm::Course(225.0)),
    (32.0, 8.0, Helm::Course(315.0)),
    (44.0, 27.0, Helm::Course(60.0)),
    (34.0, 27.0, Helm::Course(240.0)),
    (14.0, 3.0, Helm::Course(240.0)),
];

/// What is true at one moment.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct State {
    /// Where the bow points, degrees from true north, counted on past 360.
    pub(super) heading_deg: f64,
    /// Degrees a second, to starboard.
    pub(super) turn_deg_s: f64,
    /// Speed through the water, knots.
    pub(super) water_kn: f64,
    /// Metres north of [`HOME`].
    pub(super) north_m: f64,
    /// Metres east of [`HOME`].
    pub(super) east_m: f64,
    /// Speed over ground to the north, m/s.
    pub(super) north_m_s: f64,
    /// Speed over ground to the east, m/s.
    pub(super) east_m_s: f64,
}

impl State {
    /// Speed over ground, knots.
    pub(super) fn ground_kn(&self) -> f64 {
        self.north_m_s.hypot(self.east_m_s) * KNOTS_PER_M_S
    }

    /// The heading that a faultless magnetic compass shows.
    pub(super) fn magnetic_deg(&self) -> f64 {
        self.heading_deg - VARIATION_DEG
    }

    /// Water under the transducer in metres: a smooth bottom of two long swells, 4 to 14 m.
    pub(super) fn depth_m(&self) -> f64 {
        9.0 + 3.2 * (self.north_m / 97.0 + 0.4).sin()
            + 1.8 * (self.east_m / 61.0 - self.north_m / 140.0).sin()
    }

    /// Engine speed, revolutions a minute.
    pub(super) fn rpm(&self) -> f64 {
        700.0 + 165.0 * self.water_kn
    }
}

/// A place by its metres north and east of [`HOME`], along the geodesic on WGS-84.
pub(super) fn place(north_m: f64, east_m: f64) -> Place {
    static WGS84: LazyLock<Geodesic> = LazyLock::new(Geodesic::wgs84);
    let azimuth = east_m.atan2(north_m).to_degrees();
    let (lat_deg, lon_deg): (f64, f64) =
        WGS84.direct(HOME.lat_deg, HOME.lon_deg, azimuth, north_m.hypot(east_m));
    Place { lat_deg, lon_deg }
}

/// What the boat does from the beginning of a recording to its end.
#[derive(Debug)]
pub(super) struct Voyage {
    states: Vec<State>,
}

impl Voyage {
    /// Sails the legs.
    pub(super) fn new(seed: u64) -> Self {
        let seconds = LEGS.iter().map(|leg| leg.0).sum::<f64>();
        // Waves push the bow about, and the wind her sideways; both fade as she runs faster.
        let waves = Drift::new(Rng::stream(seed, "waves"), 1.0, 3.0, seconds);
        let leeway = Drift::new(Rng::stream(seed, "leeway"), 0.3, 30.0, seconds);
        let mut now = State { heading_deg: 40.0, ..State::default() };
        let mut states = Vec::with_capacity((seconds / STEP_S) as usize);
        let mut t = 0.0;
        for (length_s, target_kn, helm) in LEGS {
            for _ in 0..(length_s / STEP_S).round() as usize {
                let wanted = match helm {
                    Helm::Turn(rate) => rate,
                    Helm::Course(course) => {
                        0.6 * (wrap_180(course - now.heading_deg) + 2.0 * waves.at(t)).clamp(-40.0, 40.0)
                    }
                };
                let change = wanted.clamp(-MAX_TURN, MAX_TURN) - now.turn_deg_s;
                now.turn_deg_s += change.clamp(-MAX_TURN_CHANGE * STEP_S, MAX_TURN_CHANGE * STEP_S);
                now.heading_deg += now.turn_deg_s * STEP_S;
                let faster = (target_kn - now.water_kn) * 0.5;
                now.water_kn += faster.clamp(-MAX_ACCELERATION, MAX_ACCELERATION) * STEP_S;
                let course = now.heading_deg + leeway.at(t) * 6.0 / (3.0 + now.water_kn);
                let (east, north) = course.to_radians().sin_cos();
                now.north_m_s = now.water_kn / KNOTS_PER_M_S * north + CURRENT_M_S.0;
                now.east_m_s = now.water_kn / KNOTS_PER_M_S * east + CURRENT_M_S.1;
                now.north_m += now.north_m_s * STEP_S;
                now.east_m += now.east_m_s * STEP_S;
                states.push(now);
                t += STEP_S;
            }
        }
        Self { states }
    }

    /// The state at `t` seconds from the start, held at the ends.
    pub(super) fn at(&self, t: f64) -> State {
        let step = (t / STEP_S).max(0.0);
        let index = (step as usize).min(self.states.len().saturating_sub(2));
        let share = (step - index as f64).min(1.0);
        let a = self.states.get(index).copied().unwrap_or_default();
        let b = self.states.get(index + 1).copied().unwrap_or(a);
        let mix = |a: f64, b: f64| a + (b - a) * share;
        State {
            heading_deg: mix(a.heading_deg, b.heading_deg),
            turn_deg_s: mix(a.turn_deg_s, b.turn_deg_s),
            water_kn: mix(a.water_kn, b.water_kn),
            north_m: mix(a.north_m, b.north_m),
            east_m: mix(a.east_m, b.east_m),
            north_m_s: mix(a.north_m_s, b.north_m_s),
            east_m_s: mix(a.east_m_s, b.east_m_s),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use world_magnetic_model::uom::si::{angle::degree, f32::Angle, f32::Length, length::meter};
    use world_magnetic_model::{GeomagneticField, time::Date};

    #[test]
    fn starts_at_the_stated_moment() {
        assert_eq!(START.to_string(), "2026-05-09T06:30:00.000000Z");
    }

    /// A reader that knows the World Magnetic Model must find the boat's variation right.
    #[test]
    fn the_variation_is_that_of_the_place() {
        let date = Date::from_ordinal_date(2026, 129).unwrap();
        let field = GeomagneticField::new(
            Length::new::<meter>(0.0),
            Angle::new::<degree>(HOME.lat_deg as f32),
            Angle::new::<degree>(HOME.lon_deg as f32),
            date,
        );
        let model = field.unwrap().declination().get::<degree>();
        assert!((f64::from(model) - VARIATION_DEG).abs() < 0.3, "{model}");
    }

    #[test]
    fn moves_as_a_boat_can() {
        let voyage = Voyage::new(1);
        assert_eq!(voyage.states.len() as f64 * STEP_S, 300.0);
        let (mut fastest, mut depths) = (0.0_f64, (f64::MAX, f64::MIN));
        for (a, b) in voyage.states.iter().zip(voyage.states.iter().skip(1)) {
            assert!((b.heading_deg - a.heading_deg).abs() <= MAX_TURN * STEP_S + 1e-9);
            assert!((b.water_kn - a.water_kn).abs() <= MAX_ACCELERATION * STEP_S + 1e-9);
            fastest = fastest.max(b.ground_kn());
            depths = (depths.0.min(b.depth_m()), depths.1.max(b.depth_m()));
        }
        assert!((25.0..29.0).contains(&fastest), "{fastest}");
        assert!(depths.0 > 3.5 && depths.1 < 14.5, "{depths:?}");
        assert!((360.0..420.0).contains(&(voyage.at(80.0).heading_deg - voyage.at(20.0).heading_deg)));
    }

    #[test]
    fn places_lie_where_their_metres_say() {
        let (north, east) = HOME.offset_to(place(300.0, -400.0));
        assert!((north - 300.0).abs() < 0.1 && (east + 400.0).abs() < 0.1, "{north} {east}");
    }
}
