//! The bit string of an AIS message: six bits a character, most significant first.

/// Sextets and how many of their bits count.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bits<'a> {
    sextets: &'a [u8],
    len: usize,
}

impl<'a> Bits<'a> {
    /// Bits of these sextets (values 0 to 63) without the last `fill` ones.
    pub(super) const fn new(sextets: &'a [u8], fill: usize) -> Self {
        Self { sextets, len: (sextets.len() * 6).saturating_sub(fill) }
    }

    /// An unsigned number of at most 32 bits; `None` when it does not lie within the string.
    pub(super) fn unsigned(&self, at: usize, length: usize) -> Option<u32> {
        if at + length > self.len {
            return None;
        }
        let end = at + length;
        let sextets = self.sextets.get(at / 6..end.div_ceil(6))?;
        // At most seven sextets, 42 bits.
        let all = sextets.iter().fold(0u64, |all, &six| all << 6 | u64::from(six));
        let past = end.div_ceil(6) * 6 - end;
        Some((all >> past & ((1 << length) - 1)) as u32)
    }

    /// A number in two's complement of 1 to 32 bits.
    pub(super) fn signed(&self, at: usize, length: usize) -> Option<i32> {
        let shift = 32 - length as u32;
        Some(((self.unsigned(at, length)? << shift) as i32) >> shift)
    }

    /// Text of at most `characters` characters up to `@`, blanks at its end cut; `None` when nothing is left. Text
    /// that the string cuts short is given as far as it goes (some senders leave out the end of a name).
    pub(super) fn text(&self, at: usize, characters: usize) -> Option<String> {
        let values = (0..characters).map_while(|n| self.unsigned(at + n * 6, 6)).take_while(|&v| v != 0);
        let text: String = values.map(|v| char::from(if v < 32 { v as u8 + 64 } else { v as u8 })).collect();
        let text = text.trim_end();
        (!text.is_empty()).then(|| text.to_owned())
    }
}

/// The value of an armour character, `0` to `W` and `` ` `` to `w`.
pub(super) const fn unarmoured(character: u8) -> Option<u8> {
    match character {
        b'0'..=b'W' => Some(character - 48),
        b'`'..=b'w' => Some(character - 56),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_cross_sextets() {
        // 000001 100000 111111
        let bits = Bits::new(&[1, 32, 63], 2);
        assert_eq!(bits.unsigned(0, 6), Some(1));
        assert_eq!(bits.unsigned(5, 2), Some(3));
        assert_eq!(bits.signed(5, 2), Some(-1));
        assert_eq!(bits.unsigned(12, 4), Some(15));
        assert_eq!(bits.unsigned(12, 5), None);
        assert_eq!(Bits::new(&[], 5).unsigned(0, 1), None);
    }

    #[test]
    fn text_ends_at_its_mark() {
        // H I @ X; then without its end.
        assert_eq!(Bits::new(&[8, 9, 0, 24], 0).text(0, 4).as_deref(), Some("HI"));
        assert_eq!(Bits::new(&[8, 9, 32], 0).text(0, 20).as_deref(), Some("HI"));
        assert_eq!(Bits::new(&[0, 9], 0).text(0, 2), None);
    }

    #[test]
    fn armour() {
        assert_eq!([b'0', b'W', b'`', b'w'].map(unarmoured), [Some(0), Some(39), Some(40), Some(63)]);
        assert_eq!([b'/', b'X', b'_', b'x', b' '].map(unarmoured), [None; 5]);
    }
}
