//! The bits of an AIS payload, read and written: six a character, most significant first.

/// The value of an armour character, `0` to `W` and `` ` `` to `w` (IEC 61162-1, VDM).
pub(super) const fn unarmoured(character: u8) -> Option<u8> {
    match character {
        b'0'..=b'W' => Some(character - 48),
        b'`'..=b'w' => Some(character - 56),
        _ => None,
    }
}

/// The armour character of a value of 0 to 63.
pub(super) const fn armoured(value: u8) -> u8 {
    let value = value & 63;
    if value < 40 { value + 48 } else { value + 56 }
}

/// The bits as a number; 1 to 64. `None` when they do not lie within the sextets.
pub(super) fn get(sextets: &[u8], at: usize, bits: usize) -> Option<u64> {
    let end = at.checked_add(bits)?;
    let all = sextets.get(at / 6..end.div_ceil(6))?;
    let word = all.iter().fold(0_u128, |word, six| word << 6 | u128::from(six & 63));
    let behind = all.len() * 6 - at % 6 - bits;
    Some((word >> behind) as u64 & (u64::MAX >> (64 - bits.clamp(1, 64))))
}

/// Writes a number over the bits (1 to 64), as far as they lie within the sextets.
pub(super) fn set(sextets: &mut [u8], at: usize, bits: usize, value: u64) {
    let bits = bits.clamp(1, 64);
    let from = at % 6;
    let count = (from + bits).div_ceil(6);
    let behind = count * 6 - from - bits;
    let mask = u128::from(u64::MAX >> (64 - bits)) << behind;
    let value = u128::from(value) << behind & mask;
    let all = sextets.get_mut(at / 6..).unwrap_or_default();
    for (n, six) in all.iter_mut().take(count).enumerate() {
        let shift = (count - 1 - n) * 6;
        *six = *six & !((mask >> shift) as u8 & 63) | (value >> shift) as u8 & 63;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn bits_are_those_of_their_places(
            before in prop::collection::vec(0_u8..64, 0..20), at in 0_usize..130, bits in 1_usize..65, value: u64,
        ) {
            let bit = |sextets: &[u8], n: usize| sextets.get(n / 6).map(|six| six >> (5 - n % 6) & 1);
            let one_by_one = (at..at + bits)
                .try_fold(0, |all, n| Some(all << 1 | u64::from(bit(&before, n)?)));
            prop_assert_eq!(get(&before, at, bits), one_by_one);
            let mut after = before.clone();
            set(&mut after, at, bits, value);
            for n in 0..before.len() * 6 {
                let inside = (at..at + bits).contains(&n);
                let want = if inside { Some((value >> (at + bits - 1 - n) & 1) as u8) } else { bit(&before, n) };
                prop_assert_eq!(bit(&after, n), want);
            }
        }
    }

    #[test]
    fn bits_and_armour_come_back() {
        let mut sextets = [0_u8; 4];
        set(&mut sextets, 5, 9, 0x155);
        assert_eq!(get(&sextets, 5, 9), Some(0x155));
        assert_eq!((get(&sextets, 0, 5), get(&sextets, 14, 10)), (Some(0), Some(0)));
        assert_eq!(get(&sextets, 20, 5), None);
        for value in 0..64 {
            assert_eq!(unarmoured(armoured(value)), Some(value));
        }
        assert_eq!([b'/', b'X', b'_', b'x'].map(unarmoured), [None; 4]);
    }
}
