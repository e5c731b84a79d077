//! Names of sentences: what a message of a line is known by.

/// A sentence's address, at most twelve characters of it (`SDDPT`, `PABCXYZ`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SentenceName([u8; 12]);

impl SentenceName {
    /// The name; what is past the twelfth byte is cut.
    #[must_use]
    #[inline(always)]
    pub fn new(name: &[u8]) -> Self {
        let mut bytes = [0; 12];
        // Nearly all names have five capitals and digits.
        if let (Some(five), Some(place)) = (name.as_array::<5>(), bytes.first_chunk_mut())
            && five.iter().fold(true, |all, byte| all & byte.is_ascii_graphic())
        {
            *place = *five;
            return Self(bytes);
        }
        for (to, from) in bytes.iter_mut().zip(name.iter().filter(|byte| byte.is_ascii_graphic())) {
            *to = *from;
        }
        Self(bytes)
    }

    /// Its characters, and zeros behind them.
    #[must_use]
    pub const fn as_bytes(&self) -> &[u8; 12] {
        &self.0
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        let end = self.0.iter().position(|b| *b == 0).unwrap_or(self.0.len());
        self.0.get(..end).and_then(|bytes| std::str::from_utf8(bytes).ok()).unwrap_or_default()
    }
}
