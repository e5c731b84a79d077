//! Joins the fragments of AIS messages.

use super::bits::{Bits, unarmoured};
use super::{AisMessage, message};
use crate::messages::nmea0183::Sentence;

/// Messages whose fragments are waited for at once; the oldest gives way.
const MAX_PENDING: usize = 16;

/// Characters of one message; ITU-R M.1371-5 knows at most 1064 bits, five slots.
const MAX_SEXTETS: usize = 256;

/// Why a VDM or VDO gave no message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, thiserror::Error)]
pub enum AisFault {
    /// The sentence is neither VDM nor VDO.
    #[error("no AIS sentence")]
    NotAis,
    /// Fragment numbers, fill bits or armour that cannot be, or more bits than any message has.
    #[error("malformed AIS sentence")]
    Malformed,
    /// A later fragment whose forerunner did not come.
    #[error("AIS fragment without its forerunner")]
    Orphan,
    /// Fewer bits than the message type needs.
    #[error("AIS message too short for its type")]
    Short,
}

/// What the fragments of one message have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Key {
    talker: [u8; 2],
    own: bool,
    total: u8,
    sequence: Option<u8>,
    channel: Option<u8>,
}

/// A message whose fragments are not all there.
#[derive(Debug)]
struct Pending {
    key: Key,
    next: u8,
    sextets: Vec<u8>,
}

/// Takes sentences and gives messages; keeps fragments, at most `MAX_PENDING` messages of them.
#[derive(Debug, Default)]
pub struct Assembler {
    pending: Vec<Pending>,
    scratch: Vec<u8>,
}

impl Assembler {
    /// Takes a VDM or VDO (one with a good checksum). `None` while fragments are outstanding.
    ///
    /// # Errors
    /// [`AisFault`], when the sentence gives no message and begins none.
    pub fn push(&mut self, s: &Sentence<'_>) -> Result<Option<AisMessage>, AisFault> {
        let own = match s.formatter() {
            Some("VDM") => false,
            Some("VDO") => true,
            _ => return Err(AisFault::NotAis),
        };
        let total: u8 = s.whole(1).filter(|n| (1..=9).contains(n)).ok_or(AisFault::Malformed)?;
        let number: u8 = s.whole(2).filter(|n| (1..=total).contains(n)).ok_or(AisFault::Malformed)?;
        let fill: usize = if s.text(6).is_ok() { s.whole(6).ok_or(AisFault::Malformed)? } else { 0 };
        let payload = s.field(5).ok_or(AisFault::Malformed)?;
        if fill > 5 {
            return Err(AisFault::Malformed);
        }
        if total == 1 {
            self.scratch.clear();
            append(payload, &mut self.scratch)?;
            return read(&self.scratch, fill, own);
        }
        let talker: [u8; 2] = s.talker().as_bytes().try_into().map_err(|_| AisFault::Malformed)?;
        let first = |n| s.field(n).and_then(|text| text.bytes().next());
        let key = Key { talker, own, total, sequence: first(3), channel: first(4) };
        if number == 1 {
            return self.begin(key, payload).map(|()| None);
        }
        let at = self.pending.iter().position(|p| p.key == key).ok_or(AisFault::Orphan)?;
        let mut pending = self.pending.remove(at);
        if pending.next != number {
            return Err(AisFault::Orphan);
        }
        append(payload, &mut pending.sextets)?;
        if number == total {
            return read(&pending.sextets, fill, own);
        }
        pending.next += 1;
        self.pending.push(pending);
        Ok(None)
    }

    fn begin(&mut self, key: Key, payload: &str) -> Result<(), AisFault> {
        self.pending.retain(|p| p.key != key);
        if self.pending.len() >= MAX_PENDING {
            self.pending.remove(0);
        }
        let mut sextets = Vec::new();
        append(payload, &mut sextets)?;
        self.pending.push(Pending { key, next: 2, sextets });
        Ok(())
    }
}

fn append(payload: &str, sextets: &mut Vec<u8>) -> Result<(), AisFault> {
    if sextets.len() + payload.len() > MAX_SEXTETS {
        return Err(AisFault::Malformed);
    }
    for character in payload.bytes() {
        sextets.push(unarmoured(character).ok_or(AisFault::Malformed)?);
    }
    Ok(())
}

fn read(sextets: &[u8], fill: usize, own: bool) -> Result<Option<AisMessage>, AisFault> {
    message(&Bits::new(sextets, fill), own).map(Some).ok_or(AisFault::Short)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn push(assembler: &mut Assembler, line: &str) -> Result<Option<AisMessage>, AisFault> {
        assembler.push(&Sentence::parse(line.as_bytes()).unwrap())
    }

    #[test]
    fn fragments_must_come_in_order() {
        let mut a = Assembler::default();
        assert_eq!(push(&mut a, "!AIVDM,2,2,1,A,88888888880,2"), Err(AisFault::Orphan));
        assert_eq!(push(&mut a, "!AIVDM,3,1,1,A,55?MbV0,0"), Ok(None));
        assert_eq!(push(&mut a, "!AIVDM,3,3,1,A,88,2"), Err(AisFault::Orphan));
        assert_eq!(push(&mut a, "!AIVDM,3,2,1,A,88,2"), Err(AisFault::Orphan), "given up");
    }

    #[test]
    fn rejects_what_cannot_be() {
        let mut a = Assembler::default();
        for line in
            ["!AIVDM,0,1,,A,1,0", "!AIVDM,1,2,,A,1,0", "!AIVDM,1,1,,A,1,6", "!AIVDM,1,1,,A,1X,0", "!AIVDM,1"]
        {
            assert_eq!(push(&mut a, line), Err(AisFault::Malformed), "{line}");
        }
        assert_eq!(push(&mut a, "!AIVDM,1,1,,A,15RTgt0PAso;90,0"), Err(AisFault::Short));
        assert_eq!(push(&mut a, "$GPRMC,1"), Err(AisFault::NotAis));
    }

    #[test]
    fn memory_is_bounded() {
        let mut a = Assembler::default();
        for n in 0..100u8 {
            let channel = char::from(b'A' + n % 26);
            let line =
                format!("!{}VDM,9,1,{},{channel},55?MbV0,0", ["AI", "AB", "BS"][usize::from(n % 3)], n % 10);
            assert_eq!(push(&mut a, &line), Ok(None));
            assert!(a.pending.len() <= MAX_PENDING);
        }
        assert_eq!(a.pending.len(), MAX_PENDING);
    }

    proptest! {
        #[test]
        fn any_payload_does_no_harm(payload in "[0-W`-w]{0,90}", kind in 0usize..9, fill in 0u8..6) {
            let mut a = Assembler::default();
            let payload = payload.replace(['*', '$', '!'], "0");
            let first = ["1", "2", "3", "4", "5", "B", "C", "H", ""][kind];
            let _ = push(&mut a, &format!("!AIVDM,1,1,,A,{first}{payload},{fill}"));
        }
    }
}
