//! One line of NMEA 0183 text whose frame is checked: start, address, checksum. Nothing is allocated.
//!
//! Source: NMEA 0183 clause 5, IEC 61162-1 clause 7 (start, address, fields, checksum, 82 characters).

use super::Sentence;
use super::scan::{Commas, MAX_INDEXED, Scan, usual_front};
use super::tag_block::TagBlock;
use memchr::memchr;

/// Longest line that is looked at, TAG block included. The standard says 82, precise receivers send more.
pub const MAX_LINE: usize = 1024;

/// Characters of a sentence with its CR LF (NMEA 0183 clause 5.3).
const STANDARD_LENGTH: usize = 82;

/// Why a line is no sentence that can be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, thiserror::Error)]
pub enum Fault {
    /// The line does not begin with `$` or `!`.
    #[error("no start character")]
    NoStart,
    /// A TAG block stands alone on the line, as a group's head may. Not damage.
    #[error("a TAG block without a sentence")]
    TagOnly,
    /// The line begins with `\` and the TAG block never ends.
    #[error("a TAG block that does not end")]
    TagBlock,
    /// More than [`MAX_LINE`] bytes.
    #[error("line too long")]
    TooLong,
    /// A byte outside 0x20 to 0x7E.
    #[error("a byte that is no printable character")]
    IllegalByte,
    /// A second start character: two sentences run together.
    #[error("two sentences run together")]
    Merged,
    /// `*` is not followed by exactly two hexadecimal digits and the end of the line.
    #[error("the checksum is cut or out of place")]
    Checksum,
    /// The address is neither five capitals and digits nor a proprietary one.
    #[error("no proper address")]
    Address,
}

impl Fault {
    /// Whether the line is a damaged sentence (and not text or a lone TAG block).
    #[must_use]
    pub const fn is_garbled(self) -> bool {
        !matches!(self, Self::NoStart | Self::TagOnly)
    }
}

/// What the checksum says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Checksum {
    /// It fits.
    Good,
    /// It does not fit.
    Bad {
        /// What the line says.
        said: u8,
        /// What its characters give.
        computed: u8,
    },
    /// The line has no `*hh`: an old talker, or cut.
    Absent,
}

impl Checksum {
    /// Compares the two hexadecimal digits after `*` with the computed sum; `None` when they are not that.
    pub(super) fn compare(digits: &[u8], computed: u8) -> Option<Self> {
        let &[high, low] = digits else { return None };
        let said = (char::from(high).to_digit(16)? << 4 | char::from(low).to_digit(16)?) as u8;
        Some(if said == computed { Self::Good } else { Self::Bad { said, computed } })
    }
}

/// Who speaks, and what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Address<'a> {
    /// A talker's sentence: `SD` `DPT`.
    Talker {
        /// Talker identifier, two characters.
        talker: &'a str,
        /// Sentence formatter, three characters.
        formatter: &'a str,
    },
    /// A maker's own sentence: the address from its `P` on.
    Proprietary(&'a str),
    /// A question for a sentence, whose formatter stands in field 1.
    Query {
        /// Talker that asks.
        asker: &'a str,
        /// Talker that is asked.
        asked: &'a str,
    },
}

/// A sentence, borrowed from its line, whose fields were not looked for.
#[derive(Debug, Clone, Copy)]
pub struct Framed<'a> {
    tag: Option<TagBlock<'a>>,
    /// From the start character to the last field: printable ASCII, as [`parse`](Self::parse) has seen to.
    text: &'a [u8],
    outline: Outline,
}

/// Where the parts of a sentence stand in its text, so that it need not be looked over twice; small, for it goes from one
/// core's cache to another's. No offset or count is above [`MAX_LINE`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outline {
    kind: AddressKind,
    checksum: Checksum,
    /// Bytes of the sentence without TAG block and line end.
    length: u16,
    commas: Commas,
}

/// As [`Address`], without its text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum AddressKind {
    Talker = TALKER as isize,
    Proprietary = PROPRIETARY as isize,
    Query,
}

const TALKER: u16 = 0;
const PROPRIETARY: u16 = 1;

impl Outline {
    /// In three words, when the checksum fits; [`of_words`](Self::of_words) has it again.
    #[must_use]
    pub fn words(&self) -> Option<[u64; 3]> {
        let [first, second] = self.commas.marks;
        let rest = u64::from(self.length) << 32 | u64::from(self.commas.count) << 16 | self.kind as u64;
        (self.checksum == Checksum::Good).then_some([first, second, rest])
    }

    /// What [`words`](Self::words) were made of.
    #[must_use]
    pub const fn of_words([first, second, rest]: [u64; 3]) -> Self {
        let kind = match rest as u16 {
            TALKER => AddressKind::Talker,
            PROPRIETARY => AddressKind::Proprietary,
            _ => AddressKind::Query,
        };
        let commas = Commas { marks: [first, second], count: (rest >> 16) as u16 };
        Self { kind, checksum: Checksum::Good, length: (rest >> 32) as u16, commas }
    }

    /// Bytes of the sentence without TAG block and line end.
    #[must_use]
    pub const fn length(&self) -> usize {
        self.length as usize
    }

    /// Offsets of the first commas, and how many are known.
    #[inline]
    pub(super) fn commas(&self) -> ([u8; MAX_INDEXED], u8) {
        self.commas.offsets()
    }
}

impl<'a> Framed<'a> {
    /// What to keep of a sentence, apart from its TAG block, to have it [again](Self::of).
    #[must_use]
    pub const fn outline(&self) -> (Outline, &'a [u8]) {
        (self.outline, self.text)
    }

    /// The sentence again, without TAG block, from what [`outline`](Self::outline) gave.
    #[must_use]
    pub const fn of(outline: &Outline, text: &'a [u8]) -> Self {
        Self { tag: None, text, outline: *outline }
    }

    /// From the start character to the last field.
    pub(super) const fn text(&self) -> &'a [u8] {
        self.text
    }

    /// The sentence with its fields.
    #[must_use]
    pub fn sentence(self) -> Sentence<'a> {
        Sentence::of(self)
    }

    /// Takes a line apart. A TAG block may stand in front, white space around.
    ///
    /// A checksum that does not fit is no fault: it is told by [`checksum`](Self::checksum).
    ///
    /// # Errors
    /// [`Fault`], when the line is no sentence or a damaged one.
    pub fn parse(line: &'a [u8]) -> Result<Self, Fault> {
        let line = line.trim_ascii();
        if line.len() > MAX_LINE {
            return Err(Fault::TooLong);
        }
        let (tag, bytes) = match line.first() {
            Some(b'\\') => {
                let (tag, rest) = TagBlock::split(line).ok_or(Fault::TagBlock)?;
                (Some(tag), rest.trim_ascii_start())
            }
            _ => (None, line),
        };
        match bytes.first() {
            Some(b'$' | b'!') => {}
            None if tag.is_some() => return Err(Fault::TagOnly),
            _ => return Err(Fault::NoStart),
        }
        let scan = Scan::over(bytes)?;
        let checksum = match scan.star {
            None => Some(Checksum::Absent),
            Some(at) => Checksum::compare(bytes.get(at + 1..).unwrap_or_default(), scan.sum),
        };
        if let Some(at) = scan.second_start
            && (checksum != Some(Checksum::Good) || begins_sentence(bytes.get(at + 1..).unwrap_or_default()))
        {
            return Err(Fault::Merged);
        }
        let checksum = checksum.ok_or(Fault::Checksum)?;
        let text = bytes.get(..scan.star.unwrap_or(bytes.len())).unwrap_or_default();
        let end = scan.commas.first(text);
        let kind = address(text.get(1..end).unwrap_or_default()).ok_or(Fault::Address)?;
        // Lines have at most `MAX_LINE` bytes.
        let length = bytes.len() as u16;
        Ok(Self { tag, text, outline: Outline { kind, checksum, length, commas: scan.commas } })
    }

    /// The outline of the sentence with which `bytes` begin, when it is of usual characters alone, from `+` to `~`, and its
    /// checksum fits and ends the line; of other sentences [`parse`](Self::parse) must look at the line.
    #[must_use]
    pub fn front(bytes: &[u8]) -> Option<Outline> {
        let (b'$' | b'!', inner) = bytes.split_first()? else { return None };
        let (sum, commas, end) = usual_front(inner);
        let (fields, behind) = inner.split_at_checked(end)?;
        let (b'*', digits) = behind.split_first()? else { return None };
        let (digits, behind) = digits.split_first_chunk::<2>()?;
        let length = end + 4;
        if length > MAX_LINE || !matches!(behind, [] | [b'\r' | b'\n', ..]) {
            return None;
        }
        let checksum = Checksum::compare(digits, sum).filter(|checksum| *checksum == Checksum::Good)?;
        let first = commas.first(bytes.get(..=end)?) - 1;
        let kind = address(fields.get(..first)?)?;
        Some(Outline { kind, checksum, length: length as u16, commas })
    }

    /// The TAG block in front, if any.
    #[must_use]
    pub const fn tag(&self) -> Option<&TagBlock<'a>> {
        self.tag.as_ref()
    }

    /// Who speaks, and what.
    #[must_use]
    pub fn address(&self) -> Address<'a> {
        match self.outline.kind {
            AddressKind::Talker => {
                Address::Talker { talker: text(self.part(1, 3)), formatter: text(self.part(3, 6)) }
            }
            AddressKind::Query => {
                Address::Query { asker: text(self.part(1, 3)), asked: text(self.part(3, 5)) }
            }
            AddressKind::Proprietary => Address::Proprietary(self.name()),
        }
    }

    fn part(&self, from: usize, to: usize) -> &'a [u8] {
        self.text.get(from..to).unwrap_or_default()
    }

    /// The address as it stands in the line: `SDDPT`, `PABC`, `CCGPQ`.
    #[must_use]
    pub fn name(&self) -> &'a str {
        text(self.name_bytes())
    }

    /// As [`name`](Self::name), as bytes.
    #[must_use]
    #[inline]
    pub fn name_bytes(&self) -> &'a [u8] {
        self.part(1, self.outline.commas.first(self.text))
    }

    /// Talker identifier: `SD`; the asker's of a query; `P` of a proprietary sentence.
    #[must_use]
    pub fn talker(&self) -> &'a str {
        text(self.talker_bytes())
    }

    /// As [`talker`](Self::talker), as bytes.
    #[must_use]
    #[inline]
    pub fn talker_bytes(&self) -> &'a [u8] {
        match self.outline.kind {
            AddressKind::Talker | AddressKind::Query => self.part(1, 3),
            AddressKind::Proprietary => b"P",
        }
    }

    /// Sentence formatter: `DPT`; `None` for proprietary sentences and queries.
    #[must_use]
    pub fn formatter(&self) -> Option<&'a str> {
        self.formatter_bytes().map(|letters| text(letters))
    }

    /// As [`formatter`](Self::formatter), as bytes.
    #[must_use]
    #[inline]
    pub fn formatter_bytes(&self) -> Option<&'a [u8; 3]> {
        match self.outline.kind {
            AddressKind::Talker => self.part(3, 6).first_chunk(),
            AddressKind::Query | AddressKind::Proprietary => None,
        }
    }

    /// Whether the sentence begins with `!` (encapsulated data, such as AIS).
    #[must_use]
    pub fn is_encapsulated(&self) -> bool {
        self.text.starts_with(b"!")
    }

    /// What the checksum says.
    #[must_use]
    pub const fn checksum(&self) -> Checksum {
        self.outline.checksum
    }

    /// Whether the sentence, with the CR LF that it owes, is longer than the standard's 82 characters.
    #[must_use]
    pub const fn over_82(&self) -> bool {
        self.outline.length as usize + 2 > STANDARD_LENGTH
    }

    /// Number of fields after the address.
    #[must_use]
    pub const fn field_count(&self) -> usize {
        self.outline.commas.count as usize
    }
}

/// The text that a sentence's bytes are.
pub(super) fn text(bytes: &[u8]) -> &str {
    str::from_utf8(bytes).unwrap_or_default()
}

/// Whether the bytes after a start character look like an address. A careless talker writes `!` into its text; when
/// the checksum fits and no address follows, the line is whole.
fn begins_sentence(bytes: &[u8]) -> bool {
    memchr(b',', bytes).and_then(|end| bytes.get(..end)).is_some_and(|bytes| address(bytes).is_some())
}

/// What kind of address a field is; `None` when it is malformed.
fn address(bytes: &[u8]) -> Option<AddressKind> {
    let capital = |b: &u8| b.is_ascii_uppercase() || b.is_ascii_digit();
    if bytes.first() == Some(&b'P') && bytes.len() > 3 {
        let sound = bytes.iter().take(4).all(capital) && bytes.iter().all(u8::is_ascii_alphanumeric);
        return sound.then_some(AddressKind::Proprietary);
    }
    let five = bytes.as_array::<5>()?;
    // Without a way out in between: nearly all addresses are sound.
    let sound = five.iter().fold(true, |all, byte| all & capital(byte));
    sound.then_some(if five[4] == b'Q' { AddressKind::Query } else { AddressKind::Talker })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn tells_good_bad_and_absent_checksums() {
        let state = |line: &'static [u8]| Framed::parse(line).map(|s| s.checksum());
        assert_eq!(state(b"$GPVTG,,T,,M,,N,,K,N*2c"), Ok(Checksum::Good));
        assert_eq!(state(b"$SDDPT,15.2,0.5*68"), Ok(Checksum::Bad { said: 0x68, computed: 0x64 }));
        assert_eq!(state(b"$SDDPT,15.2,0.5"), Ok(Checksum::Absent));
        assert_eq!(state(b"$SDDPT,15.2,0.5*6"), Err(Fault::Checksum));
        assert_eq!(state(b"$SDDPT,15.2,0.5*64,7"), Err(Fault::Checksum));
        assert_eq!(state(b"$SDDPT,15.2,0.5*6g"), Err(Fault::Checksum));
    }

    #[test]
    fn tells_what_is_garbled() {
        let fault = |line: &'static [u8]| Framed::parse(line).err();
        assert_eq!(fault(b"$SDDPT,15.$SDDPT,15.2,0.5*64"), Some(Fault::Merged));
        assert_eq!(fault(b"$SDDPT,15.2,0.5*64!AIVDM,1,1,,A,0,0*00"), Some(Fault::Merged));
        assert_eq!(fault(b"$SDDPT,15\x80.2,0.5*64"), Some(Fault::IllegalByte));
        assert_eq!(fault(b"$STI,IC,error=4"), Some(Fault::Address));
        assert_eq!(fault(b"$,1,2"), Some(Fault::Address));
        assert_eq!(fault(b"5.2,0.5*64"), Some(Fault::NoStart));
        assert_eq!(fault(b""), Some(Fault::NoStart));
        assert_eq!(fault(b"\\g:1-2-73874*61\\"), Some(Fault::TagOnly));
        assert_eq!(fault(b"\\g:1-2-73874*61$SDDPT"), Some(Fault::TagBlock));
        assert_eq!(Framed::parse(&[b'$'; MAX_LINE + 1]).err(), Some(Fault::TooLong));
        assert!(Fault::Merged.is_garbled() && !Fault::NoStart.is_garbled() && !Fault::TagOnly.is_garbled());
    }

    /// A mark in a text whose checksum fits is text; with an address behind it, it is a sentence run in.
    #[test]
    fn forgives_a_mark_in_good_text() {
        assert!(Framed::parse(b"$GPTXT,01,01,02,HELLO!*2E").is_ok());
        let merged = b"$GPTXT,01,$SDDPT,15.2*09";
        assert_eq!(Framed::parse(merged).err(), Some(Fault::Merged));
    }

    #[test]
    fn reads_other_addresses() {
        let address = |line: &'static [u8]| Framed::parse(line).map(|s| (s.address(), s.name()));
        let query = Address::Query { asker: "CC", asked: "GP" };
        assert_eq!(address(b"$CCGPQ,GGA*2B"), Ok((query, "CCGPQ")));
        assert_eq!(address(b"$PABC,1,2*13"), Ok((Address::Proprietary("PABC"), "PABC")));
        assert_eq!(address(b"$P"), Err(Fault::Address));
    }

    #[test]
    fn counts_to_82() {
        let mut line = b"$GPTXT,".to_vec();
        line.resize(80, b'x');
        assert!(!Framed::parse(&line).unwrap().over_82());
        line.push(b'x');
        assert!(Framed::parse(&line).unwrap().over_82());
    }

    proptest! {
        #[test]
        fn any_bytes_do_no_harm(mut bytes in proptest::collection::vec(any::<u8>(), 0..200), start in 0..4usize) {
            if let Some(first) = bytes.first_mut() {
                *first = [b'$', b'!', b'\\', *first][start];
            }
            if let Ok(s) = Framed::parse(&bytes) {
                let (outline, text) = s.outline();
                let again = Framed::of(&outline, text);
                prop_assert_eq!((s.address(), s.name()), (again.address(), again.name()));
                prop_assert_eq!(s.sentence().fields().count(), s.field_count());
                let words = outline.words();
                prop_assert_eq!(words.is_some(), s.checksum() == Checksum::Good);
                prop_assert!(words.is_none_or(|words| Outline::of_words(words) == outline));
            }
        }
    }
}
