//! Frames of which the link does not say whom they were for, as a recorder on all links of a machine at once writes them: what
//! stands in one such recording need not be one network.

use super::inventory::DeviceId;

/// What a link says of such a frame.
#[derive(Debug, Clone, Copy)]
pub struct Passage {
    /// Whether the recording machine sent it, where the link says.
    pub outgoing: Option<bool>,
    /// Whether it was for another station than that machine.
    pub overheard: bool,
    /// The number of the machine's interface that it passed, where the link says.
    pub interface: Option<u32>,
}

/// Such frames of one recording.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unaddressed {
    /// The only interface so far.
    interface: Option<u32>,
    /// The only host so far as which the machine speaks, of frames that name no interface.
    own: Option<DeviceId>,
    /// Frames that name no interface and were for others: some interface hears all.
    overheard: bool,
    /// They passed several interfaces, or they may have.
    several: bool,
}

impl Unaddressed {
    /// Notes a frame of a host.
    pub fn note(&mut self, host: DeviceId, passage: Passage) {
        match passage {
            Passage { interface: Some(interface), .. } => {
                self.several |= *self.interface.get_or_insert(interface) != interface;
            }
            // A machine that is up on a link says something there, as its own host.
            Passage { outgoing: Some(true), .. } => {
                self.several |= *self.own.get_or_insert(host) != host;
            }
            Passage { outgoing: Some(false), overheard, .. } => self.overheard |= overheard,
            Passage { outgoing: None, .. } => self.several = true,
        }
    }

    /// The only host as which the machine speaks, of frames that name no interface.
    #[must_use]
    pub const fn own(&self) -> Option<DeviceId> {
        self.own
    }

    /// Whether there may be several networks among them. A machine that says nothing where it hears all, as at a mirror port,
    /// may speak on another link.
    #[must_use]
    pub const fn may_mix(&self) -> bool {
        self.several || self.own.is_some() && self.overheard
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OTHERS: Passage = Passage { outgoing: Some(false), overheard: true, interface: None };
    const OWN: Passage = Passage { outgoing: Some(true), overheard: false, interface: None };

    fn may_mix(frames: &[(u32, Passage)]) -> bool {
        let mut all = Unaddressed::default();
        frames.iter().for_each(|(host, passage)| all.note(DeviceId(*host), *passage));
        all.may_mix()
    }

    #[test]
    fn one_interface_is_one_network() {
        let at = |interface| Passage { interface: Some(interface), ..OTHERS };
        assert!(!may_mix(&[(1, at(2)), (2, at(2)), (3, Passage { interface: Some(2), ..OWN })]));
        assert!(may_mix(&[(1, at(2)), (2, at(3))]));
    }

    #[test]
    fn without_its_number_the_machine_itself_shows_on_how_many_links_it_is() {
        let heard = Passage { overheard: false, ..OTHERS };
        assert!(!may_mix(&[(1, OTHERS), (2, OTHERS)]), "a mirror port");
        assert!(!may_mix(&[(1, heard), (2, OWN), (2, OWN)]), "its own port");
        assert!(may_mix(&[(1, heard), (2, OWN), (3, OWN)]), "two of them");
        assert!(may_mix(&[(1, OTHERS), (2, OWN)]), "a mirror port, and another port");
        assert!(may_mix(&[(1, Passage { outgoing: None, ..heard })]), "no header at all");
    }
}
