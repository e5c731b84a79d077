//! Addresses that hosts ask for by ARP, and how they ask.

use super::inventory::DeviceId;
use crate::time::{Span, Time};
use std::net::Ipv4Addr;

/// A host repeats an ARP request once a second at most (RFC 1122 2.3.2.1), give or take its timer, seconds.
const ASKS_AGAIN_S: f64 = 0.9;

/// Who got no answer asks again within this time, seconds: once a second (RFC 1122 2.3.2.1), give or take. Requests that follow
/// each other much sooner are of packets that waited for one answer.
const RETRIES_S: std::ops::RangeInclusive<f64> = 0.5..=2.5;

/// So many requests one after the other are common stacks' way to seek a host that does not answer (common practice: three).
const TRIES: u32 = 3;

/// An address that a host asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// Who asks.
    pub device: DeviceId,
    /// For which address.
    pub ip: Ipv4Addr,
    /// How often.
    pub asks: u64,
    /// Those of them that may be earlier ones that a switching loop brought back: the very frame, sooner than a host asks again.
    pub again: u64,
    /// How often it asked three times or more, again and again within a second or two: who got an answer does not.
    pub bursts: u64,
    /// How often a request stood alone, or two did.
    pub short: u64,
    /// First and last time.
    pub span: Span,
    /// The last one that is the host's own in any case.
    own: Time,
    /// How many stand one after the other at last.
    tries: u32,
}

impl Asked {
    pub(super) fn new(device: DeviceId, ip: Ipv4Addr, time: Time) -> Self {
        let span = Span::new(time, time);
        Self { device, ip, asks: 1, again: 0, bursts: 0, short: 1, span, own: time, tries: 1 }
    }

    /// Books another request; `seen_before` when the very frame was within the last second. Says whether it is the third or a later one
    /// within seconds, as nobody asks who gets an answer.
    pub(super) fn once_more(&mut self, time: Time, seen_before: bool) -> bool {
        self.asks += 1;
        self.span.to = self.span.to.max(time);
        let since = time.since(self.own);
        if seen_before && since < ASKS_AGAIN_S {
            self.again += 1;
            return false;
        }
        self.own = time;
        if since < *RETRIES_S.start() {
            return false;
        }
        self.tries = if RETRIES_S.contains(&since) { self.tries.saturating_add(1) } else { 1 };
        self.short += u64::from(self.tries == 1);
        if self.tries == TRIES {
            self.bursts += 1;
            self.short = self.short.saturating_sub(1);
        }
        self.tries >= TRIES
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(times: &[f64]) -> (u64, u64) {
        let mut asked = Asked::new(DeviceId(0), Ipv4Addr::LOCALHOST, Time(0));
        for s in times {
            asked.once_more(Time(0).plus(*s), false);
        }
        (asked.bursts, asked.short)
    }

    #[test]
    fn three_tries_are_a_burst() {
        assert_eq!(asked(&[1.0, 2.0, 30.0, 31.0, 32.0, 33.0, 60.0]), (2, 1));
        assert_eq!(asked(&[30.0, 31.0, 60.0, 90.0]), (0, 4));
        assert_eq!(asked(&[0.01, 0.02, 30.0, 30.01, 30.02]), (0, 2), "packets that wait for one answer");
    }
}
