//! Address leases (DHCP: RFC 2131, options RFC 2132).

use super::bytes::{be32, v4};
use super::text::clean_some;
use super::{Mac, Malformed};
use std::borrow::Cow;
use std::net::Ipv4Addr;

/// UDP ports of server and client.
pub const DHCP_PORTS: [u16; 2] = [67, 68];

/// Bytes before the options: header and magic cookie (RFC 2131 section 2).
const HEADER: usize = 240;
/// The magic cookie: options follow (RFC 2131 section 3).
const COOKIE: [u8; 4] = [99, 130, 83, 99];
/// Bytes up to the end of the client's hardware address (RFC 2131 figure 1).
const ADDRESSES: usize = 44;
/// Options read of one message; more than the registry has in use.
const MAX_OPTIONS: usize = 128;
/// Bytes kept of a client identifier.
pub const MAX_CLIENT_ID: usize = 64;

/// What a message is for: option 53 (RFC 2132 9.6).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DhcpType {
    /// A client looks for any server.
    Discover,
    /// A server offers an address.
    Offer,
    /// A client asks for an address; see [`Dhcp::request_state`].
    Request,
    /// A client found the leased address in use.
    Decline,
    /// A server grants.
    Ack,
    /// A server refuses: wrong network, or the lease is gone.
    Nak,
    /// A client gives its address back.
    Release,
    /// A client that has an address wants options.
    Inform,
    /// Another type.
    Other(u8),
}

/// In which state a client sent its REQUEST (RFC 2131 4.3.2 and table 4).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RequestState {
    /// Takes one server's offer.
    Selecting,
    /// Came up with a lease that it remembers: a restart or a link that came up.
    InitReboot,
    /// Half its lease is over: asks its own server.
    Renewing,
    /// Its own server does not answer: asks any.
    Rebinding,
}

/// A DHCP message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dhcp {
    /// Whether a client sent it (op 1).
    pub from_client: bool,
    /// Names the transaction.
    pub xid: u32,
    /// The client's hardware address, when it is an Ethernet one.
    pub client: Option<Mac>,
    /// Address that the client has.
    pub ciaddr: Ipv4Addr,
    /// Address that the server gives.
    pub yiaddr: Ipv4Addr,
    /// Next server for booting.
    pub siaddr: Ipv4Addr,
    /// Relay that the message went through.
    pub giaddr: Ipv4Addr,
    /// Type; `None` for plain BOOTP.
    pub kind: Option<DhcpType>,
    /// Address that the client would like (option 50).
    pub requested: Option<Ipv4Addr>,
    /// Which server (option 54).
    pub server: Option<Ipv4Addr>,
    /// Seconds of the lease (option 51).
    pub lease_s: Option<u32>,
    /// Network mask (option 1).
    pub mask: Option<Ipv4Addr>,
    /// First router (option 3).
    pub router: Option<Ipv4Addr>,
    /// Host name (option 12), cleaned.
    pub host_name: Option<String>,
    /// Vendor class (option 60), cleaned.
    pub vendor_class: Option<String>,
    /// Client identifier (option 61), type byte first; at most [`MAX_CLIENT_ID`] bytes.
    pub client_id: Option<Vec<u8>>,
    /// Whether the recorder cut it: the type and whatever else is not there may have been sent.
    pub cut: bool,
}

impl Dhcp {
    /// Reads the payload of a datagram to or from [`DHCP_PORTS`]. Of one that the recorder cut behind the client's
    /// address there is that address and no options, so no type.
    ///
    /// # Errors
    /// When its fixed part is not there.
    pub fn parse(bytes: &[u8], cut: bool) -> Result<Self, Malformed> {
        let mut padded = [0; HEADER];
        let bytes = match (padded.get_mut(..bytes.len()), cut && bytes.len() >= ADDRESSES) {
            (Some(head), true) => {
                head.copy_from_slice(bytes);
                &padded[..]
            }
            _ => bytes,
        };
        let (head, options) = bytes
            .split_first_chunk::<HEADER>()
            .ok_or_else(|| Malformed::short("dhcp", HEADER, bytes.len(), cut))?;
        // The fixed part is there, and so are its addresses.
        let address = |at| v4(head, at).unwrap_or(Ipv4Addr::UNSPECIFIED);
        let mut dhcp = Self {
            from_client: head.first() == Some(&1),
            xid: be32(head, 4).unwrap_or(0),
            client: (head.get(1..3) == Some(&[1, 6])).then(|| super::bytes::mac(head, 28)).flatten(),
            ciaddr: address(12),
            yiaddr: address(16),
            siaddr: address(20),
            giaddr: address(24),
            kind: None,
            requested: None,
            server: None,
            lease_s: None,
            mask: None,
            router: None,
            host_name: None,
            vendor_class: None,
            client_id: None,
            cut,
        };
        if !head.ends_with(&COOKIE) {
            return Ok(dhcp);
        }
        let overload = dhcp.options(options);
        // Option 52 puts more options where file and server name would stand (RFC 2132 9.3).
        if overload & 1 != 0 {
            dhcp.options(head.get(108..236).unwrap_or_default());
        }
        if overload & 2 != 0 {
            dhcp.options(head.get(44..108).unwrap_or_default());
        }
        Ok(dhcp)
    }

    /// Reads options; returns the overload option's value.
    fn options(&mut self, options: &[u8]) -> u8 {
        let mut overload = 0;
        for (code, data) in (DhcpOptions { rest: options }).take(MAX_OPTIONS) {
            let data = &*data;
            let byte = data.first().copied();
            match code {
                1 => self.mask = v4(data, 0),
                3 => self.router = v4(data, 0),
                12 => self.host_name = clean_some(data),
                50 => self.requested = v4(data, 0),
                51 => self.lease_s = be32(data, 0),
                52 => overload = byte.unwrap_or(0),
                53 => self.kind = byte.map(DhcpType::from_code),
                54 => self.server = v4(data, 0),
                60 => self.vendor_class = clean_some(data),
                61 => self.client_id = Some(data.get(..MAX_CLIENT_ID).unwrap_or(data).to_vec()),
                _ => {}
            }
        }
        overload
    }

    /// Whether a client without an address asks for one: of a message whose type the recorder cut off, everything else tells
    /// (RFC 2131 table 5). Whether it looks for any server, or takes an offer, is open then.
    #[must_use]
    pub fn seeks(&self, to_all: bool) -> bool {
        self.from_client && self.cut && self.kind.is_none() && to_all && self.ciaddr.is_unspecified()
    }

    /// What a server's message is for; one whose type the recorder cut off gives an address at least, when it names one.
    #[must_use]
    pub fn answer(&self) -> Option<DhcpType> {
        self.kind.or_else(|| (self.cut && !self.yiaddr.is_unspecified()).then_some(DhcpType::Offer))
    }

    /// The state of a client that sends a REQUEST; `None` for other messages. `to_all` says whether it went to everyone
    /// (255.255.255.255 or the broadcast hardware address).
    #[must_use]
    pub fn request_state(&self, to_all: bool) -> Option<RequestState> {
        if self.kind != Some(DhcpType::Request) {
            return None;
        }
        Some(match (self.server, self.ciaddr.is_unspecified()) {
            (Some(_), true) => RequestState::Selecting,
            (None, true) => RequestState::InitReboot,
            (_, false) if to_all => RequestState::Rebinding,
            (_, false) => RequestState::Renewing,
        })
    }
}

/// The options in a field, with their codes (RFC 2132 section 2). One in several parts that follow each other is one
/// (RFC 3396 section 5); what is cut off is none.
struct DhcpOptions<'a> {
    rest: &'a [u8],
}

impl<'a> DhcpOptions<'a> {
    /// Length and data behind a code.
    fn data(&mut self) -> Option<&'a [u8]> {
        let (len, rest) = self.rest.split_first()?;
        let (data, rest) = rest.split_at_checked(usize::from(*len))?;
        self.rest = rest;
        Some(data)
    }
}

impl<'a> Iterator for DhcpOptions<'a> {
    type Item = (u8, Cow<'a, [u8]>);

    fn next(&mut self) -> Option<Self::Item> {
        // Padding has no length, and neither has the end.
        let padding = self.rest.iter().take_while(|code| **code == 0).count();
        let (&code, rest) = self.rest.get(padding..)?.split_first().filter(|(code, _)| **code != 255)?;
        self.rest = rest;
        let mut data = Cow::Borrowed(self.data()?);
        while let Some(rest) = self.rest.strip_prefix(&[code]) {
            self.rest = rest;
            data.to_mut().extend_from_slice(self.data()?);
        }
        Some((code, data))
    }
}

impl DhcpType {
    const fn from_code(code: u8) -> Self {
        match code {
            1 => Self::Discover,
            2 => Self::Offer,
            3 => Self::Request,
            4 => Self::Decline,
            5 => Self::Ack,
            6 => Self::Nak,
            7 => Self::Release,
            8 => Self::Inform,
            other => Self::Other(other),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STATION: Mac = Mac([0, 0, 0x5E, 0, 0x53, 1]);

    fn message(op: u8, ciaddr: [u8; 4], yiaddr: [u8; 4], options: &[u8]) -> Vec<u8> {
        let mut bytes = vec![op, 1, 6, 0, 0x12, 0x34, 0x56, 0x78, 0, 0, 0, 0];
        bytes.extend(ciaddr);
        bytes.extend(yiaddr);
        bytes.extend([0; 8]);
        bytes.extend(STATION.0);
        bytes.resize(236, 0);
        bytes.extend([0x63, 0x82, 0x53, 0x63]);
        bytes.extend(options);
        bytes.push(255);
        bytes
    }

    /// Discover with host name, vendor class and client identifier; offer with lease 3600 s, mask, router.
    #[test]
    fn an_exchange() {
        let mut options = vec![53, 1, 1, 12, 7];
        options.extend(b"display");
        options.extend([60, 4]);
        options.extend(b"mfd\x07");
        options.extend([61, 7, 1, 0, 0, 0x5E, 0, 0x53, 1]);
        let discover = Dhcp::parse(&message(1, [0; 4], [0; 4], &options), false).unwrap();
        assert!(discover.from_client);
        assert_eq!((discover.xid, discover.client), (0x1234_5678, Some(STATION)));
        assert_eq!((discover.kind, discover.request_state(true)), (Some(DhcpType::Discover), None));
        assert_eq!(discover.host_name.as_deref(), Some("display"));
        assert_eq!(discover.vendor_class.as_deref(), Some("mfd\u{FFFD}"));
        assert_eq!(discover.client_id.as_deref(), Some(&[1, 0, 0, 0x5E, 0, 0x53, 1][..]));

        let options = [
            53, 1, 2, 54, 4, 192, 0, 2, 1, 51, 4, 0, 0, 0x0E, 0x10, 1, 4, 255, 255, 255, 0, 3, 4, 192, 0, 2,
            254,
        ];
        let offer = Dhcp::parse(&message(2, [0; 4], [192, 0, 2, 10], &options), false).unwrap();
        assert!(!offer.from_client);
        assert_eq!((offer.kind, offer.yiaddr), (Some(DhcpType::Offer), Ipv4Addr::new(192, 0, 2, 10)));
        assert_eq!((offer.server, offer.lease_s), (Some(Ipv4Addr::new(192, 0, 2, 1)), Some(3600)));
        assert_eq!(offer.mask, Some(Ipv4Addr::new(255, 255, 255, 0)));
        assert_eq!(offer.router, Some(Ipv4Addr::new(192, 0, 2, 254)));
    }

    #[test]
    fn request_states() {
        let state = |ciaddr, options: &[u8], to_all| {
            Dhcp::parse(&message(1, ciaddr, [0; 4], options), false).unwrap().request_state(to_all)
        };
        let (own, none) = ([192, 0, 2, 10], [0; 4]);
        let chosen = [53, 1, 3, 54, 4, 192, 0, 2, 1, 50, 4, 192, 0, 2, 10];
        assert_eq!(state(none, &chosen, true), Some(RequestState::Selecting));
        let remembered = [53, 1, 3, 50, 4, 192, 0, 2, 10];
        assert_eq!(state(none, &remembered, true), Some(RequestState::InitReboot));
        assert_eq!(state(own, &[53, 1, 3], false), Some(RequestState::Renewing));
        assert_eq!(state(own, &[53, 1, 3], true), Some(RequestState::Rebinding));
    }

    #[test]
    fn types() {
        let kinds = (1..=9).map(|code| {
            Dhcp::parse(&message(1, [0; 4], [0; 4], &[53, 1, code]), false).unwrap().kind.unwrap()
        });
        use DhcpType::{Ack, Decline, Discover, Inform, Nak, Offer, Other, Release, Request};
        assert!(
            kinds.eq([Discover, Offer, Request, Decline, Ack, Nak, Release, Inform, Other(9)]),
            "RFC 2132 9.6"
        );
    }

    #[test]
    fn options_in_the_name_fields() {
        let mut bytes = message(1, [0; 4], [0; 4], &[52, 1, 3]);
        bytes[108..112].copy_from_slice(&[53, 1, 5, 255]);
        bytes[44..49].copy_from_slice(&[12, 2, b'h', b'i', 255]);
        let dhcp = Dhcp::parse(&bytes, false).unwrap();
        assert_eq!((dhcp.kind, dhcp.host_name.as_deref()), (Some(DhcpType::Ack), Some("hi")));
    }

    proptest::proptest! {
        /// The crate `dhcproto` finds the same options in any bytes.
        #[test]
        fn an_independent_reader_finds_the_same_options(
            parts in proptest::collection::vec((0u8..4, 0u8..6, proptest::collection::vec(0u8..8, 0..7)), 0..12),
        ) {
            let codes = [0, 12, 53, 255];
            let bytes: Vec<u8> = parts
                .into_iter()
                .flat_map(|(code, len, data)| [&[codes[usize::from(code)], len][..], &data].concat())
                .collect();
            let theirs: Vec<(u8, Vec<u8>)> = dhcproto::v4::borrowed::DhcpOptionIterator::new(&bytes)
                .map(|option| (option.code().into(), option.data().to_vec()))
                .collect();
            let ours: Vec<(u8, Vec<u8>)> =
                DhcpOptions { rest: &bytes }.map(|(code, data)| (code, data.into_owned())).collect();
            proptest::prop_assert_eq!(ours, theirs);
        }
    }

    #[test]
    fn short_and_hostile() {
        let bytes = message(1, [0; 4], [0; 4], &[53, 1, 1, 12, 200, b'x']);
        for len in 0..bytes.len() {
            let whole = Dhcp::parse(&bytes[..len], false);
            assert_eq!(whole.is_ok(), len >= 240, "{len}");
            let cut = Dhcp::parse(&bytes[..len], true);
            assert_eq!(cut.as_ref().is_ok(), len >= 44, "{len}");
            assert!(
                cut.is_ok_and(|d| d.client == Some(STATION) && (len >= 243 || d.kind.is_none())) || len < 44
            );
        }
        let mut long_address = message(1, [0; 4], [0; 4], &[]);
        long_address[2] = 255;
        assert_eq!(Dhcp::parse(&long_address, false).unwrap().client, None);
        let mut bootp = message(1, [0; 4], [0; 4], &[53, 1, 1]);
        bootp[236] = 0;
        assert_eq!(Dhcp::parse(&bootp, false).unwrap().kind, None, "no cookie, no options");
    }
}
