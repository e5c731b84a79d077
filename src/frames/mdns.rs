//! Names and services that devices announce (multicast DNS: RFC 6762; service discovery: RFC 6763), over `simple-dns`.

use super::Malformed;
use super::bytes::be16;
use super::text::clean;
use simple_dns::rdata::RData;
use simple_dns::{Name, PacketFlag, QTYPE, ResourceRecord};
use std::net::IpAddr;

/// UDP port.
pub const MDNS_PORT: u16 = 5353;
/// Hosts, services and questions kept of one message, each.
pub const MAX_MDNS_ENTRIES: usize = 32;
/// Records that a message of 9000 bytes (RFC 6762 17) can hold at 11 bytes each.
const MAX_RECORDS: u32 = 818;

/// What a message is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum MdnsKind {
    /// Asks before it takes names for itself: a host has come up (8.1).
    Probe,
    /// Asks.
    Query,
    /// Answers or announces (6, 8.3).
    Response,
    /// Says that records go away: all answers have time to live 0 (10.1).
    Goodbye,
}

/// A host with one of its addresses.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MdnsHost {
    /// Name, `display.local`; cleaned.
    pub name: String,
    /// Address.
    pub address: IpAddr,
}

/// A service, or a kind of service.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MdnsService {
    /// Kind, `_nmea-0183._tcp`; cleaned.
    pub service: String,
    /// The instance's own name; cleaned. `None` when only the kind was named.
    pub instance: Option<String>,
    /// Port and host name, from an SRV record.
    pub at: Option<(u16, String)>,
}

/// A multicast DNS message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mdns {
    /// What it is for.
    pub kind: MdnsKind,
    /// Hosts with addresses: of the answers, or of what a probe wants to take.
    pub hosts: Vec<MdnsHost>,
    /// Services, likewise.
    pub services: Vec<MdnsService>,
    /// Names asked about; cleaned.
    pub questions: Vec<String>,
    /// Whether a record claims to be the only truth for its name (cache flush, 10.2).
    pub cache_flush: bool,
}

impl Mdns {
    /// Reads a message. One record that cannot be read spoils it; of one that the recorder cut, the records before the cut are read,
    /// and the header tells what it is for.
    ///
    /// # Errors
    /// When the header is not there, or the message does not hold together.
    pub fn parse(bytes: &[u8], cut: bool) -> Result<Self, Malformed> {
        let count: Option<u32> = (4..12).step_by(2).map(|at| be16(bytes, at).map(u32::from)).sum();
        let Some(header) = bytes.get(..12) else {
            return Err(Malformed::short("mdns", 12, bytes.len(), cut));
        };
        // The parser makes room for as many records as the header claims: check the claim first.
        if count.is_none_or(|count| count > MAX_RECORDS) {
            return Err(Malformed::value("mdns", 4, header.len()));
        }
        match simple_dns::Packet::parse(bytes) {
            Ok(packet) => Ok(Self::of_packet(&packet)),
            Err(_) if cut => Ok(Self::of_cut(bytes, header)),
            Err(_) => Err(Malformed::value("mdns", 12, bytes.len())),
        }
    }

    /// What the records before a cut tell. Who says of the first of them that it goes away says so of all.
    fn of_cut(bytes: &[u8], header: &[u8]) -> Self {
        let of_header = Self::of_header(header);
        let whole = whole_records(bytes);
        match whole.as_deref().map(simple_dns::Packet::parse) {
            Some(Ok(packet)) => {
                let read = Self::of_packet(&packet);
                let kind = if read.kind == MdnsKind::Goodbye { read.kind } else { of_header.kind };
                Self { kind, ..read }
            }
            _ => of_header,
        }
    }

    fn of_packet(packet: &simple_dns::Packet<'_>) -> Self {
        let is_response = packet.has_flags(PacketFlag::RESPONSE);
        let asks_any = packet.questions.iter().any(|question| question.qtype == QTYPE::ANY);
        let kind = if is_response {
            let leaving = !packet.answers.is_empty() && packet.answers.iter().all(|answer| answer.ttl == 0);
            if leaving { MdnsKind::Goodbye } else { MdnsKind::Response }
        } else if asks_any && !packet.name_servers.is_empty() {
            MdnsKind::Probe
        } else {
            MdnsKind::Query
        };
        // A query's answers are those that it knows already (7.1): other devices' words.
        let (first, second) = if is_response {
            (&packet.answers[..], &packet.additional_records[..])
        } else {
            (&packet.name_servers[..], &[][..])
        };
        let mut mdns = Self {
            kind,
            hosts: Vec::new(),
            services: Vec::new(),
            questions: packet.questions.iter().take(MAX_MDNS_ENTRIES).map(|q| text(&q.qname)).collect(),
            cache_flush: first.iter().any(|record| record.cache_flush),
        };
        for record in first.iter().chain(second) {
            mdns.record(record);
        }
        mdns
    }

    /// What the header alone tells (RFC 1035 4.1.1): a probe is the only query with records of authority.
    fn of_header(header: &[u8]) -> Self {
        let is_response = header.get(2).is_some_and(|flags| flags & 0x80 != 0);
        let kind = match (is_response, be16(header, 8)) {
            (true, _) => MdnsKind::Response,
            (false, Some(1..)) => MdnsKind::Probe,
            _ => MdnsKind::Query,
        };
        Self { kind, hosts: Vec::new(), services: Vec::new(), questions: Vec::new(), cache_flush: false }
    }

    fn record(&mut self, record: &ResourceRecord<'_>) {
        let host = |address: IpAddr| MdnsHost { name: text(&record.name), address };
        match &record.rdata {
            RData::A(a) => push(&mut self.hosts, host(std::net::Ipv4Addr::from(a.address).into())),
            RData::AAAA(a) => push(&mut self.hosts, host(std::net::Ipv6Addr::from(a.address).into())),
            RData::PTR(target) => {
                // A list of kinds points to kinds, a kind to its instances (RFC 6763 4.1, 9).
                if let Some(service) = kind_or_instance(&target.0) {
                    push(&mut self.services, service);
                }
            }
            RData::SRV(srv) => {
                if let Some(service) = kind_or_instance(&record.name) {
                    let at = Some((srv.port, text(&srv.target)));
                    push(&mut self.services, MdnsService { at, ..service });
                }
            }
            _ => {}
        }
    }
}

fn push<T: PartialEq>(list: &mut Vec<T>, item: T) {
    if list.len() < MAX_MDNS_ENTRIES && !list.contains(&item) {
        list.push(item);
    }
}

/// A message of the questions and records that are there as a whole (RFC 1035 4.1).
fn whole_records(bytes: &[u8]) -> Option<Vec<u8>> {
    /// Type and class of a question; with time to live and length those of a record.
    const QUESTION: usize = 4;
    const RECORD: usize = 10;
    let mut end = 12;
    let mut whole = bytes.get(..4)?.to_vec();
    let mut is_whole = true;
    for section in 0..4 {
        let mut count = 0_u16;
        for _ in 0..be16(bytes, 4 + 2 * section)? {
            let after = behind_name(bytes, end).and_then(|at| match section {
                0 => Some(at + QUESTION),
                _ => Some(at + RECORD + usize::from(be16(bytes, at + RECORD - 2)?)),
            });
            let Some(after) = after.filter(|after| is_whole && *after <= bytes.len()) else {
                is_whole = false;
                break;
            };
            end = after;
            count += 1;
        }
        whole.extend(count.to_be_bytes());
    }
    whole.extend(bytes.get(12..end)?);
    Some(whole)
}

/// Where a name ends that begins at `at`: with the root, or with a pointer (RFC 1035 4.1.4).
fn behind_name(bytes: &[u8], mut at: usize) -> Option<usize> {
    loop {
        match *bytes.get(at)? {
            0 => return Some(at + 1),
            0xC0.. => return Some(at + 2),
            len @ 1..0x40 => at += 1 + usize::from(len),
            _ => return None,
        }
    }
}

/// A name as text: labels joined by dots, cleaned.
fn text(name: &Name<'_>) -> String {
    joined(name.get_labels())
}

fn joined(labels: &[simple_dns::Label<'_>]) -> String {
    let mut bytes = Vec::new();
    for label in labels {
        if !bytes.is_empty() {
            bytes.push(b'.');
        }
        bytes.extend_from_slice(label.as_ref());
    }
    clean(&bytes)
}

/// `_kind._tcp.local`, or `instance._kind._tcp.local` (RFC 6763 4.1); `None` for other names.
fn kind_or_instance(name: &Name<'_>) -> Option<MdnsService> {
    let labels = name.get_labels();
    let protocol = labels.iter().rposition(|label| matches!(label.as_ref(), b"_tcp" | b"_udp"))?;
    let kind = protocol.checked_sub(1)?;
    let instance = kind.checked_sub(1).and_then(|at| labels.get(at)).map(|label| clean(label.as_ref()));
    Some(MdnsService { service: joined(labels.get(kind..=protocol)?), instance, at: None })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Labels of a name, uncompressed.
    fn name(text: &str) -> Vec<u8> {
        let mut bytes = Vec::new();
        for label in text.split('.').filter(|label| !label.is_empty()) {
            bytes.push(label.len() as u8);
            bytes.extend(label.bytes());
        }
        bytes.push(0);
        bytes
    }

    fn record(owner: &str, kind: u16, class: u16, ttl: u32, data: &[u8]) -> Vec<u8> {
        let mut bytes = name(owner);
        bytes.extend(kind.to_be_bytes());
        bytes.extend(class.to_be_bytes());
        bytes.extend(ttl.to_be_bytes());
        bytes.extend((data.len() as u16).to_be_bytes());
        bytes.extend(data);
        bytes
    }

    fn message(flags: u16, counts: [u16; 4], body: &[Vec<u8>]) -> Vec<u8> {
        let mut bytes = vec![0, 0];
        bytes.extend(flags.to_be_bytes());
        bytes.extend(counts.iter().flat_map(|count| count.to_be_bytes()));
        bytes.extend(body.concat());
        bytes
    }

    fn question(owner: &str, kind: u16) -> Vec<u8> {
        let mut bytes = name(owner);
        bytes.extend(kind.to_be_bytes());
        bytes.extend([0x80, 1]);
        bytes
    }

    fn srv() -> Vec<u8> {
        let mut data = vec![0, 0, 0, 0, 0x27, 0x7E];
        data.extend(name("gateway.local"));
        record("Wheel house._nmea-0183._tcp.local", 33, 0x8001, 120, &data)
    }

    #[test]
    fn an_announcement() {
        let bytes = message(
            0x8400,
            [0, 3, 0, 1],
            &[
                record("_services._dns-sd._udp.local", 12, 1, 4500, &name("_http._tcp.local")),
                record("_nmea-0183._tcp.local", 12, 1, 4500, &name("Wheel house._nmea-0183._tcp.local")),
                srv(),
                record("gateway.local", 1, 0x8001, 120, &[192, 0, 2, 5]),
            ],
        );
        let mdns = Mdns::parse(&bytes, false).unwrap();
        assert_eq!((mdns.kind, mdns.cache_flush), (MdnsKind::Response, true));
        let host = MdnsHost { name: "gateway.local".into(), address: [192, 0, 2, 5].into() };
        assert_eq!(mdns.hosts, [host]);
        let instance = Some("Wheel house".to_owned());
        assert_eq!(
            mdns.services,
            [
                MdnsService { service: "_http._tcp".into(), instance: None, at: None },
                MdnsService { service: "_nmea-0183._tcp".into(), instance: instance.clone(), at: None },
                MdnsService {
                    service: "_nmea-0183._tcp".into(),
                    instance,
                    at: Some((10110, "gateway.local".into()))
                },
            ]
        );
        for len in 0..bytes.len() {
            assert!(Mdns::parse(&bytes[..len], false).is_err(), "{len}");
            match Mdns::parse(&bytes[..len], true) {
                Ok(cut) => {
                    assert!(cut.kind == MdnsKind::Response && cut.hosts.is_empty() && len >= 12);
                    // The three answers end at these bytes.
                    let whole = [70, 138, 204].iter().filter(|end| len >= **end).count();
                    assert_eq!(cut.services, mdns.services.get(..whole).unwrap(), "{len}");
                }
                Err(error) => assert!(error.cut && len < 12),
            }
        }
    }

    #[test]
    fn probe_query_goodbye() {
        let wanted = record("display.local", 1, 1, 120, &[192, 0, 2, 7]);
        let bytes = message(0, [1, 0, 1, 0], &[question("display.local", 255), wanted.clone()]);
        let probe = Mdns::parse(&bytes, false).unwrap();
        assert_eq!((probe.kind, probe.questions), (MdnsKind::Probe, vec!["display.local".to_owned()]));
        assert_eq!(Mdns::parse(&bytes[..20], true).map(|cut| cut.kind), Ok(MdnsKind::Probe));
        assert_eq!(probe.hosts.len(), 1);
        let query = message(0, [1, 1, 0, 0], &[question("display.local", 1), wanted]);
        let query = Mdns::parse(&query, false).unwrap();
        assert_eq!((query.kind, query.hosts.len()), (MdnsKind::Query, 0), "known answers are others' words");
        let gone = message(0x8400, [0, 1, 0, 0], &[record("display.local", 1, 0x8001, 0, &[192, 0, 2, 7])]);
        assert_eq!(Mdns::parse(&gone, false).unwrap().kind, MdnsKind::Goodbye);
        let more = record("_http._tcp.local", 12, 1, 0, &name("Wheel house._http._tcp.local"));
        let gone =
            [message(0x8400, [0, 2, 0, 0], &[record("display.local", 1, 0x8001, 0, &[192, 0, 2, 7])]), more];
        let gone = gone.concat();
        for (len, kind) in
            [(gone.len(), MdnsKind::Goodbye), (60, MdnsKind::Goodbye), (30, MdnsKind::Response)]
        {
            assert_eq!(Mdns::parse(&gone[..len], true).unwrap().kind, kind, "{len}");
        }
    }

    #[test]
    fn hostile_messages() {
        let claims = message(0x8400, [0, 0xFFFF, 0, 0], &[]);
        assert_eq!(Mdns::parse(&claims, false), Err(Malformed::value("mdns", 4, 12)));
        let overflow = message(0x8400, [0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF], &[]);
        assert!(Mdns::parse(&overflow, false).is_err());
        // A name that points to itself at offset 12.
        let circle = message(0, [1, 0, 0, 0], &[vec![0xC0, 12, 0, 1, 0, 1]]);
        assert!(Mdns::parse(&circle, false).is_err());
        let many: Vec<_> = (0..100).map(|n| record("a.local", 1, 1, 9, &[10, 0, 0, n])).collect();
        let mdns = Mdns::parse(&message(0x8400, [0, 100, 0, 0], &many), false).unwrap();
        assert_eq!(mdns.hosts.len(), MAX_MDNS_ENTRIES);
    }
}
