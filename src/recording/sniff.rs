//! The kind of a content, told from its first bytes.

use super::compressed::Compression;

/// Bytes of the beginning that [`sniff`] wants to see.
pub(super) const HEAD: usize = 512;

/// What a content is by its first bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A compressed stream.
    Compressed(Compression),
    /// A pcap file.
    Pcap,
    /// A pcapng file.
    Pcapng,
    /// Nothing else: perhaps a text log.
    Text,
    /// Something that is known and not read; what it is and what to do.
    Unknown(&'static str),
}

/// Beginnings of files that people take for recordings.
const OTHERS: &[(&[u8], &str)] = &[
    (b"PK\x03\x04", "it begins with PK: a ZIP archive; unpack it first"),
    (b"PK\x05\x06", "it begins with PK: an empty ZIP archive"),
    (b"%PDF", "a PDF document"),
    (b"BZh", "a bzip2 stream; unpack it first"),
    (b"\xFD7zXZ\x00", "an xz stream; unpack it first"),
    (b"\x04\x22\x4D\x18", "an LZ4 stream; unpack it first"),
    (b"7z\xBC\xAF\x27\x1C", "a 7z archive; unpack it first"),
    (b"Rar!", "a RAR archive; unpack it first"),
    (b"\x7FELF", "a program (ELF)"),
    (b"MZ\x90", "a program"),
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xFF\xD8\xFF", "a picture (JPEG)"),
    (b"SQLite format 3", "a database file (SQLite)"),
    (b"snoop\x00", "a capture in the snoop format; convert it to pcapng"),
    (b"LOGG", "it begins with LOGG: a binary CAN log of a kind that is not read; export it as text"),
    (b"\xFF\xFE", "UTF-16 text: save it as plain text (UTF-8)"),
    (b"\xFE\xFF", "UTF-16 text: save it as plain text (UTF-8)"),
];

/// Tells the kind of a content from its beginning (at most [`HEAD`] bytes, fewer when it is shorter).
///
/// Sources: pcap magic numbers IETF draft-ietf-opsawg-pcap and pcap-savefile(5); pcapng draft-ietf-opsawg-pcapng 4.1;
/// gzip RFC 1952 2.3.1; zstd RFC 8878 3.1 (skippable frames included).
pub(super) fn sniff(head: &[u8]) -> Kind {
    match head {
        [] => return Kind::Unknown("an empty file"),
        [0x1F, 0x8B, 8, ..] => return Kind::Compressed(Compression::Gzip),
        [0x28, 0xB5, 0x2F, 0xFD, ..] | [0x50..=0x5F, 0x2A, 0x4D, 0x18, ..] => {
            return Kind::Compressed(Compression::Zstd);
        }
        [0xA1, 0xB2, 0xC3 | 0x3C, 0xD4 | 0x4D, ..]
        | [0xD4 | 0x4D, 0xC3 | 0x3C, 0xB2, 0xA1, ..]
        | [0xA1, 0xB2, 0xCD, 0x34, ..]
        | [0x34, 0xCD, 0xB2, 0xA1, ..] => return Kind::Pcap,
        [0x0A, 0x0D, 0x0D, 0x0A, ..] => return Kind::Pcapng,
        _ => {}
    }
    if let Some((_, what)) = OTHERS.iter().find(|(begin, _)| head.starts_with(begin)) {
        return Kind::Unknown(what);
    }
    if head.get(257..262) == Some(b"ustar") {
        return Kind::Unknown("a tar archive; unpack it first");
    }
    if is_bare_utf_16(head) {
        return Kind::Unknown("UTF-16 text: save it as plain text (UTF-8)");
    }
    Kind::Text
}

/// Text in which every second byte is NUL.
fn is_bare_utf_16(head: &[u8]) -> bool {
    let pairs = || head.as_chunks::<2>().0.iter().take(32);
    let text = |byte: u8| matches!(byte, b'\t' | b'\n' | b'\r' | b' '..=b'~');
    head.len() >= 16 && (pairs().all(|&[a, b]| text(a) && b == 0) || pairs().all(|&[a, b]| a == 0 && text(b)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_by_their_first_bytes() {
        assert_eq!(sniff(&[0x1F, 0x8B, 8, 0]), Kind::Compressed(Compression::Gzip));
        assert_eq!(sniff(&[0x28, 0xB5, 0x2F, 0xFD]), Kind::Compressed(Compression::Zstd));
        for magic in [
            [0xD4, 0xC3, 0xB2, 0xA1],
            [0xA1, 0xB2, 0xC3, 0xD4],
            [0x4D, 0x3C, 0xB2, 0xA1],
            [0xA1, 0xB2, 0x3C, 0x4D],
            [0x34, 0xCD, 0xB2, 0xA1],
            [0xA1, 0xB2, 0xCD, 0x34],
        ] {
            assert_eq!(sniff(&magic), Kind::Pcap);
        }
        assert_eq!(sniff(&[0x0A, 0x0D, 0x0D, 0x0A]), Kind::Pcapng);
        assert_eq!(sniff(b"$GPGGA,"), Kind::Text);
        for (other, word) in [
            (&b""[..], "empty"),
            (b"PK\x03\x04...", "ZIP"),
            (b"%PDF-1.7", "PDF"),
            (b"\xFF\xFE$\0", "UTF-16"),
            (b"$\0G\0P\0R\0M\0C\0,\0,\0", "UTF-16"),
            (b"\0$\0G\0P\0R\0M\0C\0,\0,", "UTF-16"),
        ] {
            assert!(matches!(sniff(other), Kind::Unknown(text) if text.contains(word)), "{word}");
        }
    }
}
