//! The boat's NMEA 0183 line: a multiplexer that gathers the talkers onto one wire at 38400 baud.

use crate::demo::boat::{VARIATION_DEG, Voyage};
use crate::demo::nmea0183_encode as encode;
use crate::demo::rng::Rng;
use crate::demo::sensors::{Compass, CompassFault, Receiver, SounderFault, depth, moment, water_celsius};
use crate::demo::text_write::Heard;

/// Time that one character takes at 38400 baud with start and stop bit (IEC 61162-2), seconds.
const CHARACTER_S: f64 = 10.0 / 38_400.0;

/// What a line recording is to show; by default a healthy boat.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct LinePlan {
    /// Seconds of recording.
    pub(super) seconds: f64,
    /// The puck sends its heading too, from true north.
    pub(super) true_heading: bool,
    /// A second sounder is on the line; it reads so many metres more.
    pub(super) second_sounder_m: Option<f64>,
}

/// What is sent again and again.
#[derive(Debug, Clone, Copy)]
enum Kind {
    Fix,
    Quality,
    Magnetic,
    True,
    Depth,
    SecondDepth,
    WaterTemperature,
}

/// The recording's lines.
pub(super) fn lines(plan: &LinePlan, voyage: &Voyage, seed: u64) -> Vec<Heard> {
    let mut kinds = vec![
        (Kind::Fix, 1.0, 0.12),
        (Kind::Quality, 1.0, 0.15),
        (Kind::Magnetic, 0.2, 0.03),
        (Kind::Depth, 1.0, 0.55),
        (Kind::WaterTemperature, 2.0, 0.75),
    ];
    if plan.true_heading {
        kinds.push((Kind::True, 0.2, 0.11));
    }
    if plan.second_sounder_m.is_some() {
        kinds.push((Kind::SecondDepth, 1.0, 0.83));
    }
    let mut said = Vec::new();
    for (kind, period_s, first_s) in kinds {
        stream(&mut said, plan, voyage, seed, (kind, period_s, first_s));
    }
    said.sort_by(|a, b| a.0.total_cmp(&b.0));
    // One sentence at a time; a recorder knows the time of a line when its end is there.
    let mut free_s = 0.0_f64;
    said.into_iter()
        .map(|(ready_s, source, sentence)| {
            free_s = free_s.max(ready_s) + (sentence.len() + 2) as f64 * CHARACTER_S;
            (moment(free_s), source, sentence)
        })
        .collect()
}

fn stream(
    said: &mut Vec<(f64, &'static str, String)>,
    plan: &LinePlan,
    voyage: &Voyage,
    seed: u64,
    (kind, period_s, first_s): (Kind, f64, f64),
) {
    let mut rng = Rng::stream(seed, &format!("line {kind:?}"));
    let name = format!("line compass {kind:?}");
    let mut compass = Compass::new(seed, &name, CompassFault::default(), plan.seconds);
    let receiver = Receiver::new(seed, "line receiver", 0.0, plan.seconds);
    let mut count = 0_u32;
    loop {
        let measured_s = f64::from(count) * period_s;
        let t = measured_s + first_s + rng.between(0.0, 0.006);
        if t > plan.seconds {
            return;
        }
        let state = voyage.at(measured_s);
        let at = receiver.place(&state, measured_s);
        let time = moment(measured_s);
        let (source, sentence) = match kind {
            Kind::Fix => {
                let (course_deg, kn) = receiver.course_speed(&state, measured_s);
                ("GP0001", encode::rmc("GP", time, at, kn, course_deg, VARIATION_DEG))
            }
            Kind::Quality => ("GP0001", encode::gga("GP", time, at, receiver.hdop(measured_s))),
            Kind::Magnetic => ("HC0001", encode::hdg("HC", compass.magnetic_deg(voyage, t))),
            Kind::True => ("GP0001", encode::hdt("GP", compass.true_deg(voyage, t))),
            Kind::Depth => {
                let m = depth(&state, measured_s, SounderFault::None, &mut rng).unwrap_or_default();
                ("SD0001", encode::dpt("SD", m, 0.3))
            }
            Kind::SecondDepth => {
                let m = depth(&state, measured_s, SounderFault::None, &mut rng).unwrap_or_default();
                ("II0001", encode::dbt("II", m + plan.second_sounder_m.unwrap_or_default()))
            }
            Kind::WaterTemperature => ("SD0001", encode::mtw("SD", water_celsius(measured_s, &mut rng))),
        };
        said.push((t, source, sentence));
        count += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_keeps_its_order_and_is_far_from_full() {
        let plan = LinePlan { seconds: 60.0, true_heading: true, second_sounder_m: Some(0.8) };
        let heard = lines(&plan, &Voyage::new(1), 1);
        assert!(heard.windows(2).all(|w| w[0].0 < w[1].0));
        let count = |start: &str| heard.iter().filter(|h| h.2.starts_with(start)).count();
        assert_eq!([count("$GPRMC"), count("$HCHDG"), count("$GPHDT")], [60, 300, 300]);
        assert_eq!([count("$SDDPT"), count("$IIDBT"), count("$SDMTW")], [60, 60, 30]);
        let characters: usize = heard.iter().map(|h| h.2.len() + 2).sum();
        assert!((characters as f64) / 60.0 < 0.2 / CHARACTER_S, "{characters}");
    }
}
