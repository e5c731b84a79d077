//! 0183 sentences, rewritten in place.

use super::key::Domain;
use super::line_table::{Act, Line, QUERY, fields};
use super::n2k::WORLD_DATUMS;
use super::{Content, TextKind, coordinate, shape};
use crate::messages::nmea0183::{self, Address, Checksum, Sentence};
use crate::time::{Time, civil, days_from_civil};

/// Longest number that stays, characters. The longest of the standard has 10.
const MAX_NUMBER: usize = 12;

/// What a blanked character becomes: no digit, no status and no capital.
const BLANK: u8 = b'x';

impl Content {
    /// Rewrites one line from `$` or `!` on, without its end and without what stands in front (time, TAG block).
    ///
    /// A good checksum is made good again, a bad one stays bad, a garbled line stays garbled.
    pub fn sentence(&mut self, time: Option<Time>, line: &mut [u8]) {
        let mut old = std::mem::take(&mut self.old);
        old.clear();
        old.extend_from_slice(line);
        self.rewrite(time, &old, line);
        self.old = old;
    }

    /// Rewrites a `line` that reads as `old`.
    fn rewrite(&mut self, time: Option<Time>, old: &[u8], line: &mut [u8]) {
        let sentence = match Sentence::parse(old) {
            Ok(sentence) => sentence,
            Err(fault) => {
                self.said.garbled += u64::from(fault.is_garbled());
                garble(old, line);
                return;
            }
        };
        let start = old.iter().position(|b| matches!(b, b'$' | b'!')).unwrap_or(0);
        let star = memchr::memchr(b'*', old);
        let checksum = sentence.checksum();
        if sentence.tag().is_some() {
            // It belongs to the carrier; should one come here, nothing of it is known to be harmless.
            self.said.garbled += 1;
            garble(old, line);
            return;
        }
        let end = star.unwrap_or(old.trim_ascii_end().len());
        let (table, address) = match sentence.address() {
            Address::Talker { formatter, .. } => (fields(formatter), None),
            Address::Query { .. } => (Some(QUERY), None),
            Address::Proprietary(name) => (None, Some(self.proprietary(name))),
        };
        let table = table.filter(|_| !matches!(checksum, Checksum::Bad { .. }));
        if table.is_none() {
            self.said.blanked_sentence(address.as_deref().unwrap_or(sentence.name()));
        }
        let body = line.get_mut(start..end).unwrap_or_default();
        let head = 1 + sentence.name().len();
        if let Some(address) = address {
            write(body.get_mut(1..head), address.as_bytes());
        }
        let fields = body.get_mut(head..).unwrap_or_default();
        // Without a checksum nothing but its shape tells that a sentence lost some bytes in the middle.
        match table.filter(|table| checksum == Checksum::Absent && shape::is_odd(*table, fields)) {
            Some(table) => letters_only(table, fields),
            None => self.body(time, &sentence, table, fields),
        }
        seal(line, start, end, checksum);
    }

    /// The fields behind the address, commas included.
    fn body(&mut self, time: Option<Time>, sentence: &Sentence<'_>, table: Option<Line>, body: &mut [u8]) {
        let line = table.unwrap_or(Line { first: &[], again: &[] });
        let ais = self.ais_part(sentence);
        let mut fields = Fields { rest: Some(body) };
        // In front of the first comma there is nothing.
        fields.next();
        let mut n = 0;
        while let Some(part) = fields.next() {
            let act = line.act(n);
            n += 1;
            match act {
                // The last field of a GSV with one field more than whole groups is the signal (v4.1).
                Some(Act::Satellite) if fields.rest.is_none() && line.again.len() == 4 => {
                    keep_if(part, is_digits);
                }
                Some(Act::Place) => {
                    self.place(time, part, &mut fields);
                    n += 3;
                }
                Some(Act::LongDate) => {
                    self.long_date(part, &mut fields);
                    n += 2;
                }
                Some(Act::Transducer) => {
                    self.transducer(part, &mut fields);
                    n += 3;
                }
                Some(Act::Ais) => self.ais(time, ais, part),
                Some(Act::Zero) => zero(part),
                Some(act) => self.field(act, part),
                None => blank(part),
            }
        }
    }

    fn field(&mut self, act: Act, part: &mut [u8]) {
        match act {
            Act::Number => self.number(part),
            Act::Angle => self.bounded(part, shape::MAX_ANGLE),
            Act::Speed => self.bounded(part, shape::MAX_SPEED),
            Act::Clock => keep_if(part, shape::is_clock),
            Act::Letter => keep_if(part, |text| matches!(text, [b] if b.is_ascii_alphabetic())),
            Act::Letters => keep_if(part, |text| {
                text.len() <= 8 && text.iter().all(|b| b.is_ascii_uppercase() || matches!(b, b'1' | b'2'))
            }),
            Act::Code => {
                keep_if(part, |t| {
                    t.len() == 3 && t.iter().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit())
                });
            }
            Act::Date => self.date(part),
            Act::Satellite => self.satellite_field(part),
            Act::Waypoint => self.rename(TextKind::Waypoint, part),
            Act::Target => self.rename(TextKind::Vessel, part),
            Act::Maker => self.rename(TextKind::Maker, part),
            Act::Datum => keep_if(part, |text| WORLD_DATUMS.contains(&text)),
            Act::Mac => self.mac_text(part),
            _ => blank(part),
        }
    }

    /// A number that is no coordinate stays.
    fn number(&self, part: &mut [u8]) {
        keep_if(part, |text| is_number(text) && !coordinate::resembles(text, self.places.waters()));
    }

    /// As [`number`](Self::number); one beyond `most` becomes nines, so that it still is a number that cannot be.
    fn bounded(&self, part: &mut [u8], most: f64) {
        let beyond = |text: &str| text.parse::<f64>().is_ok_and(|number| number.abs() > most);
        if is_number(part.trim_ascii()) && str::from_utf8(part.trim_ascii()).is_ok_and(beyond) {
            part.iter_mut().filter(|byte| byte.is_ascii_digit()).for_each(|byte| *byte = b'9');
        } else {
            self.number(part);
        }
    }

    /// A proprietary address: the maker's three letters, and what the maker put behind them.
    fn proprietary(&mut self, name: &str) -> String {
        if self.options.keep_makers {
            return name.to_owned();
        }
        self.said.identity("makers of sentences", self.keyed.number(Domain::SentenceMaker, name.as_bytes()));
        let (maker, rest) = name.get(1..).and_then(|name| name.split_at_checked(3)).unwrap_or_default();
        // Letters become letters; a maker with a digit is an oddity and may get any.
        let letters_only = maker.bytes().all(|b| b.is_ascii_uppercase());
        let (base, first) = if letters_only { (26, 10) } else { (36, 0) };
        let digit = |b: u8| u64::from(char::from(b).to_digit(36).unwrap_or(0)).saturating_sub(first);
        let value = maker.bytes().fold(0, |sum, b| sum * base + digit(b));
        let mut value = self.keyed.permuted(Domain::SentenceMaker, value, base.pow(3));
        let mut letters = [b'0'; 3];
        for letter in letters.iter_mut().rev() {
            let digit = char::from_digit((value % base + first) as u32, 36).unwrap_or('0');
            *letter = digit.to_ascii_uppercase() as u8;
            value /= base;
        }
        let rest = self.keyed.pseudonym(TextKind::Maker, rest.as_bytes());
        let text = [b"P".as_slice(), &letters, &rest].concat();
        String::from_utf8(text).unwrap_or_else(|_| name.to_owned())
    }

    fn rename(&mut self, kind: TextKind, part: &mut [u8]) {
        let text = part.trim_ascii().to_vec();
        let start = part.len() - part.trim_ascii_start().len();
        let pseudonym = self.pseudonym(kind, &text);
        write(part.get_mut(start..), &pseudonym);
    }

    fn satellite_field(&mut self, part: &mut [u8]) {
        match number(part).filter(|id| *id > 0 && is_digits(part)) {
            Some(id) => {
                let id = self.satellite(id);
                if !write_number(part, id) {
                    zero(part);
                }
            }
            None => keep_if(part, |_| false),
        }
    }

    /// Four fields of a place; anything that is none is blanked.
    fn place(&mut self, time: Option<Time>, lat: &mut [u8], rest: &mut Fields<'_>) {
        let parts = (rest.next(), rest.next(), rest.next());
        let (Some(north), Some(lon), Some(east)) = parts else {
            blank(lat);
            [parts.0, parts.1, parts.2].into_iter().flatten().for_each(blank);
            return;
        };
        let hemispheres = [(&*north, *b"NS"), (&*east, *b"EW")]
            .map(|(part, letters)| matches!(part.trim_ascii(), [b] if letters.contains(b)));
        let place = coordinate::read(lat, north, lon, east);
        let Some(place) = place else {
            // Half a place, or none that there can be: what is empty stays empty.
            blank(lat);
            blank(lon);
            for (part, sound) in [north, east].into_iter().zip(hemispheres) {
                keep_if(part, |_| sound);
            }
            return;
        };
        let new = self.moved(time, place);
        coordinate::write(new.lat_deg, lat, north, *b"NS", 2);
        coordinate::write(new.lon_deg, lon, east, *b"EW", 3);
    }

    fn date(&self, part: &mut [u8]) {
        let &[a, b, c, d, e, f] = part.trim_ascii() else { return keep_if(part, |_| false) };
        let pair = |a: u8, b: u8| match (a, b) {
            (b'0'..=b'9', b'0'..=b'9') => Some(i64::from((a - b'0') * 10 + (b - b'0'))),
            _ => number(&[a, b]).map(|n| n as i64),
        };
        let year = pair(e, f).map(|year| if year < 80 { 2000 + year } else { 1900 + year });
        let days = year.and_then(|year| days_from_civil(year, pair(c, d)?, pair(a, b)?));
        let Some(days) = days else { return keep_if(part, |_| false) };
        let (year, month, day) = civil(days.saturating_add(self.shift_days()));
        let start = part.len() - part.trim_ascii_start().len();
        for (n, value) in [day, month, year.rem_euclid(100)].into_iter().enumerate() {
            let at = start + 2 * n;
            write_number(part.get_mut(at..at + 2).unwrap_or_default(), value as u64);
        }
    }

    fn long_date(&self, day: &mut [u8], rest: &mut Fields<'_>) {
        let parts = (rest.next(), rest.next());
        let (Some(month), Some(year)) = parts else {
            blank(day);
            [parts.0, parts.1].into_iter().flatten().for_each(blank);
            return;
        };
        let whole = |part: &[u8]| number(part).map(|n| n as i64);
        let days = whole(year).and_then(|year| days_from_civil(year, whole(month)?, whole(day)?));
        if let Some(days) = days {
            let (new_year, new_month, new_day) = civil(days.saturating_add(self.shift_days()));
            for (part, value) in [(day, new_day), (month, new_month), (year, new_year)] {
                // A year before the first has its sign.
                let (sign, digits) = part.split_at_mut_checked(usize::from(value < 0)).unwrap_or_default();
                if write_number(digits, value.unsigned_abs()) {
                    sign.fill(b'-');
                } else {
                    zero(part);
                }
            }
        } else {
            for part in [day, month, year] {
                keep_if(part, |_| false);
            }
        }
    }

    fn mac_text(&mut self, part: &mut [u8]) {
        let digits: Option<Vec<u8>> =
            part.iter().map(|b| char::from(*b).to_digit(16).map(|d| d as u8)).collect();
        let bytes: Vec<u8> =
            digits.unwrap_or_default().as_chunks::<2>().0.iter().map(|[high, low]| high << 4 | low).collect();
        let Ok(mut mac) = <[u8; 6]>::try_from(bytes) else { return blank(part) };
        self.mac(&mut mac);
        let text: String = mac.iter().map(|b| format!("{b:02X}")).collect();
        write(Some(part), text.as_bytes());
    }
}

/// Blanks all fields but letters of a sentence that is not what its name says.
fn letters_only(line: Line, body: &mut [u8]) {
    let mut fields = Fields { rest: Some(body) };
    fields.next();
    let mut n = 0;
    while let Some(part) = fields.next() {
        let is_letter = line.act(n) == Some(Act::Letter);
        keep_if(part, |text| is_letter && matches!(text, [b] if b.is_ascii_alphabetic()));
        n += 1;
    }
}

/// The fields of a sentence that are still to come.
pub(super) struct Fields<'a> {
    /// From the next one on, without the comma in front of it.
    rest: Option<&'a mut [u8]>,
}

impl<'a> Fields<'a> {
    pub(super) fn next(&mut self) -> Option<&'a mut [u8]> {
        let rest = self.rest.take()?;
        // Fields are short: looking at byte after byte is the quickest way.
        let Some(comma) = rest.iter().position(|b| *b == b',') else { return Some(rest) };
        let (part, behind) = rest.split_at_mut_checked(comma)?;
        self.rest = behind.get_mut(1..);
        Some(part)
    }
}

/// Makes the checksum behind `end` good again, or leaves it as bad as it was.
fn seal(line: &mut [u8], start: usize, end: usize, checksum: Checksum) {
    let wrong = match checksum {
        Checksum::Absent => return,
        Checksum::Good => 0,
        Checksum::Bad { said, computed } => said ^ computed,
    };
    let sum = line.get(start + 1..end).unwrap_or_default().iter().fold(wrong, |sum, b| sum ^ b);
    let digits = line.get_mut(end + 1..end + 3);
    let lower = digits.as_ref().is_some_and(|digits| digits.iter().any(u8::is_ascii_lowercase));
    let digit = |four: u8| {
        let digit = char::from_digit(u32::from(four), 16).unwrap_or('0');
        (if lower { digit } else { digit.to_ascii_uppercase() }) as u8
    };
    write(digits, &[digit(sum >> 4), digit(sum & 0xF)]);
}

/// Blanks a line that is no sentence, so that it is none for the same reason still. What looks like an address, letters and
/// digits up to a comma, still does: a reader takes a text log for what its first such line is.
fn garble(old: &[u8], new: &mut [u8]) {
    let fault = Sentence::parse(old).err();
    let star = old.iter().position(|b| *b == b'*');
    let sum = star.and_then(|at| old.get(at + 1..)).map(<[u8]>::trim_ascii_end);
    let sound_sum = sum.is_some_and(|sum| sum.len() == 2 && sum.iter().all(u8::is_ascii_hexdigit));
    for (at, byte) in new.iter_mut().enumerate() {
        *byte = match *byte {
            b'$' | b'!' | b'*' | b',' | b'\\' => *byte,
            _ if byte.is_ascii_whitespace() => *byte,
            0x21..=0x7E if sound_sum && star.is_some_and(|star| at > star) => b'0',
            _ if byte.is_ascii_alphanumeric() => BLANK,
            0x21..=0x7E => b'.',
            _ => 0x7F,
        };
    }
    let first = keep_begin(old, new);
    if Sentence::parse(new).err() == fault {
        return;
    }
    // By chance it is whole now, or it was broken for a reason that only its letters told. A byte that is no character is
    // garbled too; and what was no damaged sentence becomes mere text.
    let garbled = fault.is_none_or(nmea0183::Fault::is_garbled);
    let head = if garbled { new.iter().position(|b| matches!(b, b'$' | b'!' | b'\\')) } else { None };
    let from = head.map_or(0, |head| head + 1);
    let address = new.iter().skip(from).take_while(|byte| byte.is_ascii_alphanumeric()).count() + 1;
    let is_more = new.iter().skip(from + address).any(|byte| !byte.is_ascii_whitespace());
    let from = if garbled && is_more { from + address } else { from + usize::from(garbled && first) };
    // One byte that is no character is enough: of many the packet around them would be taken for no text.
    let mut mark = garbled;
    for byte in new.iter_mut().skip(from).filter(|b| !b.is_ascii_whitespace()) {
        *byte = if std::mem::take(&mut mark) { 0x7F } else { BLANK };
    }
}

/// Keeps a capital or a digit behind the first mark, though not which: a datagram is taken for lines by its first one, and
/// with it stand or fall all its others. Whether there is one.
fn keep_begin(old: &[u8], new: &mut [u8]) -> bool {
    let Some(at) = old.iter().position(|byte| !byte.is_ascii_whitespace()) else { return false };
    let Some([b'$' | b'!', next]) = old.get(at..at + 2) else { return false };
    let kept = match next {
        b'A'..=b'Z' => BLANK.to_ascii_uppercase(),
        b'0'..=b'9' => b'0',
        _ => return false,
    };
    write(new.get_mut(at + 1..), &[kept]);
    true
}

pub(super) fn write(to: Option<&mut [u8]>, from: &[u8]) {
    for (to, from) in to.unwrap_or_default().iter_mut().zip(from) {
        *to = *from;
    }
}

/// Blanks a field; one that is empty but for blanks stays so.
fn blank(part: &mut [u8]) {
    keep_if(part, |_| false);
}

pub(super) fn keep_if(part: &mut [u8], sound: impl Fn(&[u8]) -> bool) {
    let text = part.trim_ascii();
    if !text.is_empty() && !sound(text) {
        part.fill(BLANK);
    }
}

/// Writes a number over a field, with zeros in front; `false` when it does not fit.
fn write_number(part: &mut [u8], number: u64) -> bool {
    let too_many = u32::try_from(part.len()).ok().and_then(|digits| 10_u64.checked_pow(digits));
    if too_many.is_some_and(|least| number >= least) {
        return false;
    }
    let mut rest = number;
    for digit in part.iter_mut().rev() {
        *digit = b'0' + (rest % 10) as u8;
        rest /= 10;
    }
    true
}

/// A number becomes zero, at its length; anything else is blanked.
fn zero(part: &mut [u8]) {
    if !is_number(part.trim_ascii()) {
        return blank(part);
    }
    for byte in part.iter_mut().filter(|b| !matches!(b, b'.' | b' ')) {
        *byte = b'0';
    }
}

pub(super) fn is_number(text: &[u8]) -> bool {
    let digits = match text {
        [b'-' | b'+', digits @ ..] => digits,
        _ => text,
    };
    let mut points = 0;
    text.len() <= MAX_NUMBER
        && digits.iter().all(|b| {
            points += usize::from(*b == b'.');
            b.is_ascii_digit() || *b == b'.'
        })
        && points <= 1
}

fn is_digits(text: &[u8]) -> bool {
    text.len() <= MAX_NUMBER && text.iter().all(u8::is_ascii_digit)
}

pub(super) fn number(text: &[u8]) -> Option<u64> {
    str::from_utf8(text).ok()?.trim_ascii().parse().ok()
}
