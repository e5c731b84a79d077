//! Integers of either byte order out of a slice, without panics.

/// The 16-bit number at `at`, or `None` past the end.
pub(super) fn u16_at(bytes: &[u8], at: usize, big: bool) -> Option<u16> {
    let raw: [u8; 2] = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
    Some(if big { u16::from_be_bytes(raw) } else { u16::from_le_bytes(raw) })
}

/// The 32-bit number at `at`, or `None` past the end.
pub(super) fn u32_at(bytes: &[u8], at: usize, big: bool) -> Option<u32> {
    let raw: [u8; 4] = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
    Some(if big { u32::from_be_bytes(raw) } else { u32::from_le_bytes(raw) })
}

/// The 64-bit number at `at`, or `None` past the end.
pub(super) fn u64_at(bytes: &[u8], at: usize, big: bool) -> Option<u64> {
    let raw: [u8; 8] = bytes.get(at..at.checked_add(8)?)?.try_into().ok()?;
    Some(if big { u64::from_be_bytes(raw) } else { u64::from_le_bytes(raw) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_orders_and_the_end() {
        let bytes = [1, 2, 3, 4, 5, 6, 7, 8];
        assert_eq!(u16_at(&bytes, 1, true), Some(0x0203));
        assert_eq!(u32_at(&bytes, 0, false), Some(0x0403_0201));
        assert_eq!(u64_at(&bytes, 0, true), Some(0x0102_0304_0506_0708));
        assert_eq!(u32_at(&bytes, 5, true), None);
        assert_eq!(u16_at(&bytes, usize::MAX, true), None);
    }
}
