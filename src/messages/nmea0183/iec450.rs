//! Lines of a datagram: IEC 61162-450 ones with their header, and plain ones.
//!
//! Source: IEC 61162-450 clause 7 (header `UdPbC` and NUL, then lines that end with CR LF).

use memchr::memchr2;

/// How a datagram with sentences begins.
const HEADER: &[u8] = b"UdPbC\0";

/// Whether a UDP payload carries the header of IEC 61162-450 sentences.
#[must_use]
pub fn is_iec450(payload: &[u8]) -> bool {
    payload.starts_with(HEADER)
}

/// The lines of a UDP payload, without line ends and without empty ones; an IEC 61162-450 header is passed over.
pub fn lines(payload: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut rest = payload.strip_prefix(HEADER).unwrap_or(payload);
    std::iter::from_fn(move || {
        while !rest.is_empty() {
            let end = memchr2(b'\r', b'\n', rest).unwrap_or(rest.len());
            let (line, after) = rest.split_at_checked(end)?;
            rest = after.get(1..).unwrap_or_default();
            // Some senders end the datagram with NUL, as they end strings.
            let line = line.trim_ascii();
            let line = line.strip_suffix(b"\0").unwrap_or(line);
            if !line.is_empty() {
                return Some(line);
            }
        }
        None
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn splits_a_datagram() {
        let payload = b"UdPbC\0\\s:SD0001,n:125*11\\$SDDPT,7.4,0.4,100*4D\r\n\\s:SD0001,n:126*12\\$SDDBT,,f,,M,,F*28\r\n";
        assert!(is_iec450(payload));
        let got: Vec<_> = lines(payload).collect();
        assert_eq!(
            got,
            [&b"\\s:SD0001,n:125*11\\$SDDPT,7.4,0.4,100*4D"[..], b"\\s:SD0001,n:126*12\\$SDDBT,,f,,M,,F*28"]
        );
    }

    #[test]
    fn splits_plain_text() {
        let got: Vec<_> = lines(b"$A,1\n\n\r$B,2\r\n$C\0").collect();
        assert_eq!(got, [&b"$A,1"[..], b"$B,2", b"$C"]);
        assert!(!is_iec450(b"UdPbC"));
        assert_eq!(lines(b"").count() + lines(HEADER).count() + lines(b"\r\n\0").count(), 0);
    }
}
