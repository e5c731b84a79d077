//! Bit fields of N2K messages, read and written: little endian, bits counted upwards from the lowest of the first byte.

/// The bits as a number; `bits` is 1 to 64. `None` when they do not lie within the message.
pub(super) fn get(message: &[u8], start: usize, bits: usize) -> Option<u64> {
    let shift = start % 8;
    let end = start.checked_add(bits)?.div_ceil(8);
    let bytes = message.get(start / 8..end)?;
    let mask = u64::MAX >> (64 - bits.clamp(1, 64));
    // Most fields are of whole bytes, and of as many as a machine has numbers for.
    let word = match *bytes {
        [a] => u64::from(a),
        [a, b] => u64::from(u16::from_le_bytes([a, b])),
        [a, b, c, d] => u64::from(u32::from_le_bytes([a, b, c, d])),
        [a, b, c, d, e, f, g, h] => u64::from_le_bytes([a, b, c, d, e, f, g, h]),
        _ => {
            let word = bytes.iter().rev().fold(0_u128, |word, byte| word << 8 | u128::from(*byte));
            return Some((word >> shift) as u64 & mask);
        }
    };
    Some(word >> shift & mask)
}

/// Writes a number over the bits; does nothing when they do not lie within the message.
pub(super) fn set(message: &mut [u8], start: usize, bits: usize, value: u64) {
    let bits = bits.min(64);
    let (shift, end) = (start % 8, start.saturating_add(bits));
    if bits == 0 || end > message.len().saturating_mul(8) {
        return;
    }
    let Some(bytes) = message.get_mut(start / 8..end.div_ceil(8)) else { return };
    if shift == 0 && bits.is_multiple_of(8) {
        for (byte, new) in bytes.iter_mut().zip(value.to_le_bytes()) {
            *byte = new;
        }
        return;
    }
    let mut mask = u128::from(u64::MAX >> (64 - bits)) << shift;
    let mut value = u128::from(value) << shift & mask;
    for byte in bytes {
        *byte = *byte & !(mask as u8) | value as u8;
        (mask, value) = (mask >> 8, value >> 8);
    }
}

/// Copies the bits, as far as both messages reach.
pub(super) fn copy(from: &[u8], to: &mut [u8], start: usize, bits: usize) {
    let whole = from.len().min(to.len());
    let end = start.saturating_add(bits).min(whole.saturating_mul(8));
    if start >= end {
        return;
    }
    // Of a single frame's message all is one number.
    if let (Some(old), Some(new)) = (from.first_chunk::<8>(), to.first_chunk_mut::<8>())
        && end <= 64
    {
        let mask = (u64::MAX >> (64 - (end - start))) << start;
        let word = u64::from_le_bytes(*new) & !mask | u64::from_le_bytes(*old) & mask;
        *new = word.to_le_bytes();
        return;
    }
    let (first, last) = (start / 8, (end - 1) / 8);
    let (Some(old), Some(new)) = (from.get(first..=last), to.get_mut(first..=last)) else { return };
    // Bits of the first byte that stay, and of the last one.
    let (low, high) = ((1_u8 << (start % 8)) - 1, !(0xFF_u8 >> (7 - (end - 1) % 8)));
    let edges = (new.first().copied().unwrap_or(0) & low, new.last().copied().unwrap_or(0) & high);
    new.copy_from_slice(old);
    if let Some(byte) = new.last_mut() {
        *byte = *byte & !high | edges.1;
    }
    if let Some(byte) = new.first_mut() {
        *byte = *byte & !low | edges.0;
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
