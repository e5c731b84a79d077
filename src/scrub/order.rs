//! What is left for the packer to do: marks of blanked payloads, and the checksums over them.
//!
//! The payload itself is blanked at the desk, so nothing of it can leave by an order that is lost.

use super::content::Marker;
use super::fix::{Checksum, write_sum};
use std::collections::VecDeque;

/// Payloads that are shorter get their mark at once: there is nothing to gain.
const WORTHWHILE: usize = 24;

/// A mark that is wanted in a datagram.
#[derive(Debug, Clone, Copy)]
pub(super) struct Order {
    /// Where the datagram begins: on the tape, then in a portion.
    at: u64,
    len: usize,
    /// Where its payload begins in it; the mark stands there.
    mark_at: usize,
    /// Bytes of the payload as it was.
    text: usize,
    checksum: Checksum,
}

/// Orders in the order of the recording, with the payloads that are to be marked. Each is for bytes that are still on the
/// tape: what bounds the tape bounds them.
#[derive(Debug, Default)]
pub(super) struct Orders {
    list: VecDeque<Order>,
    texts: VecDeque<u8>,
}

/// The orders of one portion.
#[derive(Debug, Default)]
pub(super) struct Slip {
    list: Vec<Order>,
    texts: Vec<u8>,
}

impl Orders {
    /// Whether a payload is left to the packer: an empty one (all zeros) gets no mark.
    pub(super) fn worthwhile(payload: &[u8]) -> bool {
        payload.len() >= WORTHWHILE && payload.iter().any(|byte| *byte != 0)
    }

    /// Orders a mark of `text`, the payload that begins at `mark_at` of the datagram at `place` (offset and length), and
    /// the datagram's checksum.
    pub(super) fn add(&mut self, place: (u64, usize), mark_at: usize, text: &[u8], checksum: Checksum) {
        self.list.push_back(Order { at: place.0, len: place.1, mark_at, text: text.len(), checksum });
        self.texts.extend(text);
    }

    /// Where a portion that would end at `to` may end: in no datagram that waits for its mark.
    pub(super) fn cut(&self, to: u64) -> u64 {
        let next = self.list.partition_point(|order| order.at + order.len as u64 <= to);
        self.list.get(next).map_or(to, |order| order.at.min(to))
    }

    /// Takes the orders for the bytes from `from` to `to` of the tape.
    pub(super) fn take(&mut self, from: u64, to: u64, slip: &mut Slip) {
        slip.list.clear();
        slip.texts.clear();
        while let Some(order) = self.list.front().filter(|order| order.at < to) {
            slip.list.push(Order { at: order.at.saturating_sub(from), ..*order });
            let (first, second) = self.texts.as_slices();
            let (first, rest) = first.split_at_checked(order.text).unwrap_or((first, second));
            slip.texts.extend_from_slice(first);
            slip.texts.extend_from_slice(rest.get(..order.text - first.len()).unwrap_or_default());
            self.texts.drain(..order.text.min(self.texts.len()));
            self.list.pop_front();
        }
    }
}

impl Slip {
    /// Carries the orders out.
    pub(super) fn fill(&self, marker: &Marker, portion: &mut [u8]) {
        let mut texts = self.texts.as_slice();
        for Order { at, len, mark_at, text, checksum } in &self.list {
            let (text, behind) = texts.split_at_checked(*text).unwrap_or_default();
            texts = behind;
            let from = *at as usize;
            let Some(datagram) = portion.get_mut(from..from.saturating_add(*len)) else { continue };
            for (to, byte) in datagram.iter_mut().skip(*mark_at).zip(marker.mark(text)) {
                *to = byte;
            }
            let Checksum { at, pseudo, seal, udp } = *checksum;
            write_sum(datagram, at, pseudo, seal, udp);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::content::{Content, ContentOptions, Key};
    use super::super::fix::Seal;
    use super::*;

    /// Wherever a portion ends, each datagram gets the mark of its own payload, once.
    #[test]
    fn marks_find_their_datagrams() {
        let content = Content::new(Key([5; 32]), ContentOptions::default());
        let text = |n: u8| vec![n + 1; 30 + usize::from(n) % 7];
        let checksum = Checksum { at: 6, pseudo: 99, seal: Seal::Right, udp: true };
        let mut orders = Orders::default();
        let (mut from, mut next) = (1000_u64, 0_u8);
        let mut slip = Slip::default();
        for round in 0..40_u64 {
            // Three datagrams of 100 bytes are added a round, and portions end anywhere.
            for _ in 0..3 {
                let n = next;
                orders.add((1000 + u64::from(n) * 100, 8 + text(n).len()), 8, &text(n), checksum);
                next += 1;
            }
            let end = orders.cut(1000 + u64::from(next) * 100 - (round * 37) % 150);
            let mut portion = vec![0; (end - from) as usize];
            orders.take(from, end, &mut slip);
            slip.fill(&content.marker(), &mut portion);
            for n in 0..next {
                let at = 1000 + u64::from(n) * 100;
                let Some(at) = at.checked_sub(from).filter(|_| at < end) else { continue };
                let at = at as usize;
                let len = 8 + text(n).len();
                let datagram = portion.get(at..at + len).expect("no datagram is cut");
                assert_eq!(datagram.get(8..16), Some(content.mark(&text(n)).as_slice()));
                let mut want = datagram.to_vec();
                write_sum(&mut want, 6, 99, Seal::Right, true);
                assert_eq!(datagram, want);
            }
            from = end;
        }
        assert!(
            !Orders::worthwhile(&[0; 40]) && !Orders::worthwhile(&[1; 8]) && Orders::worthwhile(&text(1))
        );
    }
}
