//! Two devices send one instanced message with one instance.

use super::words::labels;
use super::{Detector, Doc, Evidence, Finding, address_conflict};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::timing::{Message, Stream};
use crate::messages::n2k;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "duplicate-instance",
        severity: "warning",
        meaning: "Two devices number their batteries, engines, tanks, rudders or sensors alike. Displays tell them apart by that \
                  number only: values of both appear as one that hops to and fro.",
        detection: "The same NMEA 2000 message with a data instance comes from two devices of one bus with the same instance (and \
                    the same kind of fluid or source), at the same time, at least ten times each, with values in it.",
        lookalikes: "A message without value, such as a rudder order without angle, is no second source. A device that took over \
                     from another one that is gone. Two devices on one address: address-conflict.",
        checks: "Give each a number of its own in its menu or by a display: engines 0 port and 1 starboard, batteries, tanks and \
                 temperatures counted through. Switch off what only repeats another's message.",
        cautions: "Autopilots use the rudder message: try the steering at rest after you have changed an instance.",
    },
    complaints: &[],
    detect,
};

/// A message that came less often than this is no stream.
const ENOUGH: u64 = 10;

/// Two streams must run beside each other for this long, seconds.
const TOGETHER_S: f64 = 5.0;

/// The data instance in the part of a stream's key (`part_of` in the survey); `None` for "not available".
fn instance(pgn: u32, part: u32) -> Option<u32> {
    match pgn {
        127_505 => (part & 0x0F != 0x0F).then_some(part & 0x0F),
        130_312 | 130_313 | 130_314 | 130_316 => (part >> 8 < 0xFD).then_some(part >> 8),
        _ => (part < 0xFD).then_some(part),
    }
}

/// Whether a device ever put a value into this message, as far as that can be told.
fn has_values(books: &Books, device: DeviceId, message: Message) -> bool {
    let mut sources =
        books.series.iter().filter(|s| s.key.device == device && s.key.message == message).peekable();
    sources.peek().is_none() || sources.any(|s| s.valid > 0)
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let fits = |s: &&Stream| {
        let Message::Pgn(pgn) = s.message else { return false };
        s.count >= ENOUGH
            && n2k::lookup(pgn).is_some_and(|known| known.instanced)
            && instance(pgn, s.part).is_some()
            && has_values(books, s.device, s.message)
            && !address_conflict::involves(books, s.device)
    };
    let streams: Vec<&Stream> = books.timing.iter().filter(fits).collect();
    let mut groups: Vec<Vec<&Stream>> = Vec::new();
    for stream in streams {
        let rival = |of: &&Stream| {
            let (Some(a), Some(b)) = (books.inventory.get(of.device), books.inventory.get(stream.device))
            else {
                return false;
            };
            a.wire == b.wire && of.device != stream.device && beside(of, stream)
        };
        let key = |of: &Vec<&Stream>| {
            of.first().is_some_and(|f| f.message == stream.message && f.part == stream.part)
                && of.iter().all(&rival)
        };
        match groups.iter_mut().find(|group| key(group)) {
            Some(group) => group.push(stream),
            None => groups.push(vec![stream]),
        }
    }
    groups.iter().filter(|group| group.len() >= 2).filter_map(|group| finding(books, group)).collect()
}

/// Whether two streams run at the same time for a while.
fn beside(a: &Stream, b: &Stream) -> bool {
    let (Some(a0), Some(a1), Some(b0), Some(b1)) = (a.first, a.last, b.first, b.last) else { return false };
    a1.min(b1).since(a0.max(b0)) >= TOGETHER_S
}

fn finding(books: &Books, group: &[&Stream]) -> Option<Finding> {
    let first = group.first()?;
    let Message::Pgn(pgn) = first.message else { return None };
    let instance = instance(pgn, first.part)?;
    let name = n2k::lookup(pgn).map_or("message", |known| known.name);
    let devices: Vec<DeviceId> = group.iter().map(|s| s.device).collect();
    let counts: Vec<String> =
        group.iter().map(|s| format!("{} from {}", s.count, books.inventory.label(s.device))).collect();
    let from = group.iter().filter_map(|s| s.first).max()?;
    let to = group.iter().filter_map(|s| s.last).min()?;
    Some(
        Finding::new(
            Severity::Warning,
            format!("{} send {name} ({pgn}) with the same instance {instance}", labels(books, &devices)),
        )
        .devices(devices)
        .messages([pgn.to_string()])
        .text("message", pgn.to_string())
        .count("instance", u64::from(instance))
        .spans([Span::new(from, to)])
        .evidence(format!("Messages with instance {instance}: {}.", counts.join(", ")))
        .check(
            "Give each device an instance of its own in its menu, or switch off the one that only repeats.",
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::wires::WireId;
    use crate::messages::Reading;
    use crate::time::Time;

    /// Battery messages of two devices: instance, whether there is a voltage, and from when to when (seconds).
    fn found(senders: [(u8, bool, u32, u32); 2]) -> Vec<Finding> {
        let mut books = Books::default();
        for (address, (instance, valid, from, to)) in senders.into_iter().enumerate() {
            let id = books.inventory.node(WireId(0), address as u8).unwrap();
            let message = Message::Pgn(127_508);
            let volts = if valid { Ok(12.6) } else { Err(crate::messages::Absent::NotAvailable) };
            for second in from..to {
                let time = Some(Time(i64::from(second) * 1_000_000));
                books.inventory.frame(id, time, 8);
                books.timing.message(id, message, u32::from(instance), Some(1.5), time);
                let reading = Reading::Voltage { instance: Some(instance), volts };
                books.series.reading(id, message, time, &reading, &mut crate::books::found::Found::default());
            }
        }
        detect(&Evidence::of(&books))
    }

    #[test]
    fn two_batteries_of_one_number_are_found() {
        let found = found([(0, true, 0, 60), (0, true, 0, 60)]);
        assert_eq!((found.len(), found[0].devices.len()), (1, 2));
        assert_eq!(found[0].numbers["instance"], crate::report::model::Number::Count(0));
    }

    #[test]
    fn numbered_apart_or_empty_or_after_each_other_is_right() {
        assert!(found([(0, true, 0, 60), (1, true, 0, 60)]).is_empty());
        assert!(found([(0, true, 0, 60), (0, false, 0, 60)]).is_empty(), "no value in it");
        assert!(found([(255, true, 0, 60), (255, true, 0, 60)]).is_empty(), "no instance");
        assert!(found([(0, true, 0, 30), (0, true, 40, 90)]).is_empty(), "a new device took over");
    }

    #[test]
    fn fluid_and_source_stand_beside_the_instance() {
        assert_eq!(instance(127_505, 0x12), Some(2));
        assert_eq!(instance(130_312, 0x0103), Some(1));
        assert_eq!(instance(127_505, 0x0F), None);
    }
}
