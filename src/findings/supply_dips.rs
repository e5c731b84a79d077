//! What happened aboard during each dip of a supply.

use super::Evidence;
use super::words::{labels, number, seconds};
use crate::books::inventory::DeviceId;
use crate::time::Span;

/// Most dips that are told one by one.
const MOST_TOLD: usize = 6;

/// A battery status comes every 1.5 s: what it brings about may begin this much before it is told, seconds.
const BEFORE_S: f64 = 3.0;

/// Devices that lost power are missed a little later, seconds.
const AFTER_S: f64 = 5.0;

/// A line for each dip (its span and its lowest voltage): what fell silent, restarted or failed meanwhile.
pub(super) fn told(evidence: &Evidence<'_>, dips: &[(Span, f64)]) -> Vec<String> {
    let mut lines: Vec<String> = dips
        .iter()
        .take(MOST_TOLD)
        .map(|(span, lowest_v)| {
            let meanwhile = meanwhile(evidence, *span);
            let meanwhile = match meanwhile.is_empty() {
                true => "nothing else was seen to happen".to_owned(),
                false => meanwhile.join("; "),
            };
            format!(
                "At {} for {}, down to {} V: {meanwhile}.",
                evidence.books.stamp(span.from).clock(),
                seconds(span.seconds()),
                number(*lowest_v, 2)
            )
        })
        .collect();
    if dips.len() > MOST_TOLD {
        lines.push(format!("And {} more.", dips.len() - MOST_TOLD));
    }
    lines
}

fn meanwhile(evidence: &Evidence<'_>, dip: Span) -> Vec<String> {
    let (books, presence) = (evidence.books, &evidence.presence);
    let begins = |span: &Span| span.from >= dip.from.plus(-BEFORE_S) && span.from <= dip.to.plus(AFTER_S);
    let mut out = Vec::new();
    let mut say = |devices: Vec<DeviceId>, what: &str| {
        if !devices.is_empty() {
            out.push(format!("{} {what}", labels(books, &devices)));
        }
    };
    let restarted = presence.restarts.iter().filter(|(_, spans)| spans.iter().any(begins));
    say(restarted.map(|(id, _)| *id).collect(), "restarted");
    let flapped = presence.flaps.iter().filter(|(_, flaps)| flaps.iter().any(|(span, _)| begins(span)));
    say(flapped.map(|(id, _)| *id).collect(), "dropped off the network and came back");
    let silent = presence.devices.iter().filter(|(_, silences)| silences.iter().any(|s| begins(&s.span)));
    say(silent.map(|(id, _)| *id).collect(), "fell silent");
    let paused = presence.messages.iter().filter(|(_, silences)| silences.iter().any(|s| begins(&s.span)));
    let mut pausing: Vec<DeviceId> =
        paused.filter_map(|(at, _)| books.timing.iter().nth(*at)).map(|stream| stream.device).collect();
    pausing.dedup();
    say(pausing, "paused some of what it sends");
    if presence.wires.iter().any(|(_, span, _)| begins(span)) {
        out.push("a whole wire fell silent".to_owned());
    }
    if books.buses.iter().any(|(_, bus)| bus.errors.bursts.iter().any(begins)) {
        out.push("the bus showed error frames".to_owned());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;
    use crate::findings::presence::{Presence, Silence};
    use crate::recording::WireKind;
    use crate::time::Time;

    fn span(from: f64, to: f64) -> Span {
        Span::new(Time(0).plus(from), Time(0).plus(to))
    }

    #[test]
    fn each_dip_is_told_with_what_happened_then() {
        let mut books = Books::default();
        let wire = books.wires.add(0, WireKind::Can, None, None);
        let ids: Vec<DeviceId> = (1..3).map(|a| books.inventory.node(wire, a).unwrap()).collect();
        let mut presence = Presence::default();
        presence.restarts.insert(ids[0], vec![span(101.0, 103.0)]);
        presence.devices.insert(ids[1], vec![Silence { span: span(301.0, 309.0), returned: true }]);
        books.buses.of(wire).errors.bursts.push(span(302.0, 302.5));
        let evidence = Evidence { presence, ..Evidence::of(&books) };
        let dips = [(span(100.0, 104.0), 8.7), (span(200.0, 203.0), 10.4), (span(300.0, 304.0), 9.1)];
        assert_eq!(
            told(&evidence, &dips),
            [
                "At 00:01:40 for 4.0 s, down to 8.70 V: device at address 1 restarted.",
                "At 00:03:20 for 3.0 s, down to 10.40 V: nothing else was seen to happen.",
                "At 00:05:00 for 4.0 s, down to 9.10 V: device at address 2 fell silent; the bus showed error frames.",
            ]
        );
        let many: Vec<_> =
            (0..9).map(|i| (span(f64::from(i) * 50.0, f64::from(i) * 50.0 + 3.0), 10.0)).collect();
        assert_eq!(told(&evidence, &many).last().unwrap(), "And 3 more.");
    }
}
