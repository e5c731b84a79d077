//! What of a recording must not be found in its copy, and the search for it.

use crate::walk::{Piece, walk};
use leadsman::messages::nmea0183::{self, Sentence, ais};
use leadsman::messages::{Reading, n2k};
use leadsman::units::Place;
use rustc_hash::FxHashSet as HashSet;
use std::collections::BTreeMap;
use std::net::IpAddr;

/// Shortest text that is searched for: shorter ones stand everywhere by chance.
const SHORTEST: usize = 4;

/// A copy's places lie further from the original's than this, metres.
const NEAR_M: f64 = 50_000.0;

/// Places and identities of a recording, as byte strings in every encoding that the reader knows.
#[derive(Default)]
pub(crate) struct Secrets {
    /// By length: hardware and network addresses, NAMEs, coordinates in pairs or of 64 bits.
    bytes: BTreeMap<usize, HashSet<Vec<u8>>>,
    /// By length, in capitals: names, texts, coordinates as sentences write them.
    texts: BTreeMap<usize, HashSet<Vec<u8>>>,
    /// MMSIs and IMO numbers.
    numbers: HashSet<u32>,
    /// Longitude and latitude of an AIS message, 55 bits.
    ais_places: HashSet<u64>,
    places: Vec<Place>,
    names: HashSet<u32>,
}

impl Secrets {
    /// Everything secret that the reader sees in a recording.
    pub(crate) fn of(path: &str) -> Self {
        let mut secrets = Self::default();
        let mut assembler = ais::Assembler::default();
        walk(path, &mut |piece| match piece {
            Piece::Raw(_) => {}
            Piece::Stations(macs, ips) => secrets.stations(macs, ips),
            Piece::N2k(id, data) => secrets.n2k(id, data),
            Piece::Line(line) => secrets.line(&mut assembler, line),
        });
        secrets.report(path);
        secrets
    }

    pub(crate) fn count(&self) -> usize {
        self.bytes.values().map(HashSet::len).sum::<usize>()
            + self.texts.values().map(HashSet::len).sum::<usize>()
            + self.numbers.len()
    }

    fn either_order(&mut self, bytes: &[u8]) {
        // Zeros and codes for "no value" stand everywhere.
        if bytes.iter().collect::<HashSet<_>>().len() < 4 {
            return;
        }
        let set = self.bytes.entry(bytes.len()).or_default();
        set.insert(bytes.to_vec());
        set.insert(bytes.iter().rev().copied().collect());
    }

    fn stations(&mut self, macs: &[[u8; 6]], ips: &[IpAddr]) {
        for mac in macs.iter().filter(|mac| mac[0] & 1 == 0 && **mac != [0; 6]) {
            self.bytes.entry(6).or_default().insert(mac.to_vec());
            for separator in ["", ":", "-"] {
                let text: Vec<String> = mac.iter().map(|b| format!("{b:02X}")).collect();
                self.text(&text.join(separator));
            }
            let [a, b, c, d, e, f] = *mac;
            self.bytes.entry(8).or_default().insert(vec![a ^ 2, b, c, 0xFF, 0xFE, d, e, f]);
        }
        for ip in ips {
            match ip {
                IpAddr::V4(v4) => {
                    let special = v4.is_private()
                        || v4.is_loopback()
                        || v4.is_multicast()
                        || v4.octets()[0] == 0
                        || v4.octets()[0] >= 240
                        || v4.is_link_local()
                        || v4.is_documentation()
                        || matches!(v4.octets(), [192, 0, 0, _]);
                    if !special {
                        self.bytes.entry(4).or_default().insert(v4.octets().to_vec());
                        self.text(&v4.to_string());
                    }
                }
                IpAddr::V6(v6) if v6.is_multicast() || v6.is_unspecified() || v6.is_loopback() => {}
                IpAddr::V6(v6) => {
                    self.bytes.entry(16).or_default().insert(v6.octets().to_vec());
                }
            }
        }
    }

    fn text(&mut self, text: &str) {
        let text = text.trim();
        if text.len() >= SHORTEST {
            let text = text.to_ascii_uppercase().into_bytes();
            self.texts.entry(text.len()).or_default().insert(text);
        }
    }

    /// A text that has a letter in it: no number, no hemisphere.
    fn word(&mut self, text: &str) {
        if text.bytes().any(|b| b.is_ascii_alphabetic()) {
            self.text(text);
        }
    }

    fn number(&mut self, number: Option<u32>) {
        if let Some(number) = number.filter(|number| *number > 99_999) {
            self.numbers.insert(number);
            self.text(&number.to_string());
        }
    }

    fn place(&mut self, place: Place) {
        // "No fix" of careless senders, and where no boat is.
        if (place.lat_deg == 0.0 && place.lon_deg == 0.0) || place.lat_deg.abs() > 85.0 {
            return;
        }
        self.places.push(place);
        let raw = |deg: f64| ((deg * 1e7).round() as i32).to_le_bytes();
        let (lat, lon) = (raw(place.lat_deg), raw(place.lon_deg));
        self.either_order(&[lat, lon].concat());
        self.either_order(&[lon, lat].concat());
    }

    fn readings(&mut self, readings: &[Reading]) {
        for reading in readings {
            if let Reading::Position { at: Ok(at), .. } = reading {
                self.place(*at);
            }
        }
    }

    fn n2k(&mut self, id: n2k::CanId, data: &[u8]) {
        let mut readings = Vec::new();
        n2k::decode(id.pgn, data, &mut readings);
        self.readings(&readings);
        if id.pgn == 129_029 && data.len() >= 23 && data[14] != 0x7F {
            self.either_order(&data[7..15]);
            self.either_order(&data[15..23]);
        }
        if let Some(report) = n2k::ais_report(id.pgn, data) {
            self.number(report.mmsi);
            self.number(report.imo);
            self.number(report.mothership);
            if let Some(Ok(place)) = report.place {
                self.place(place);
            }
            for text in [report.name, report.call_sign, report.destination, report.vendor].iter().flatten() {
                self.text(text);
            }
        }
        if id.pgn == 129_284
            && let Ok(place) = n2k::destination(data)
        {
            self.place(place);
        }
        if id.pgn == 129_285
            && let Some(route) = n2k::route(data)
        {
            self.text(&route.name);
            for waypoint in route.waypoints {
                self.text(&waypoint.name);
                waypoint.at.into_iter().for_each(|at| self.place(at));
            }
        }
        match n2k::network(id, data) {
            Some(
                n2k::NetworkMessage::Claim { name, .. } | n2k::NetworkMessage::CommandedAddress { name, .. },
            ) => {
                self.either_order(&name.0.to_le_bytes());
                // Unique number and maker, as the first half of the NAME has them.
                self.either_order(&data[..4]);
                self.names.insert(name.unique_number());
            }
            Some(n2k::NetworkMessage::Product(product)) => {
                for text in [product.model, product.software, product.version, product.serial] {
                    self.text(&text);
                }
            }
            Some(n2k::NetworkMessage::Configuration(texts)) => {
                for text in [texts.description_1, texts.description_2, texts.manufacturer] {
                    self.text(&text);
                }
            }
            _ => {}
        }
    }

    fn line(&mut self, assembler: &mut ais::Assembler, line: &[u8]) {
        let Ok(sentence) = Sentence::parse(line) else { return };
        let mut readings = Vec::new();
        nmea0183::decode(&sentence, &mut readings);
        self.readings(&readings);
        let fields: Vec<&str> = sentence.fields().collect();
        for place in fields.windows(4) {
            if matches!(place[1], "N" | "S") && matches!(place[3], "E" | "W") {
                [place[0], place[2]].iter().filter(|text| text.len() >= 7).for_each(|text| self.text(text));
            }
        }
        match sentence.formatter() {
            Some("TXT") => self.text(fields.get(3).unwrap_or(&"")),
            Some("ALR" | "WPL") => self.text(fields.get(4).unwrap_or(&"")),
            Some("BWC") => self.text(fields.get(11).unwrap_or(&"")),
            Some("TTM") => self.text(fields.get(10).unwrap_or(&"")),
            Some("RMB" | "RTE") => fields.iter().skip(3).for_each(|text| self.word(text)),
            _ => {}
        }
        if let Some(payload) = payload(&sentence) {
            let bits = bits(payload);
            for at in [57, 61, 79] {
                // Where types 1 to 4, 9, 18 and 19 have their place; 181 and 91 degrees are none.
                let place = bits.get(at..at + 55).map(number_of);
                let wanted = match bits.get(..6).map(number_of) {
                    Some(1..=3 | 9) => 61,
                    Some(4) => 79,
                    Some(18 | 19) => 57,
                    _ => 0,
                };
                self.ais_places.extend(place.filter(|place| at == wanted && *place != AIS_NO_PLACE));
            }
        }
        let Ok(Some(message)) = assembler.push(&sentence) else { return };
        self.number(Some(message.mmsi));
        let identity = message.identity.unwrap_or_default();
        self.number(identity.imo);
        for text in [identity.name, identity.call_sign, identity.destination].iter().flatten() {
            self.text(text);
        }
        let places = message.position.map(|p| p.at).into_iter().chain(message.base.map(|b| b.at));
        places.flatten().for_each(|place| self.place(place));
    }

    /// Names that the report gives its hosts.
    fn report(&mut self, path: &str) {
        let report = leadsman::survey::report(&[path.to_owned()], &Default::default(), &mut |_| {}).unwrap();
        let json = serde_json::to_value(&report).unwrap();
        for device in json["devices"].as_array().unwrap() {
            for key in ["model", "software", "serial"] {
                self.text(device[key].as_str().unwrap_or_default());
            }
            for host in device["hostnames"].as_array().into_iter().flatten() {
                let name = host.as_str().unwrap_or_default();
                self.text(name.trim_end_matches(".local"));
            }
        }
    }

    /// What of the secrets is found in a recording.
    pub(crate) fn found_in(&self, path: &str) -> Vec<String> {
        let mut search = Search::new(self);
        walk(path, &mut |piece| search.piece(piece));
        // Names and such in file headers, comments and options too. A version such as 1.00 or seven digits stand in any time stamp;
        // pieces of messages are searched for it above.
        let telling = |text: &&Vec<u8>| text.len() > 8 || text.iter().any(u8::is_ascii_alphabetic);
        let texts = self.texts.iter().map(|(n, texts)| (*n, texts.iter().filter(telling).cloned().collect()));
        let telling = Self { texts: texts.collect(), ..Self::default() };
        telling.search_texts(&whole(path), &mut search.found);
        search.end()
    }

    fn search(&self, bytes: &[u8], found: &mut Vec<String>) {
        for (length, secrets) in &self.bytes {
            let hits = bytes.windows(*length).filter(|window| secrets.contains(*window));
            found.extend(hits.map(|hit| format!("bytes {hit:02x?} in {bytes:02x?}")));
        }
        for window in bytes.windows(4) {
            let window = [window[0], window[1], window[2], window[3]];
            for number in [u32::from_le_bytes(window), u32::from_be_bytes(window)] {
                if self.numbers.contains(&number) {
                    found.push(format!("number {number} in {bytes:02x?}"));
                }
            }
        }
        self.search_texts(bytes, found);
    }

    fn search_texts(&self, bytes: &[u8], found: &mut Vec<String>) {
        let capitals = bytes.to_ascii_uppercase();
        // UTF-16 beginning at an even and at an odd byte.
        let [even, odd] = [0, 1].map(|n| capitals.iter().skip(n).step_by(2).copied().collect::<Vec<u8>>());
        for (length, texts) in &self.texts {
            for bytes in [&capitals, &even, &odd] {
                let hits = bytes.windows(*length).filter(|window| texts.contains(*window));
                found.extend(hits.map(|hit| format!("text {}", String::from_utf8_lossy(hit))));
            }
        }
    }

    fn search_bits(&self, bits: &[u8], found: &mut Vec<String>) {
        for window in bits.windows(30) {
            let number = number_of(window) as u32;
            if self.numbers.contains(&number) {
                found.push(format!("number {number} in an AIS message"));
            }
        }
        for window in bits.windows(55) {
            if self.ais_places.contains(&number_of(window)) {
                found.push("a place in an AIS message".to_owned());
            }
        }
        for start in 0..6 {
            let text: Vec<u8> = bits
                .get(start..)
                .unwrap_or_default()
                .chunks_exact(6)
                .map(|six| number_of(six) as u8)
                .map(|six| if six < 32 { six + 64 } else { six })
                .collect();
            for (length, texts) in &self.texts {
                let hits = text.windows(*length).filter(|window| texts.contains(*window));
                found.extend(hits.map(|hit| format!("{} in an AIS message", String::from_utf8_lossy(hit))));
            }
        }
    }
}

/// A search through a copy, piece by piece.
pub(crate) struct Search<'a> {
    secrets: &'a Secrets,
    theirs: Secrets,
    assembler: ais::Assembler,
    found: Vec<String>,
}

impl<'a> Search<'a> {
    pub(crate) fn new(secrets: &'a Secrets) -> Self {
        Self { secrets, theirs: Secrets::default(), assembler: ais::Assembler::default(), found: Vec::new() }
    }

    pub(crate) fn piece(&mut self, piece: Piece<'_>) {
        let found = &mut self.found;
        match piece {
            Piece::Raw(bytes) => self.secrets.search(bytes, found),
            Piece::Stations(macs, ips) => {
                macs.iter().for_each(|mac| self.secrets.search(mac, found));
                for ip in ips {
                    match ip {
                        IpAddr::V4(ip) => self.secrets.search(&ip.octets(), found),
                        IpAddr::V6(ip) => self.secrets.search(&ip.octets(), found),
                    }
                }
            }
            Piece::N2k(id, data) => {
                self.secrets.search(data, found);
                self.theirs.n2k(id, data);
            }
            Piece::Line(line) => {
                self.secrets.search(line, found);
                if let Ok(sentence) = Sentence::parse(line)
                    && let Some(payload) = payload(&sentence)
                {
                    self.secrets.search_bits(&bits(payload), found);
                }
                self.theirs.line(&mut self.assembler, line);
            }
        }
    }

    /// What was found, each once.
    pub(crate) fn end(mut self) -> Vec<String> {
        let shared = self.secrets.names.intersection(&self.theirs.names);
        self.found.extend(shared.map(|number| format!("unique number {number}")));
        for place in &self.theirs.places {
            // A boat's places lie together, by far nearer than the copy lies away: some of them stand for all.
            let some = self.secrets.places.iter().step_by(1 + self.secrets.places.len() / 50);
            let mut some = some.filter(|old| (old.lat_deg - place.lat_deg).abs() < 1.0);
            let near = some.find(|old| old.to(*place).0 < NEAR_M);
            self.found.extend(near.map(|near| format!("{place:?} near {near:?}")));
        }
        self.found.sort();
        self.found.dedup();
        self.found
    }
}

/// 181 degrees and 91 degrees in 28 and 27 bits.
const AIS_NO_PLACE: u64 = 108_600_000 << 27 | 54_600_000;

fn payload<'a>(sentence: &Sentence<'a>) -> Option<&'a str> {
    sentence.formatter().filter(|f| matches!(*f, "VDM" | "VDO")).and(sentence.field(5))
}

/// The bits of an AIS payload, one a byte.
fn bits(payload: &str) -> Vec<u8> {
    let value = |b: u8| if b < 96 { b.wrapping_sub(48) } else { b.wrapping_sub(56) };
    payload.bytes().map(value).flat_map(|six| (0..6).rev().map(move |n| six >> n & 1)).collect()
}

fn number_of(bits: &[u8]) -> u64 {
    bits.iter().fold(0, |all, bit| all << 1 | u64::from(*bit))
}

/// A file's bytes, looked through compression.
fn whole(path: &str) -> Vec<u8> {
    use std::io::Read;
    let bytes = std::fs::read(path).unwrap();
    let mut out = Vec::new();
    if bytes.starts_with(&[0x1F, 0x8B]) {
        flate2::read::MultiGzDecoder::new(bytes.as_slice()).read_to_end(&mut out).unwrap();
        out.extend_from_slice(&bytes[..bytes.len().min(64)]);
    } else if bytes.starts_with(&[0x28, 0xB5, 0x2F, 0xFD]) {
        zstd::Decoder::new(bytes.as_slice()).unwrap().read_to_end(&mut out).unwrap();
    } else {
        out = bytes;
    }
    out
}
