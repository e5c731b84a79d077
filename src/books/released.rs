//! Flows of datagrams between two hosts whose TCP connection was closed: a camera's pictures, say, that were asked for by it.

use super::bounded;
use super::inventory::DeviceId;
use crate::time::Time;

/// Most flows that are remembered, a network.
const MAX_RELEASED: usize = 256;

/// Most ends that are remembered of each, the last ones.
const MAX_ENDS: usize = 16;

/// A flow, and when a connection between its sender and its receiver ended.
#[derive(Debug, Clone)]
struct Flow {
    device: DeviceId,
    part: u32,
    ends: Vec<Time>,
}

/// The flows of a network whose sender had a connection to their receiver that ended.
#[derive(Debug, Clone, Default)]
pub struct Released(Vec<Flow>);

impl Released {
    /// Notes the end of a connection between the sender and the receiver of a flow: which of the sender's streams in the timing book.
    pub fn note(&mut self, device: DeviceId, part: u32, at: Time) {
        let is_it = |flow: &Flow| flow.device == device && flow.part == part;
        let new = || Flow { device, part, ends: Vec::new() };
        let Some(flow) = bounded::entry(&mut self.0, MAX_RELEASED, is_it, new) else { return };
        if flow.ends.len() >= MAX_ENDS {
            flow.ends.remove(0);
        }
        flow.ends.push(at);
    }

    /// When connections between the sender and the receiver of a flow ended.
    #[must_use]
    pub fn ends(&self, device: DeviceId, part: u32) -> &[Time] {
        let flow = self.0.iter().find(|flow| flow.device == device && flow.part == part);
        flow.map_or(&[], |flow| &flow.ends)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_ends_of_each_flow_are_kept() {
        let mut released = Released::default();
        for s in 0..40 {
            released.note(DeviceId(1), 7, Time(s));
        }
        assert_eq!(released.ends(DeviceId(1), 7).len(), MAX_ENDS);
        assert_eq!(released.ends(DeviceId(1), 7).last(), Some(&Time(39)));
        assert!(released.ends(DeviceId(1), 8).is_empty() && released.ends(DeviceId(2), 7).is_empty());
    }
}
