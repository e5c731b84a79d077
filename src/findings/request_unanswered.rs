//! A device that lives answers no request.

use super::words::labels;
use super::{Detector, Doc, Evidence, Finding, address_conflict};
use crate::books::bus::{ANSWER_S, Requests};
use crate::books::inventory::DeviceId;
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "request-unanswered",
        severity: "warning",
        meaning: "A device sends its data and does not answer when it is asked for its name, its version or its settings. Displays \
                  may not list it; settings and updates over the bus fail.",
        detection: "At least three requests meant for this device alone, and to none of them, or to one in ten at most, came the message, or a frame \
                      of it, a refusal or any other acknowledgement within 1.5 s, while the device went on sending.",
        lookalikes: "A device that is off or dropped out cannot answer. A request to everybody need not be answered. A refusal is \
                     an answer. A one-way gateway, and a recorder that hears only part of the bus, look so as well.",
        checks: "Update the device's software; look whether a gateway or bridge in between passes requests on. Ask again by a \
                 display beside it.",
        cautions: "",
    },
    complaints: &[],
    detect,
};

/// One or two answers may be lost; a habit shows from here on.
const ENOUGH: u64 = 3;

/// Whoever answers one request in so many at most may have told the same unasked just then (common practice, no source).
const BY_CHANCE: u64 = 10;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, bus) in books.buses.iter() {
        let mut asked: Vec<(DeviceId, Vec<(u32, Requests)>)> = Vec::new();
        for ((device, pgn), requests) in &bus.requests {
            match asked.iter_mut().find(|(known, _)| known == device) {
                Some((_, list)) => list.push((*pgn, *requests)),
                None => asked.push((*device, vec![(*pgn, *requests)])),
            }
        }
        for (id, list) in asked {
            let Some(device) = books.inventory.get(id) else { continue };
            let total: u64 = list.iter().map(|(_, r)| r.asked).sum();
            let answered: u64 = list.iter().map(|(_, r)| r.answered).sum();
            let last = list.iter().filter_map(|(_, r)| r.last).max();
            let lives = device.last.zip(last).is_some_and(|(seen, asked)| seen.since(asked) > ANSWER_S);
            let born = device.first.zip(list.iter().filter_map(|(_, r)| r.first).min());
            let lived = born.is_some_and(|(seen, asked)| asked.since(seen) > -ANSWER_S);
            let explained = address_conflict::involves(books, id) || books.is_cut(id);
            if total < ENOUGH || answered * BY_CHANCE > total || !lives || !lived || explained {
                continue;
            }
            // Silences that hold most of the asking explain the rest.
            let silent = evidence.presence.devices.get(&id).into_iter().flatten();
            if silent.clone().any(|s| last.is_some_and(|at| s.span.from <= at && s.span.to >= at))
                && total <= ENOUGH
            {
                continue;
            }
            let others = bus.requests.iter().filter(|((other, _), r)| *other != id && r.answered > 0).count();
            let pgns: Vec<String> = list.iter().map(|(pgn, _)| pgn.to_string()).collect();
            let who = labels(books, &[id]);
            let of_them = if answered == 0 { "none".to_owned() } else { answered.to_string() };
            let mut finding =
                Finding::new(Severity::Warning, format!("{who} answers {of_them} of {total} requests"))
                    .devices([id])
                    .messages(pgns.iter().cloned())
                    .count("requests", total)
                    .evidence(format!(
                        "Asked for PGN {}; it sent {} frames meanwhile.",
                        pgns.join(", "),
                        device.frames
                    ));
            finding = finding.evidence(if others > 0 {
                "Other devices answered requests in this recording, so answers do reach the recorder."
            } else {
                "No other device was asked alone and answered: the recorder may hear only part of the bus."
            });
            findings.push(
                finding
                    .check(format!("Update {who}; look whether a gateway in between passes requests on."))
                    .check("Ask it for its product information by a display beside it."),
            );
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;
    use crate::books::wires::WireId;
    use crate::time::Time;

    #[test]
    fn one_answer_in_ten_may_be_chance() {
        let told = |answered: u32| {
            let mut books = Books::default();
            let id = books.inventory.node(WireId(0), 40).unwrap();
            (0..250).for_each(|i| books.inventory.frame(id, Some(Time(0).plus(f64::from(i))), 8));
            let bus = books.buses.of(WireId(0));
            for i in 1..=20 {
                let at = Time(0).plus(f64::from(i) * 10.0);
                bus.request(Some(at), (7, 40), Some(id), 126_996);
                if i <= answered {
                    bus.answer(Some(at.plus(0.2)), id, 126_996);
                }
            }
            detect(&Evidence::of(&books)).len()
        };
        assert_eq!([0, 2, 3].map(told), [1, 1, 0]);
    }

    /// A device that is heard from `first` to `last` and asked every 10 s from 10 s to 60 s.
    fn found(first: f64, last: f64, answer: bool) -> usize {
        let mut books = Books::default();
        let id = books.inventory.node(WireId(0), 40).unwrap();
        let mut t = first;
        while t <= last {
            books.inventory.frame(id, Some(Time(0).plus(t)), 8);
            t += 0.5;
        }
        let bus = books.buses.of(WireId(0));
        for i in 1..=6 {
            let at = Time(0).plus(f64::from(i) * 10.0);
            bus.request(Some(at), (7, 40), Some(id), 126_996);
            if answer && i == 4 {
                bus.answer(Some(at.plus(0.2)), id, 126_996);
            }
        }
        detect(&Evidence::of(&books)).len()
    }

    #[test]
    fn a_device_that_lives_and_never_answers_is_found() {
        assert_eq!(found(0.0, 90.0, false), 1);
        assert_eq!(found(0.0, 90.0, true), 0, "one answer is an answer");
    }

    #[test]
    fn who_is_not_there_need_not_answer() {
        assert_eq!(found(0.0, 8.0, false), 0, "gone");
        assert_eq!(found(70.0, 90.0, false), 0, "not yet there");
        assert_eq!(found(1.0, 0.0, false), 0, "never heard");
    }
}
