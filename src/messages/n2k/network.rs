//! Messages that nodes exchange about themselves and each other.
//!
//! Sources: ISO 11783-3 5.4 (request, acknowledgement), ISO 11783-5 (claims, commanded address), NMEA 2000 main text
//! (group function, lists), NMEA corrigendum 126993 (heartbeat).

use super::field::Fields;
use super::id::{CanId, NULL_ADDRESS};
use super::name::Name;
use super::product::{ConfigurationInformation, ProductInformation};

/// PGNs read of one list: what fits a fast packet.
const MAX_LISTED: usize = 74;

/// A network management message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NetworkMessage {
    /// 60928: the sender claims its address, or says that it cannot claim any.
    Claim {
        /// Who claims.
        name: Name,
        /// No address is to be had ("cannot claim", sent from the null address).
        cannot: bool,
    },
    /// 59904: the destination is asked for a message.
    Request {
        /// The message asked for.
        pgn: u32,
    },
    /// 59392: answer to a request or command.
    Acknowledge {
        /// What the answer is.
        answer: Answer,
        /// Group function value, if any.
        group_function: Option<u8>,
        /// Whom the answer is for, where the sender says so.
        address: Option<u8>,
        /// The message that the answer is about.
        pgn: u32,
    },
    /// 65240: a node is told to take another address.
    CommandedAddress {
        /// Which node.
        name: Name,
        /// Its new address.
        address: u8,
    },
    /// 126208: request, command, read or write of single fields.
    GroupFunction(GroupFunction),
    /// 126464: the messages that the sender knows.
    PgnList {
        /// Those that it transmits; else those that it receives.
        transmits: bool,
        /// The messages.
        pgns: Vec<u32>,
    },
    /// 126993: sign of life.
    Heartbeat(Heartbeat),
    /// 126996.
    Product(Box<ProductInformation>),
    /// 126998.
    Configuration(Box<ConfigurationInformation>),
}

/// Answer of an ISO acknowledgement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Answer {
    /// Done.
    Acknowledged,
    /// Not supported.
    Refused,
    /// Access denied.
    Denied,
    /// Cannot respond now.
    Busy,
    /// A control byte that the standard does not define.
    Unknown(u8),
}

/// What a group function wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FunctionCode {
    /// 0: send a message, or change its interval.
    Request,
    /// 1: change fields.
    Command,
    /// 2: answer to 0 and 1.
    Acknowledge,
    /// 3: read fields.
    Read,
    /// 4: answer to 3.
    ReadReply,
    /// 5: write fields.
    Write,
    /// 6: answer to 5.
    WriteReply,
    /// A code that the standard does not define.
    Unknown(u8),
}

/// A group function, summarised.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GroupFunction {
    /// What it wants.
    pub function: FunctionCode,
    /// The message that it is about.
    pub pgn: u32,
    /// Request: transmission interval asked for in milliseconds; 0 is "stop". `None`: left as it is, or set back to the
    /// default.
    pub interval_ms: Option<u32>,
    /// Field pairs or parameters that follow.
    pub parameters: Option<u8>,
    /// Acknowledge: the PGN error code, 0 when all is well.
    pub pgn_error: Option<u8>,
    /// Acknowledge: the interval or priority error code, 0 when all is well.
    pub interval_error: Option<u8>,
}

/// Sign of life of a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Heartbeat {
    /// Interval as sent; senders differ on whether its step is 1 ms or 10 ms.
    pub interval_raw: Option<u16>,
    /// 0 to 252, one more each time.
    pub counter: Option<u8>,
    /// CAN controller 1: 0 error active, 1 error passive, 2 bus off.
    pub controller_1: Option<u8>,
    /// CAN controller 2, likewise.
    pub controller_2: Option<u8>,
    /// 0 operational, 1 fault.
    pub equipment: Option<u8>,
}

/// Reads a network management message; `None` for any other PGN and when the message is too short to mean anything.
#[must_use]
#[inline]
pub fn network(id: CanId, data: &[u8]) -> Option<NetworkMessage> {
    // All but a few messages are about the boat.
    if is_network(id.pgn) { read(id, data) } else { None }
}

/// Whether [`network`] may have something to read in a message.
#[must_use]
#[inline]
pub const fn is_network(pgn: u32) -> bool {
    matches!(pgn, 59_392 | 59_904 | 60_928 | 65_240 | 126_208 | 126_464 | 126_993 | 126_996 | 126_998)
}

fn read(id: CanId, data: &[u8]) -> Option<NetworkMessage> {
    let fields = Fields(data);
    Some(match id.pgn {
        60_928 => NetworkMessage::Claim { name: Name::from_claim(data)?, cannot: id.source == NULL_ADDRESS },
        59_904 => NetworkMessage::Request { pgn: pgn_at(fields, 0)? },
        59_392 => NetworkMessage::Acknowledge {
            answer: match *data.first()? {
                0 => Answer::Acknowledged,
                1 => Answer::Refused,
                2 => Answer::Denied,
                3 => Answer::Busy,
                code => Answer::Unknown(code),
            },
            group_function: data.get(1).copied().filter(|value| *value != 0xFF),
            address: data.get(4).copied().filter(|value| *value != 0xFF),
            pgn: pgn_at(fields, 5)?,
        },
        65_240 => NetworkMessage::CommandedAddress { name: Name::from_claim(data)?, address: *data.get(8)? },
        126_208 => NetworkMessage::GroupFunction(group_function(data)?),
        126_464 => {
            let kind = *data.first()?;
            let listed = (data.len() / 3).min(MAX_LISTED);
            NetworkMessage::PgnList {
                transmits: match kind {
                    0 => true,
                    1 => false,
                    _ => return None,
                },
                pgns: (0..listed).map_while(|n| pgn_at(fields, 1 + 3 * n)).collect(),
            }
        }
        126_993 => {
            data.get(..3)?;
            NetworkMessage::Heartbeat(Heartbeat {
                interval_raw: fields.unsigned(0, 16).ok().and_then(|raw| u16::try_from(raw).ok()),
                counter: fields.small(16, 8),
                controller_1: state(fields, 24),
                controller_2: state(fields, 26),
                equipment: state(fields, 28),
            })
        }
        126_996 => {
            data.get(..4)?;
            NetworkMessage::Product(Box::new(ProductInformation::read(data)))
        }
        126_998 => {
            data.get(..2)?;
            NetworkMessage::Configuration(Box::new(ConfigurationInformation::read(data)))
        }
        _ => return None,
    })
}

/// A two-bit state whose value 2 has a meaning of its own; 3 is "not available".
fn state(fields: Fields<'_>, start: usize) -> Option<u8> {
    fields.raw(start, 2).filter(|value| *value != 3).map(|value| value as u8)
}

fn pgn_at(fields: Fields<'_>, byte: usize) -> Option<u32> {
    fields.raw(byte * 8, 24).map(|pgn| pgn as u32)
}

fn group_function(data: &[u8]) -> Option<GroupFunction> {
    let fields = Fields(data);
    let function = match *data.first()? {
        0 => FunctionCode::Request,
        1 => FunctionCode::Command,
        2 => FunctionCode::Acknowledge,
        3 => FunctionCode::Read,
        4 => FunctionCode::ReadReply,
        5 => FunctionCode::Write,
        6 => FunctionCode::WriteReply,
        code => FunctionCode::Unknown(code),
    };
    let mut summary = GroupFunction {
        function,
        pgn: pgn_at(fields, 1)?,
        interval_ms: None,
        parameters: None,
        pgn_error: None,
        interval_error: None,
    };
    match function {
        FunctionCode::Request => {
            // 0xFFFFFFFF leaves the interval, 0xFFFFFFFE restores the default.
            let interval = fields.raw(32, 32).map(|raw| raw as u32);
            summary.interval_ms = interval.filter(|interval| *interval < 0xFFFF_FFFE);
            summary.parameters = data.get(10).copied();
        }
        FunctionCode::Command => summary.parameters = data.get(5).copied(),
        FunctionCode::Acknowledge => {
            summary.pgn_error = fields.raw(32, 4).map(|code| code as u8);
            summary.interval_error = fields.raw(36, 4).map(|code| code as u8);
            summary.parameters = data.get(5).copied();
        }
        FunctionCode::Read | FunctionCode::ReadReply | FunctionCode::Write | FunctionCode::WriteReply => {
            // A proprietary message's manufacturer stands before the unique id and the two counts.
            let proprietary = matches!(summary.pgn, 61_184 | 65_280..=65_535 | 126_720 | 130_816..=131_071);
            summary.parameters = data.get(if proprietary { 8 } else { 6 }).copied();
        }
        FunctionCode::Unknown(_) => {}
    }
    Some(summary)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_other_number_is_a_network_message_s() {
        let read_pgns: Vec<u32> = (0..1 << 18)
            .filter(|pgn| {
                read(CanId { priority: 6, pgn: *pgn, source: 1, destination: 255 }, &[0; 223]).is_some()
            })
            .collect();
        assert_eq!(read_pgns, (0..1 << 18).filter(|pgn| is_network(*pgn)).collect::<Vec<_>>());
    }
}
