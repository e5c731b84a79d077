//! Readings as short text, for tests: `-` is not available, `!` marked invalid, `?` unusable, `.` missing.

use super::{Reading, Sentence, Value, decode};

fn number(value: &Value) -> String {
    match value {
        Ok(v) => ((v * 1e7).round() / 1e7).to_string(),
        Err(why) => sign(format!("{why:?}").as_str()),
    }
}

fn sign(why: &str) -> String {
    let signs = [("NotAvailable", "-"), ("MarkedInvalid", "!"), ("Unusable", "?"), ("Missing", ".")];
    signs.iter().find(|(name, _)| *name == why).map_or("#", |(_, sign)| sign).to_owned()
}

fn one(reading: &Reading) -> String {
    let reference = reading.reference().unwrap_or("?");
    let which = reading.instance().map(|i| format!(" #{i}")).unwrap_or_default();
    match reading {
        Reading::Heading { deg, deviation_deg, variation_deg, .. } => {
            let carried = match (number(deviation_deg), number(variation_deg)) {
                (d, v) if d == "." && v == "." => String::new(),
                (d, v) => format!(" deviation {d} variation {v}"),
            };
            format!("heading {} {reference}{carried}", number(deg))
        }
        Reading::Position { at, satellites, hdop } => {
            let at = match at {
                Ok(p) => format!("{} {}", number(&Ok(p.lat_deg)), number(&Ok(p.lon_deg))),
                Err(why) => sign(&format!("{why:?}")),
            };
            let satellites = satellites.map(|n| format!(" satellites {n}")).unwrap_or_default();
            let hdop = hdop.map(|v| format!(" hdop {v}")).unwrap_or_default();
            format!("position {at}{satellites}{hdop}")
        }
        Reading::FixQuality { fix, satellites, hdop } => {
            let text = |v: Option<String>| v.unwrap_or_else(|| String::from("-"));
            let (fix, satellites) =
                (text(fix.map(|f| f.to_string())), text(satellites.map(|n| n.to_string())));
            format!("fix {fix} satellites {satellites} hdop {}", number(hdop))
        }
        Reading::Depth { m, offset_m, .. } => {
            format!("depth {} {reference} offset {}", number(m), number(offset_m))
        }
        Reading::CourseSpeed { course_deg, speed_kn, north } => {
            let north = north.map(|_| format!(" {reference}")).unwrap_or_default();
            format!("course {}{north} speed {}", number(course_deg), number(speed_kn))
        }
        Reading::WaterSpeed { kn } => format!("water-speed {}", number(kn)),
        Reading::Wind { angle_deg, speed_kn, .. } => {
            format!("wind {} {} {reference}", number(angle_deg), number(speed_kn))
        }
        Reading::RateOfTurn { deg_per_min } => format!("turn {}", number(deg_per_min)),
        Reading::Attitude { yaw_deg, pitch_deg, roll_deg } => {
            format!("attitude {} {} {}", number(yaw_deg), number(pitch_deg), number(roll_deg))
        }
        Reading::Rudder { deg, .. } => format!("rudder {}{which}", number(deg)),
        Reading::WaterTemperature { celsius, .. } => format!("water-temperature {}{which}", number(celsius)),
        Reading::Voltage { volts, .. } => format!("voltage {}{which}", number(volts)),
        Reading::Engine { rpm, .. } => format!("engine {}{which}", number(rpm)),
        Reading::Variation { deg } => format!("variation {}", number(deg)),
        Reading::Clock { days, of_day_us } => {
            let days = days.map_or(String::from("-"), |d| d.to_string());
            let time = of_day_us.map_or(String::from("-"), |us| (us as f64 / 1e6).to_string());
            format!("clock {days} {time}")
        }
        Reading::Other { quantity, value, unit, .. } => format!("{quantity} {} {unit}{which}", number(value)),
    }
}

/// What a line says, as short text.
pub(crate) fn shown(line: &str) -> String {
    let mut out = Vec::new();
    let sentence = Sentence::parse(line.as_bytes()).unwrap_or_else(|fault| panic!("{line}: {fault}"));
    decode(&sentence, &mut out);
    out.iter().map(one).collect::<Vec<_>>().join("; ")
}
