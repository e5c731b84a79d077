//! NMEA 0183 sentences: lines of text in, readings out.
//!
//! A new sentence is a decode function in its family's file and a line in [`SENTENCES`].

pub mod ais;
mod clock;
mod course;
mod depth;
mod engine;
mod fields;
mod framed;
mod heading;
pub mod iec450;
mod navigation;
mod position;
mod satellites;
mod scan;
mod sentence;
#[cfg(test)]
mod shown;
mod speed;
mod system;
mod tag_block;
pub mod talkers;
mod targets;
mod temperature;
mod transducers;
mod turn;
mod wind;

pub use framed::{Address, Checksum, Fault, Framed, MAX_LINE, Outline};
pub use satellites::Datum;
pub use sentence::Sentence;
pub use system::{Alert, Heartbeat, SystemFunction, SystemMessage, Text};
pub use tag_block::{Group, TagBlock};
pub use targets::Target;

use crate::messages::Reading;
#[cfg(test)]
use {crate::messages::Value, shown::shown};

/// A kind of sentence that is known.
#[derive(Debug, Clone, Copy)]
pub struct Formatter {
    /// Sentence formatter, three characters.
    pub formatter: &'static str,
    /// What it tells, in plain words.
    pub name: &'static str,
    /// The longest interval that is usual, seconds (common practice; the standard leaves it open).
    pub interval_s: Option<f64>,
    /// Puts what it says into the list.
    decode: fn(&Sentence<'_>, &mut Vec<Reading>),
}

impl Formatter {
    /// As [`decode()`], of a sentence that is known to be of this kind.
    pub fn decode(&self, sentence: &Sentence<'_>, out: &mut Vec<Reading>) {
        (self.decode)(sentence, out);
    }
}

const fn entry(
    formatter: &'static str,
    name: &'static str,
    interval_s: Option<f64>,
    decode: fn(&Sentence<'_>, &mut Vec<Reading>),
) -> Formatter {
    Formatter { formatter, name, interval_s, decode }
}

/// Sentences that tell no quantity of the boat, or are read by a type of their own.
const fn silent(_: &Sentence<'_>, _: &mut Vec<Reading>) {}

/// Every known sentence, in the order of the formatters.
pub const SENTENCES: &[Formatter] = &[
    entry("ALC", "list of alerts", None, silent),
    entry("ALF", "alert", None, silent),
    entry("ALR", "alarm state", None, silent),
    entry("APB", "autopilot route data", Some(1.0), navigation::apb),
    entry("BOD", "bearing from origin to destination", None, silent),
    entry("BWC", "bearing and distance to waypoint", Some(1.0), navigation::bwc),
    entry("DBK", "depth below keel", Some(1.0), depth::dbk),
    entry("DBS", "depth below surface", Some(1.0), depth::dbs),
    entry("DBT", "depth below transducer", Some(1.0), depth::dbt),
    entry("DPT", "depth", Some(1.0), depth::dpt),
    entry("DTM", "datum", None, silent),
    entry("GGA", "position fix", Some(1.0), position::gga),
    entry("GLL", "position", Some(1.0), position::gll),
    entry("GNS", "position fix of several systems", Some(1.0), position::gns),
    entry("GSA", "satellites in use", Some(5.0), satellites::gsa),
    entry("GST", "position error statistics", Some(5.0), satellites::gst),
    entry("GSV", "satellites in view", Some(5.0), satellites::gsv),
    entry("HBT", "heartbeat", None, silent),
    entry("HDG", "magnetic heading with deviation and variation", Some(1.0), heading::hdg),
    entry("HDM", "magnetic heading", Some(1.0), heading::hdm),
    entry("HDT", "true heading", Some(1.0), heading::hdt),
    entry("MTW", "water temperature", Some(5.0), temperature::mtw),
    entry("MWD", "wind direction and speed", Some(1.0), wind::mwd),
    entry("MWV", "wind speed and angle", Some(1.0), wind::mwv),
    entry("OSD", "own ship data", Some(1.0), heading::osd),
    entry("RMB", "way to the waypoint", Some(1.0), navigation::rmb),
    entry("RMC", "position, course, speed and time", Some(1.0), position::rmc),
    entry("ROT", "rate of turn", Some(1.0), turn::rot),
    entry("RPM", "revolutions", None, engine::rpm),
    entry("RSA", "rudder angle", None, turn::rsa),
    entry("RTE", "route", Some(30.0), silent),
    entry("SRP", "system function id", None, silent),
    entry("THS", "true heading and status", Some(1.0), heading::ths),
    entry("TTM", "tracked target", None, silent),
    entry("TXT", "text", None, silent),
    entry("VBW", "speed over ground and through water", Some(1.0), speed::vbw),
    entry("VDM", "AIS, received", None, silent),
    entry("VDO", "AIS, own ship", Some(2.0), silent),
    entry("VHW", "speed through water and heading", Some(1.0), speed::vhw),
    entry("VLW", "distance through water", Some(1.0), speed::vlw),
    entry("VTG", "course and speed over ground", Some(1.0), course::vtg),
    entry("VWR", "relative wind", Some(1.0), wind::vwr),
    entry("VWT", "true wind", Some(1.0), wind::vwt),
    entry("WPL", "waypoint", Some(30.0), silent),
    entry("XDR", "transducer measurements", None, transducers::xdr),
    entry("XTE", "cross-track error", Some(1.0), navigation::xte),
    entry("ZDA", "time and date", Some(1.0), clock::zda),
];

/// Places of [`INDEX`]: several for each sentence, so that the first one is mostly the right one.
const SLOTS: usize = 256;

/// Where each sentence stands in [`SENTENCES`], counted from 1, at the first free place from [`first_slot`] on; 0 is a
/// free place.
static INDEX: [u8; SLOTS] = index();

/// Where the search for a formatter begins.
const fn first_slot([a, b, c]: [u8; 3]) -> usize {
    (a as usize * 5 + b as usize * 23 + c as usize * 71) % SLOTS
}

const fn index() -> [u8; SLOTS] {
    assert!(SENTENCES.len() < SLOTS / 2, "a free place must end every search");
    let (mut index, mut at) = ([0; SLOTS], 0);
    #[expect(clippy::indexing_slicing, reason = "compile time; every index is below the length")]
    while at < SENTENCES.len() {
        let Some(letters) = SENTENCES[at].formatter.as_bytes().first_chunk() else { panic!("three letters") };
        let mut slot = first_slot(*letters);
        while index[slot] != 0 {
            slot = (slot + 1) % SLOTS;
        }
        index[slot] = at as u8 + 1;
        at += 1;
    }
    index
}

/// The known sentence with this formatter.
#[must_use]
pub fn formatter(letters: &[u8; 3]) -> Option<&'static Formatter> {
    let mut slot = first_slot(*letters);
    loop {
        // A place that is not taken ends the search: there are more places than sentences.
        let known = SENTENCES.get(usize::from(INDEX.get(slot).copied()?.checked_sub(1)?))?;
        if known.formatter.as_bytes().first_chunk() == Some(letters) {
            return Some(known);
        }
        slot = (slot + 1) % SLOTS;
    }
}

/// Appends what the sentence says of the boat. Unknown and proprietary sentences and queries say nothing.
///
/// The checksum is for the caller to look at: a sentence whose checksum is bad should not come here.
pub fn decode(sentence: &Sentence<'_>, out: &mut Vec<Reading>) {
    if let Some(entry) = sentence.formatter_bytes().and_then(formatter) {
        entry.decode(sentence, out);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_registry_is_in_order() {
        assert!(SENTENCES.is_sorted_by(|a, b| a.formatter < b.formatter));
        assert_eq!(formatter(b"HDG").and_then(|f| f.interval_s), Some(1.0));
        assert!(SENTENCES.iter().all(|s| {
            s.formatter.as_bytes().as_array().and_then(formatter).is_some_and(|f| f.formatter == s.formatter)
        }));
        assert!(formatter(b"QQQ").is_none());
    }

    proptest! {
        /// Whatever stands in the fields of a known sentence, decoding does no harm and no value is infinite.
        #[test]
        fn any_fields_do_no_harm(
            which in 0..SENTENCES.len(),
            fields in proptest::collection::vec("[0-9.ANTMEWSKVR-]{0,5}|[ -)+-~]{0,9}", 0..22),
        ) {
            let line = format!("$II{},{}", SENTENCES[which].formatter, fields.join(",").replace(['$', '!'], ""));
            let sentence = Sentence::parse(line.as_bytes()).unwrap();
            let mut out = Vec::new();
            decode(&sentence, &mut out);
            prop_assert!(out.len() <= 41);
            let text = format!("{out:?}");
            prop_assert!(!text.contains("inf") && !text.contains("NaN"), "{}", text);
            let _ = (Datum::read(&sentence), Target::read(&sentence), SystemMessage::read(&sentence));
        }
    }
}
