//! What a reader cannot learn from a report, said before it is missed.

use super::names::in_words;
use crate::report::figures::interval;
use crate::report::model::{CauseRow, Report, Standing};
use crate::time::{DAY_US, Time};

/// What most boats have and people ask for.
const USUAL: [&str; 6] =
    ["heading", "position", "depth", "course-and-speed-over-ground", "speed-through-water", "wind"];

/// What no recording shows, and what these did not hold; one sentence or two each.
#[must_use]
pub fn limits(report: &Report) -> Vec<String> {
    let mut limits: Vec<String> = absent_wires(report).into_iter().collect();
    let unheard: Vec<String> = USUAL
        .into_iter()
        .filter(|usual| !report.sources.iter().any(|source| source.quantity == *usual))
        .map(in_words)
        .collect();
    if !unheard.is_empty() {
        limits.push(format!("Nothing in the recording supplied {}.", either(&unheard)));
    }
    limits.push(time_base(report));
    limits.push(String::from(
        "What sends nothing itself cannot be seen on the wire: transducers and antennas behind their instrument, cables, \
         plugs, terminators, fuses and switches, the battery. Only what they do to the messages shows.",
    ));
    limits.push(String::from(
        "Which source a display chose, and what it makes of the data, does not cross the wire. Nor does what did not act \
         up while the recorder ran.",
    ));
    limits
}

/// Which kinds of wire the recordings do not hold; `None` when they hold all.
#[must_use]
pub fn absent_wires(report: &Report) -> Option<String> {
    let kinds = [("can", "a CAN bus"), ("ethernet", "an Ethernet"), ("line", "an NMEA 0183 line")];
    let absent: Vec<String> = kinds
        .iter()
        .filter(|(kind, _)| !report.wires.iter().any(|wire| wire.kind == *kind))
        .map(|(_, name)| (*name).to_owned())
        .collect();
    (!absent.is_empty()).then(|| format!("The recording holds no frames of {}.", either(&absent)))
}

/// Whether two causes stay open for one reason, which is told once then: a wire that was not recorded hides a dozen causes.
/// What is ruled out is told one by one.
#[must_use]
pub fn open_alike(one: &CauseRow, next: &CauseRow) -> bool {
    one.standing == Standing::Open && next.standing == Standing::Open && one.because == next.because
}

/// What the times in the report are worth.
fn time_base(report: &Report) -> String {
    let firsts: Vec<Time> = report.recordings.iter().filter_map(|recording| recording.first).collect();
    if firsts.is_empty() {
        return String::from("The recording has no clock: nothing is said of times, intervals and pauses.");
    }
    let mut text = String::from(
        "Times are UTC by the clock of the recorder or of the sentences; if it was set wrong, all are shifted alike.",
    );
    if firsts.len() < report.recordings.len() {
        text.push_str(" Recordings without a clock have no part in what is said of times.");
    }
    // A time of day without a date is put on the first day that the clock knows.
    if firsts.iter().any(|first| (0..DAY_US).contains(&first.0)) {
        text.push_str(" The date 1970-01-01 stands for a day that the recording does not tell.");
    }
    let coarsest = report.wires.iter().filter_map(|wire| wire.time_resolution_s).fold(0.0, f64::max);
    if coarsest > 0.0 {
        text.push_str(&format!(
            " Stamps are as coarse as {}; nothing finer is told.",
            interval(Some(coarsest))
        ));
    }
    text
}

/// `wind`, `depth or wind`, `heading, depth or wind`.
pub fn either(names: &[String]) -> String {
    match names.split_last() {
        Some((last, first)) if !first.is_empty() => format!("{} or {last}", first.join(", ")),
        Some((only, _)) => only.clone(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn absent_wires_and_quantities_are_named() {
        let limits = limits(&fixture::healthy());
        assert_eq!(limits[0], "The recording holds no frames of an Ethernet or an NMEA 0183 line.");
        assert!(
            limits[1].contains("supplied position, depth,") && !limits[1].contains("heading"),
            "{limits:?}"
        );
        assert_eq!(absent_wires(&fixture::troubled()), None);
    }

    #[test]
    fn what_is_ruled_out_for_one_reason_stays_ruled_out() {
        let report = fixture::troubled();
        let cause = |standing| CauseRow { standing, ..report.complaints[0].causes[0].clone() };
        assert!(open_alike(&cause(Standing::Open), &cause(Standing::Open)));
        assert!(!open_alike(&cause(Standing::RuledOut), &cause(Standing::RuledOut)));
        let other = CauseRow { because: String::from("another"), ..cause(Standing::Open) };
        assert!(!open_alike(&cause(Standing::Open), &other));
    }

    #[test]
    fn the_time_base_is_said() {
        let mut report = fixture::healthy();
        assert!(time_base(&report).contains("as coarse as 1 us"));
        assert!(!time_base(&report).contains("1970"));
        report.recordings[0].first = Some(Time(36_000_000_000));
        assert!(time_base(&report).contains("1970-01-01 stands for"));
        report.recordings.push(report.recordings[0].clone());
        report.recordings[0].first = None;
        assert!(time_base(&report).contains("without a clock have no part"));
        report.recordings[1].first = None;
        assert!(time_base(&report).contains("no clock"));
    }
}
