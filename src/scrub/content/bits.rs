//! Bit fields of N2K messages, read and written: little endian, bits counted upwards from the lowest of the first byte.

/// The bits as a number; `bits` is 1 to 64. `None` when they do not lie within the message.
pub(super) fn get(message: &[u8], start: usize, bits: usize) -> Option<u64> {
    let shift = start % 8;
    let end = start.checked_add(bits)?.div_ceil(8);
    let bytes = message.get(start / 8..end)?;
    let word = bytes.iter().rev().fold(0_u128, |word, byte| word << 8 | u128::from(*byte));
    Some((word >> shift) as u64 & (u64::MAX >> (64 - bits.clamp(1, 64))))
}

/// Writes a number over the bits; does nothing when they do not lie within the message.
pub(super) fn set(message: &mut [u8], start: usize, bits: usize, value: u64) {
    if start.checked_add(bits).is_none_or(|end| end > message.len().saturating_mul(8)) {
        return;
    }
    for n in 0..bits.min(64) {
        let at = start + n;
        if let Some(byte) = message.get_mut(at / 8) {
            let mask = 1_u8 << (at % 8);
            *byte = if value >> n & 1 == 1 { *byte | mask } else { *byte & !mask };
        }
    }
}

/// Copies the bits, as far as both messages reach.
pub(super) fn copy(from: &[u8], to: &mut [u8], start: usize, bits: usize) {
    let end = start.saturating_add(bits);
    for (n, (new, old)) in
        to.iter_mut().zip(from).enumerate().skip(start / 8).take(end.div_ceil(8) - start / 8)
    {
        let low = start.saturating_sub(n * 8).min(8);
        let high = end.saturating_sub(n * 8).min(8);
        // Bits `low` to `high` of this byte.
        let mask = (((1_u16 << high) - 1) & !((1_u16 << low) - 1)) as u8;
        *new = *new & !mask | *old & mask;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_is_set_is_got_and_nothing_else_changes(
            before in prop::collection::vec(any::<u8>(), 0..20), start in 0_usize..170, bits in 1_usize..65, value: u64,
        ) {
            let mut after = before.clone();
            set(&mut after, start, bits, value);
            match get(&before, start, bits) {
                None => prop_assert_eq!(&after, &before),
                Some(old) => {
                    prop_assert_eq!(get(&after, start, bits), Some(value & (u64::MAX >> (64 - bits))));
                    set(&mut after, start, bits, old);
                    prop_assert_eq!(&after, &before);
                }
            }
            let mut blank = vec![0xFF; before.len()];
            copy(&before, &mut blank, start, bits);
            for at in 0..before.len() * 8 {
                let inside = (start..start + bits).contains(&at);
                let want = if inside { get(&before, at, 1) } else { Some(1) };
                prop_assert_eq!(get(&blank, at, 1), want);
            }
        }
    }
}
