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

/// The bits as a number; at most 64. `None` when they do not lie within the sextets.
pub(super) fn get(sextets: &[u8], at: usize, bits: usize) -> Option<u64> {
    (at..at.checked_add(bits)?).try_fold(0, |all, n| {
        let six = sextets.get(n / 6)?;
        Some(all << 1 | u64::from(six >> (5 - n % 6) & 1))
    })
}

/// Writes a number over the bits, as far as they lie within the sextets.
pub(super) fn set(sextets: &mut [u8], at: usize, bits: usize, value: u64) {
    for n in 0..bits {
        if let Some(six) = sextets.get_mut((at + n) / 6) {
            let mask = 1_u8 << (5 - (at + n) % 6);
            let on = value >> (bits - 1 - n).min(63) & 1 == 1;
            *six = if on { *six | mask } else { *six & !mask };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
