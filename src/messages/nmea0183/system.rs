//! What equipment says of itself: HBT, TXT, ALR, ALF, ALC, SRP. They carry no readings.
//!
//! Source: IEC 61162-1 ed. 5; SRP from IEC 61162-450.

use super::Sentence;

/// HBT: heartbeat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heartbeat {
    /// Seconds between heartbeats, when fixed.
    pub interval_s: Option<f64>,
    /// Whether the equipment calls itself sound; `None` when it does not say.
    pub normal: Option<bool>,
    /// Counts 0 to 9 and wraps; a gap is a lost sentence.
    pub sequence: Option<u8>,
}

/// TXT: a message in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Text<'a> {
    /// Text identifier; GNSS receivers use 0 error, 1 warning, 2 notice, 7 user.
    pub id: Option<u8>,
    /// The words. Text from a stranger.
    pub words: &'a str,
}

/// ALR: an alarm's state. ALF: an alert's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Alert<'a> {
    /// Alarm number or alert identifier.
    pub id: Option<u32>,
    /// Which one of several alike.
    pub instance: Option<u32>,
    /// Whether its cause lasts.
    pub active: bool,
    /// Whether someone has acknowledged it.
    pub acknowledged: bool,
    /// ALF: `E` emergency, `A` alarm, `W` warning, `C` caution. Empty in an ALR.
    pub priority: &'a str,
    /// The words. Text from a stranger.
    pub words: &'a str,
}

/// SRP: which host has a system function id.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SystemFunction<'a> {
    /// Instance of redundancy; empty when there is none.
    pub instance: &'a str,
    /// MAC address, twelve hexadecimal digits.
    pub mac: &'a str,
    /// IP address as text.
    pub ip: &'a str,
}

/// One of the sentences of this family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SystemMessage<'a> {
    /// HBT.
    Heartbeat(Heartbeat),
    /// TXT.
    Text(Text<'a>),
    /// ALR or ALF.
    Alert(Alert<'a>),
    /// ALC: number of alerts in the cyclic list.
    AlertList(u32),
    /// SRP.
    SystemFunction(SystemFunction<'a>),
}

impl<'a> SystemMessage<'a> {
    /// Reads a sentence of this family; `None` for any other and for one that lacks what it is for.
    #[must_use]
    pub fn read(s: &Sentence<'a>) -> Option<Self> {
        let text = |n| s.field(n).unwrap_or_default();
        Some(match s.formatter()? {
            "HBT" => Self::Heartbeat(Heartbeat {
                interval_s: s.number(1).ok(),
                normal: match text(2) {
                    "A" => Some(true),
                    "V" => Some(false),
                    _ => None,
                },
                sequence: s.whole(3),
            }),
            "TXT" => Self::Text(Text { id: s.whole(3), words: s.field(4)? }),
            "ALR" => Self::Alert(Alert {
                id: s.whole(2),
                instance: None,
                active: text(3) == "A",
                acknowledged: text(4) == "A",
                priority: "",
                words: text(5),
            }),
            "ALF" => Self::Alert(Alert {
                id: s.whole(9),
                instance: s.whole(10),
                active: matches!(text(7), "V" | "S" | "A" | "O"),
                acknowledged: matches!(text(7), "A" | "O" | "N"),
                priority: text(6),
                words: text(13),
            }),
            "ALC" => Self::AlertList(s.whole(4)?),
            "SRP" => {
                Self::SystemFunction(SystemFunction { instance: text(1), mac: s.field(2)?, ip: s.field(3)? })
            }
            _ => return None,
        })
    }
}
