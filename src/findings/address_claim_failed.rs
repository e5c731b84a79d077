//! A device says that it can claim no address.

use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::inventory::DeviceId;
use crate::messages::n2k::NULL_ADDRESS;
use crate::report::model::Severity;
use crate::time::{Span, Time};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "address-claim-failed",
        severity: "fault",
        meaning: "A device wanted an address, lost it to another one and found no free one that it may take. It stays on the \
                  bus and may send nothing there: as if it were not installed.",
        detection: "An address claim from address 254, which stands for \"cannot claim\", and no claim of a proper address by \
                    the same NAME after it within 5 s, by the order of the frames.",
        lookalikes: "A device that tries another address and gets it: a normal start. A device that is silent for want of \
                     supply sends no claim either.",
        checks: "Look which device holds the address that it wanted; set the address or instance of one of them by its menu. \
                 Power the failed device alone with one display: it must then appear. Update its software.",
        cautions: "Switch the bus off before you open its connectors.",
    },
    complaints: &["no-heading", "no-position", "no-depth", "data-drops-out"],
    detect,
};

/// A device may need a few attempts, each up to 250 ms of contest and 153 ms of delay (ISO 11783-5 4.4); common
/// practice, no source, for how many.
const ATTEMPTS_S: f64 = 5.0;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, bus) in books.buses.iter() {
        let mut failed: Vec<(DeviceId, Vec<Time>)> = Vec::new();
        for (id, at) in &bus.homeless {
            match failed.iter_mut().find(|(known, _)| known == id) {
                Some((_, times)) => times.push(*at),
                None => failed.push((*id, vec![*at])),
            }
        }
        for (id, times) in failed {
            let (Some(&first), Some(&last)) = (times.first(), times.last()) else { continue };
            // In the order in which they came: stamps may be as coarse as a second.
            let own: Vec<_> = bus.claim_list.iter().filter(|(_, _, who)| *who == id).collect();
            let gave_up = own.iter().rposition(|(_, address, _)| *address == NULL_ADDRESS);
            let (before, after) = own.split_at(gave_up.unwrap_or(own.len()));
            let proper = |(_, address, _): &&&(Time, u8, DeviceId)| *address != NULL_ADDRESS;
            let helped = after.iter().find(proper).map(|(at, _, _)| *at);
            if helped.is_some_and(|at| at.since(first) <= ATTEMPTS_S) {
                continue;
            }
            let who = books.inventory.label(id);
            let wanted = before.iter().rfind(proper).map(|(_, address, _)| *address);
            let holders: Vec<DeviceId> = books
                .inventory
                .iter()
                .filter(|(other, d)| {
                    *other != id && wanted.is_some() && d.address() == wanted && d.name().is_some()
                })
                .filter(|(other, _)| bus.claim_list.iter().any(|(_, _, claimant)| claimant == other))
                .map(|(other, _)| other)
                .collect();
            let mut finding = Finding::new(Severity::Fault, format!("{who} cannot claim an address"))
                .devices([id])
                .messages(["60928".to_owned()])
                .spans([Span::new(first, last)])
                .evidence(format!(
                    "It sent \"cannot claim\" (a claim from address 254) {}, first at {}.",
                    super::words::times(times.len()),
                    books.stamp(first).clock()
                ));
            if let (Some(wanted), false) = (wanted, holders.is_empty()) {
                let holder = labels(books, &holders);
                finding = finding.evidence(format!("It had claimed address {wanted}, which {holder} holds."));
            }
            if let Some(at) = helped {
                finding =
                    finding.evidence(format!("It got an address later, at {}.", books.stamp(at).clock()));
            }
            findings.push(
                finding
                    .check(format!("Power {who} alone with one display: it must then appear."))
                    .check("Give it, or the device that holds its address, another address or instance by the menu; update both."),
            );
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;
    use crate::messages::n2k::Name;
    use crate::recording::WireKind;

    const A: Name = Name(0x4078_8C00_F37F_FFFD);

    fn found(claims: &[(f64, u8)]) -> usize {
        let mut books = Books::default();
        let wire = books.wires.add(0, WireKind::Can, None, None);
        for &(at, address) in claims {
            let device = books.inventory.claim(wire, address, A).unwrap();
            books.buses.of(wire).claim(Some(Time(0).plus(at)), address, A, device, None);
        }
        detect(&Evidence::of(&books)).len()
    }

    #[test]
    fn cannot_claim_is_told_and_a_second_try_is_not() {
        assert_eq!(found(&[(1.0, 129), (1.2, 254)]), 1);
        assert_eq!(found(&[(1.0, 129), (1.2, 254), (1.6, 130)]), 0, "found another address");
        assert_eq!(found(&[(1.0, 129), (1.2, 254), (90.0, 130)]), 1, "only after a person helped");
        assert_eq!(found(&[(1.0, 129), (1.2, 130)]), 0);
    }

    #[test]
    fn the_order_tells_it_where_the_stamps_do_not() {
        assert_eq!(found(&[(1.0, 129), (1.0, 254)]), 1);
        assert_eq!(found(&[(1.0, 129), (1.0, 254), (1.0, 130)]), 0, "found another address");
    }
}
