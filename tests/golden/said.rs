//! What this library says, as names and plain values.

use leadsman::messages::n2k::AisReport;
use leadsman::messages::{Absent, Reading, Value};
use leadsman::units::Place;
use serde_json::Value as Json;

/// Names with values in the order in which they were said; null is "no value".
#[derive(Debug, Default)]
pub(crate) struct Said(Vec<(String, Json)>);

impl Said {
    /// The value of that name; null when there is none.
    pub(crate) fn get(&self, key: &str) -> &Json {
        self.0.iter().find(|(name, _)| name == key).map_or(&Json::Null, |(_, value)| value)
    }

    /// Adds a value.
    pub(crate) fn push(&mut self, key: &str, value: Json) {
        self.0.push((key.to_owned(), value));
    }

    /// Adds a number that may be absent.
    pub(crate) fn value(&mut self, key: &str, value: Value) {
        self.push(key, Json::from(value.ok()));
    }

    /// Adds a whole number that may be absent.
    pub(crate) fn number(&mut self, key: &str, value: Option<impl Into<u64>>) {
        self.push(key, Json::from(value.map(Into::into)));
    }

    /// Adds a text that may be absent.
    pub(crate) fn text(&mut self, key: &str, value: Option<String>) {
        self.push(key, Json::from(value));
    }

    /// Adds a yes or no.
    pub(crate) fn is(&mut self, key: &str, value: bool) {
        self.push(key, Json::from(value));
    }

    /// Adds latitude and longitude.
    pub(crate) fn place(&mut self, prefix: &str, at: Result<Place, Absent>) {
        self.value(&format!("{prefix}lat"), at.map(|place| place.lat_deg));
        self.value(&format!("{prefix}lon"), at.map(|place| place.lon_deg));
    }

    /// Adds all that a reading says. References and instances are part of the names, so that they are compared too.
    pub(crate) fn reading(&mut self, reading: &Reading) {
        let reference = reading.reference().unwrap_or("?");
        let instance = reading.instance().map(|n| format!("#{n}")).unwrap_or_default();
        match reading {
            Reading::Heading { deg, deviation_deg, variation_deg, .. } => {
                self.value(&format!("heading/{reference}"), *deg);
                self.value("deviation", *deviation_deg);
                self.value("carried-variation", *variation_deg);
            }
            Reading::Position { at, satellites, hdop } => {
                self.place("", *at);
                self.number("satellites", *satellites);
                self.push("hdop", Json::from(*hdop));
            }
            Reading::FixQuality { fix, satellites, hdop } => {
                self.push("fix", Json::from(*fix));
                self.number("fix-satellites", *satellites);
                self.value("fix-hdop", *hdop);
            }
            Reading::Depth { m, offset_m, .. } => {
                self.value(&format!("depth/{reference}"), *m);
                self.value("depth-offset", *offset_m);
            }
            Reading::CourseSpeed { course_deg, speed_kn, .. } => {
                self.value(&format!("course/{reference}"), *course_deg);
                self.value(&format!("ground-speed/{reference}"), *speed_kn);
            }
            Reading::WaterSpeed { kn } => self.value("water-speed", *kn),
            Reading::Wind { angle_deg, speed_kn, .. } => {
                self.value(&format!("wind-angle/{reference}"), *angle_deg);
                self.value(&format!("wind-speed/{reference}"), *speed_kn);
            }
            Reading::RateOfTurn { deg_per_min } => self.value("rate-of-turn", *deg_per_min),
            Reading::Attitude { yaw_deg, pitch_deg, roll_deg } => {
                self.value("yaw", *yaw_deg);
                self.value("pitch", *pitch_deg);
                self.value("roll", *roll_deg);
            }
            Reading::Rudder { deg, .. } => self.value(&format!("rudder{instance}"), *deg),
            Reading::WaterTemperature { celsius, .. } => {
                self.value(&format!("water-temperature{instance}"), *celsius);
            }
            Reading::Voltage { volts, .. } => self.value(&format!("voltage{instance}"), *volts),
            Reading::Engine { rpm, .. } => self.value(&format!("engine{instance}"), *rpm),
            Reading::Variation { deg } => self.value("variation", *deg),
            Reading::Clock { days, of_day_us } => {
                self.push("days", Json::from(*days));
                self.push("of-day", Json::from(of_day_us.map(|us| us as f64 / 1e6)));
            }
            Reading::Other { quantity, value, .. } => self.value(&format!("{quantity}{instance}"), *value),
        }
    }

    /// Adds what an AIS report of the bus says.
    pub(crate) fn ais_report(&mut self, report: &AisReport) {
        let missing = Err(Absent::Missing);
        self.number("message", report.message);
        self.number("mmsi", report.mmsi);
        self.is("own", report.own);
        self.place("", report.place.unwrap_or(Err(Absent::Missing)));
        self.value("course", report.course_deg.unwrap_or(missing));
        self.value("speed", report.speed_kn.unwrap_or(missing));
        self.value("heading", report.heading_deg.unwrap_or(missing));
        self.value("rate-of-turn", report.rate_of_turn_deg_per_min.unwrap_or(missing));
        let (length, beam) = report.size_m.unwrap_or((missing, missing));
        self.value("length", length);
        self.value("beam", beam);
        self.value("draught", report.draught_m.unwrap_or(missing));
        self.number("imo", report.imo);
        self.number("ship_type", report.ship_type);
        self.number("mothership", report.mothership);
        for (key, value) in [
            ("name", &report.name),
            ("call_sign", &report.call_sign),
            ("destination", &report.destination),
            ("vendor", &report.vendor),
        ] {
            self.text(key, value.clone());
        }
    }
}
