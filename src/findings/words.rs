//! Numbers in sentences.

use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::time::Span;

/// A number with as many decimals as mean something.
pub(super) fn number(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    if text.trim_start_matches(['-', '0', '.']).is_empty() {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

/// `+3.1 deg`.
pub(super) fn signed_deg(x: f64) -> String {
    format!("{x:+.1} deg")
}

/// Seconds, as people say them.
pub(crate) fn seconds(s: f64) -> String {
    if s < 0.0995 {
        format!("{:.0} ms", s * 1e3)
    } else if s < 10.0 {
        format!("{s:.1} s")
    } else if s < 120.0 {
        format!("{s:.0} s")
    } else {
        let whole = s.round();
        format!("{:.0} min {:02.0} s", (whole / 60.0).floor(), whole % 60.0)
    }
}

/// A share in percent.
pub(super) fn percent(share: f64) -> String {
    let p = share * 100.0;
    if p > 0.0 && p < 1.0 { format!("{p:.1} %") } else { format!("{p:.0} %") }
}

/// `1 time`, `3 times`.
pub(super) fn times(n: usize) -> String {
    if n == 1 { "once".to_owned() } else { format!("{n} times") }
}

/// `12:01:07 (5.2 s), 12:03:11 (9.1 s) and 3 more`.
pub(super) fn moments(books: &Books, spans: &[Span]) -> String {
    const SHOWN: usize = 4;
    let mut text = spans
        .iter()
        .take(SHOWN)
        .map(|s| format!("{} for {}", books.stamp(s.from).clock(), seconds(s.seconds())))
        .collect::<Vec<_>>()
        .join(", ");
    if spans.len() > SHOWN {
        text.push_str(&format!(" and {} more", spans.len() - SHOWN));
    }
    text
}

/// How often, and for how long: `once, for 16 s`, `3 times, longest 16 s`.
pub(super) fn how_often(spans: &[Span]) -> String {
    let joint = if spans.len() == 1 { "for" } else { "longest" };
    format!("{}, {joint} {}", times(spans.len()), seconds(longest(spans)))
}

/// The longest of the spans, seconds.
pub(super) fn longest(spans: &[Span]) -> f64 {
    spans.iter().map(|s| s.seconds()).fold(0.0, f64::max)
}

/// Labels joined for a sentence.
pub(super) fn labels(books: &Books, devices: &[DeviceId]) -> String {
    const SHOWN: usize = 4;
    let mut names: Vec<_> = devices.iter().take(SHOWN).map(|d| books.inventory.label(*d)).collect();
    if devices.len() > SHOWN {
        names.push(format!("{} more", devices.len() - SHOWN));
    }
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
}

/// Why a phone's or a tablet's silence is no fault.
pub(super) const GUEST: &str = "Its hardware address is drawn by lot, as phones, tablets and laptops do it: these sleep, leave and come back.";

/// Two recorders' clocks may be the reason: a sentence, for clocks that may differ by this many seconds.
pub(super) fn clocks_apart(uncertain_s: f64) -> String {
    if uncertain_s.is_infinite() {
        return "The two were recorded by two recorders whose clocks could not be compared: they may only seem to disagree. Record both with one computer."
            .to_owned();
    }
    format!(
        "The two were recorded by two recorders whose clocks are known to each other to {} only: the delay may be theirs.",
        seconds(uncertain_s)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_make_whole_minutes() {
        let said = [0.05, 9.94, 119.4, 120.0, 3599.7, 3600.2].map(seconds);
        assert_eq!(said, ["50 ms", "9.9 s", "119 s", "2 min 00 s", "60 min 00 s", "60 min 00 s"]);
    }
}
