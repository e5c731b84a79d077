//! Writes pcapng files (IETF draft-ietf-opsawg-pcapng): one section, one Ethernet interface, microseconds.

use crate::time::Time;

/// A file of Ethernet packets of the interface `name`.
pub(super) fn pcapng(name: &str, packets: &[(Time, Vec<u8>)]) -> Vec<u8> {
    // Section header: byte-order magic, version 1.0, section length not given.
    let mut section = 0x1A2B_3C4D_u32.to_le_bytes().to_vec();
    section.extend([1, 0, 0, 0]);
    section.extend((-1_i64).to_le_bytes());
    let mut out = block(0x0A0D_0D0A, &section);

    // Interface description: Ethernet, snap length 262144, if_name, 100 Mbit/s, microseconds.
    let mut interface = vec![1, 0, 0, 0, 0, 0, 4, 0];
    option(&mut interface, 2, name.as_bytes());
    option(&mut interface, 8, &100_000_000_u64.to_le_bytes());
    option(&mut interface, 9, &[6]);
    option(&mut interface, 0, &[]);
    out.extend(block(1, &interface));

    for (time, bytes) in packets {
        let (time, length) = (time.0 as u64, bytes.len() as u32);
        let mut packet = Vec::with_capacity(bytes.len() + 24);
        for field in [0, (time >> 32) as u32, time as u32, length, length] {
            packet.extend(field.to_le_bytes());
        }
        packet.extend(bytes);
        pad(&mut packet);
        out.extend(block(6, &packet));
    }
    out
}

fn block(kind: u32, body: &[u8]) -> Vec<u8> {
    let length = (body.len() as u32 + 12).to_le_bytes();
    let mut out = kind.to_le_bytes().to_vec();
    out.extend(length);
    out.extend(body);
    out.extend(length);
    out
}

fn option(out: &mut Vec<u8>, code: u16, value: &[u8]) {
    out.extend(code.to_le_bytes());
    out.extend((value.len() as u16).to_le_bytes());
    out.extend(value);
    pad(out);
}

fn pad(out: &mut Vec<u8>) {
    out.resize(out.len().next_multiple_of(4), 0);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The crate `pcap-parser` reads the blocks back.
    #[test]
    fn an_independent_parser_reads_it() {
        let packets = vec![(Time(1_778_308_200_000_007), vec![1, 2, 3, 4, 5])];
        let file = pcapng("eth0", &packets);
        let (rest, section) = pcap_parser::pcapng::parse_sectionheaderblock_le(&file).unwrap();
        assert_eq!((section.major_version, section.minor_version, section.section_len), (1, 0, -1));
        let (rest, interface) = pcap_parser::pcapng::parse_interfacedescriptionblock_le(rest).unwrap();
        assert_eq!((interface.linktype.0, interface.if_tsresol), (1, 6));
        let (rest, packet) = pcap_parser::pcapng::parse_enhancedpacketblock_le(rest).unwrap();
        assert_eq!(packet.decode_ts(0, 1_000_000), (1_778_308_200, 7));
        assert_eq!((packet.caplen, packet.origlen), (5, 5));
        assert_eq!(packet.data[..5], [1, 2, 3, 4, 5]);
        assert!(rest.is_empty());
    }
}
