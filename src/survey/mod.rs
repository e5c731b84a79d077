//! One pass over the recordings of one boat: records in, a report out. Of several, each is first looked at by itself for
//! its clock, and for which of them it goes on with.

mod ahead;
#[cfg(test)]
mod alike;
mod can;
mod carried;
mod clocks;
mod datagram;
mod digest;
mod each;
mod flows;
mod followed;
mod ledger;
mod left_out;
mod line;
mod packet;
mod packets;
mod scribe;
mod segment;
mod taking;
mod voices;
mod window;

pub use each::each;

use crate::books::inventory::DeviceId;
use crate::books::naming::{self, Called};
use crate::books::wires::WireId;
use crate::books::{Books, ByWire, Rewinds};
use crate::clocks::Sequels;
use crate::crew::Crew;
use crate::frames::likeness;
use crate::messages::n2k::Assembler;
use crate::messages::nmea0183::Framed;
use crate::recording::{
    self, Merged, Payload, ReadyPacket, Record, Recording, RecordingError, Summary, TimeBase, WireInfo,
    WireKind,
};
use crate::report::model::{NOTHING_THEN, Report};
use crate::time::{DAY_US, Span, Time};
use crate::{complaints, findings, report};
use can::Bits;
use digest::digest;
use ledger::{Origin, Place, Told};
use scribe::Scribe;
use taking::Taking;
use window::Window;

/// One end of the time window, as a person gives it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    /// A moment in recording time.
    Moment(Time),
    /// Microseconds since midnight UTC, on the day of the recording.
    OfDay(i64),
}

/// What is asked of a run.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Leave out what lies before this moment.
    pub from: Option<When>,
    /// Leave out what lies after this moment.
    pub to: Option<When>,
    /// The owner's complaint, one of [`crate::complaints::NAMES`].
    pub complaint: Option<&'static str>,
    /// Names for the devices, each with what it is recognised by.
    pub names: Vec<Called>,
    /// Leave out what only pictures are drawn from.
    pub without_plots: bool,
}

impl Options {
    /// The window in recording time (both ends included), for recordings whose first stamped record lies at `first`.
    ///
    /// A time of day lies on the day of `first`. An end that would fall before the window's begin (or before `first`
    /// when no begin is given) lies on the next day, so that a window may reach over midnight. So does a whole window that
    /// would end before `first`, and a begin without an end that would lie more than half a day before it: a recording
    /// may run over midnight too.
    #[must_use]
    pub fn window(&self, first: Time) -> (Option<Time>, Option<Time>) {
        let midnight = first.0.div_euclid(DAY_US).saturating_mul(DAY_US);
        let on_day = |of_day: i64| Time(midnight.saturating_add(of_day));
        let next_day = |of_day: i64| match self.to {
            Some(When::OfDay(to)) => of_day <= to && on_day(to) < first,
            Some(When::Moment(_)) => false,
            None => first.micros_since(on_day(of_day)) > DAY_US / 2,
        };
        let from = self.from.map(|when| match when {
            When::Moment(time) => time,
            When::OfDay(of_day) if next_day(of_day) => on_day(of_day.saturating_add(DAY_US)),
            When::OfDay(of_day) => on_day(of_day),
        });
        let to = self.to.map(|when| match when {
            When::Moment(time) => time,
            When::OfDay(of_day) if on_day(of_day) < from.unwrap_or(first) => {
                on_day(of_day.saturating_add(DAY_US))
            }
            When::OfDay(of_day) => on_day(of_day),
        });
        (from, to)
    }
}

/// How far a run has come; handed to the caller now and then.
#[derive(Debug, Clone, Copy)]
pub struct Progress {
    /// Share of the input read, 0 to 1, when its size is known.
    pub share: Option<f64>,
    /// Frames read so far.
    pub frames: u64,
}

/// Reads the recordings (paths, `-` is standard input), merged by time, and reports on them.
///
/// # Errors
/// When a recording cannot be opened, is of no known kind, or cannot be read on.
pub fn report(
    paths: &[String],
    options: &Options,
    progress: &mut dyn FnMut(Progress),
) -> Result<Report, RecordingError> {
    let ahead = paths.len() <= MOST_AHEAD;
    let crew = Crew::new(if ahead { paths.len() } else { 0 } + 1);
    let intake = Intake { scribe: Scribe::beside(&crew), ..Intake::of(paths.len()) };
    let books = if ahead {
        let open = |path: &String| recording::open_ahead(path, || Box::new(digest()), &crew);
        let recordings = paths.iter().map(open).collect::<Result<Vec<_>, _>>()?;
        fill_reckoned(recordings, clocks::look(paths), intake, options, progress)?
    } else {
        let open = |path: &String| recording::open(path);
        let recordings = paths.iter().map(open).collect::<Result<Vec<_>, _>>()?;
        fill_reckoned(recordings, clocks::look(paths), intake, options, progress)?
    };
    let report = judged(&books, options);
    // The books of thousands of devices are taken apart while the report is put into words; here, when there is no thread.
    let _ = std::thread::Builder::new().spawn(move || drop(books));
    Ok(report)
}

/// As [`report()`], of one recording and on the thread that asks alone: for those who keep every processor busy.
fn report_alone(path: &str, options: &Options) -> Result<Report, RecordingError> {
    report_on(vec![recording::open(path)?], options, &mut |_| {})
}

/// As [`report()`], on recordings that are open already.
///
/// # Errors
/// When a recording cannot be read on.
pub fn report_on(
    recordings: Vec<Box<dyn Recording>>,
    options: &Options,
    progress: &mut dyn FnMut(Progress),
) -> Result<Report, RecordingError> {
    let books = fill(recordings, options, progress)?;
    Ok(judged(&books, options))
}

fn judged(books: &Books, options: &Options) -> Report {
    let mut judgement = findings::judge(books);
    complaints::narrow(books, &mut judgement.findings);
    let answers = complaints::answer(books, &judgement.findings, options.complaint);
    report::assemble(books, judgement, answers, !options.without_plots)
}

/// The pass itself: every record, in order of time, into the books.
///
/// # Errors
/// When a recording cannot be read on.
pub fn fill(
    recordings: Vec<Box<dyn Recording>>,
    options: &Options,
    progress: &mut dyn FnMut(Progress),
) -> Result<Books, RecordingError> {
    let intake = Intake::of(recordings.len());
    fill_reckoned(recordings, clocks::Look::default(), intake, options, progress)
}

/// As [`fill`], with the recordings' clocks put right, and one recorder's files read as one.
fn fill_reckoned<R: Recording>(
    recordings: Vec<R>,
    look: clocks::Look,
    mut intake: Intake,
    options: &Options,
    progress: &mut dyn FnMut(Progress),
) -> Result<Books, RecordingError> {
    let clocks::Look { reckonings, sequels } = look;
    intake.sequels = sequels;
    let mut merged = Merged::reckoned(recordings, &reckonings);
    let mut window = Window::new(options);
    let (mut frames, mut told) = (0, 0);
    while merged.advance()? {
        let number = merged.number();
        let record = merged.record();
        let record_wire = record.wire;
        let is_repeat = intake.is_repeat(number, record_wire);
        if !window.holds(record.time) {
            continue;
        }
        if is_repeat {
            intake.lasted(number, record.time.map(|time| Span { from: time, to: time }));
            continue;
        }
        let info =
            || merged.summaries().nth(number).and_then(|summary| summary.wires.get(record.wire).cloned());
        intake.record(number, &record, merged.digest(), info, |other| merged.ended(other));
        let mut taking = Taking::new(&mut intake, number, record_wire, &mut window);
        merged.run(&mut taking);
        frames += 1 + taking.close();
        if frames - told >= PROGRESS_EVERY {
            told = frames;
            progress(Progress { share: merged.progress(), frames });
        }
    }
    let mut summaries: Vec<Summary> = merged.summaries().cloned().collect();
    for (summary, reckoning) in summaries.iter_mut().zip(reckonings) {
        summary.reckoning = Some(reckoning);
    }
    for (number, words) in intake.sequels.iter_mut().flat_map(|sequels| sequels.problems.drain(..)) {
        if let Some(summary) = summaries.get_mut(number) {
            summary.problems.push(words);
        }
    }
    let mut books = intake.finish(summaries);
    if let Some(part) = window.ends().map(part_of) {
        for (number, recording) in books.recordings.iter_mut().enumerate() {
            recording.problems.push(part.clone());
            let heard = books.wires.iter().any(|(_, wire)| wire.recording == number && wire.frames > 0);
            if !heard && !matches!(recording.time_base, TimeBase::None) {
                recording.problems.push(NOTHING_THEN.to_owned());
            }
        }
    }
    naming::name_devices(&mut books.inventory, &books.wires, &options.names);
    Ok(books)
}

/// That a report speaks of a part of a recording only.
fn part_of((from, to): (Time, Time)) -> String {
    let part = match (from.0 > i64::MIN, to.0 < i64::MAX) {
        (true, true) => format!("from {from} to {to}"),
        (true, false) => format!("from {from} on"),
        _ => format!("up to {to}"),
    };
    format!("only what came {part} was looked at, as asked: \"the recording\" below is that part")
}

/// Recordings that are read ahead; of more of them each would lie ready long before it is its turn.
const MOST_AHEAD: usize = 4;

/// Frames between two calls of the progress function, at least.
const PROGRESS_EVERY: u64 = 16_384;

/// Turns records into bookings; holds what must be remembered between one frame and the next.
#[derive(Default)]
struct Intake {
    books: Books,
    /// By the recording's number.
    sources: Vec<Source>,
    /// Which recordings go on with which, when they were looked at before.
    sequels: Option<Sequels>,
    assemblers: ByWire<Assembler>,
    followed: followed::Followed,
    /// The record that is being taken in.
    place: Place,
    bits: Bits,
    identifiers: can::Identifiers,
    /// The record with which it was first seen that a bound was met, of the recording whose record met it.
    full: Option<Place>,
    /// Segments of TCP streams whose text is not followed.
    text_left_out: u64,
    feeds: carried::Feeds,
    noted: line::Noted,
    outlook: ahead::Outlook,
    scribe: Scribe,
}

/// What is known of one recording while it is read.
#[derive(Clone, Default)]
struct Source {
    /// First and last time.
    span: Option<Span>,
    /// Where its wires are booked.
    wires: Vec<Option<WireId>>,
}

impl Source {
    /// Notes where the wire with this number is booked.
    fn book(&mut self, number: usize, wire: WireId) {
        if self.wires.len() <= number {
            self.wires.resize(number + 1, None);
        }
        if let Some(place) = self.wires.get_mut(number) {
            *place = Some(wire);
        }
    }
}

impl Intake {
    /// Takes records of so many recordings in.
    fn of(recordings: usize) -> Self {
        let mut intake = Self { sources: vec![Source::default(); recordings], ..Self::default() };
        if recordings == 1 {
            intake.books.rewinds = Rewinds::of_one();
        }
        intake
    }

    /// Takes in a record, of a wire that may be new.
    #[inline(never)]
    fn record(
        &mut self,
        number: usize,
        record: &Record<'_>,
        digest: Option<u64>,
        info: impl FnOnce() -> Option<WireInfo>,
        ended: impl Fn(usize) -> bool,
    ) {
        let wire = match self.wire(number, record.wire) {
            Some(wire) => wire,
            None => {
                let info = info().unwrap_or(WireInfo { kind: WireKind::Ethernet, name: None });
                let continued = match &self.sequels {
                    Some(sequels) => {
                        sequels.before((number, record.wire)).find_map(|(n, wire)| self.wire(n, wire))
                    }
                    None => {
                        record.time.and_then(|time| self.books.wires.continued(number, &info, time, ended))
                    }
                };
                if let Some(wire) = continued.and_then(|id| self.books.wires.get_mut(id)) {
                    wire.goes_on(number, record.time);
                }
                let wire =
                    continued.unwrap_or_else(|| self.books.wires.add(number, info.kind, info.name, None));
                if let Some(source) = self.sources.get_mut(number) {
                    source.book(record.wire, wire);
                }
                wire
            }
        };
        self.lasted(number, record.time.map(|time| Span { from: time, to: time }));
        self.take(number, wire, record, digest);
        self.note_bounds();
    }

    /// Whether a record is one that the file before ended with.
    #[inline]
    fn is_repeat(&mut self, number: usize, wire: usize) -> bool {
        self.sequels.as_mut().is_some_and(|sequels| sequels.is_repeat((number, wire)))
    }

    /// Where a wire of a recording is booked, once it is known.
    #[inline]
    fn wire(&self, number: usize, wire: usize) -> Option<WireId> {
        self.sources.get(number)?.wires.get(wire).copied().flatten()
    }

    /// Takes in a record of a wire.
    #[inline(always)]
    fn take(&mut self, number: usize, wire: WireId, record: &Record<'_>, digest: Option<u64>) {
        self.place = (self.place.0 + 1, number as u32);
        let time = self.running(wire, record.time);
        match record.payload {
            Payload::Packet { link, bytes, original } => {
                let digest = digest.unwrap_or_else(|| likeness(link, bytes));
                let packet = ReadyPacket { time, link, bytes, original, digest, marks: &[] };
                self.packet_alone(wire, time, &packet);
            }
            Payload::Can(frame) => {
                let bits = digest.unwrap_or_else(|| self.bits.of(&frame));
                self.can(wire, time, &frame, bits);
            }
            Payload::Line(line) => self.line(wire, time, line, Framed::parse(line), None),
            Payload::Other => {}
        }
    }

    /// Notes that a bound was met with the last record, or with one before it that was of the same recording.
    fn note_bounds(&mut self) {
        if self.full.is_none() && self.is_full() {
            self.full = Some(self.place);
        }
    }

    /// Notes when records of a recording were made.
    fn lasted(&mut self, number: usize, span: Option<Span>) {
        let (Some(Span { from, to }), Some(source)) = (span, self.sources.get_mut(number)) else { return };
        let before = source.span.unwrap_or(Span { from, to });
        source.span = Some(Span { from: before.from.min(from), to: before.to.max(to) });
    }

    /// Books what a message tells of its rhythm and its values.
    #[inline(always)]
    fn tell(&mut self, device: DeviceId, time: Option<Time>, told: Told<'_>) {
        self.scribe.book(Origin { device, time, record: self.place }, told);
    }

    fn finish(mut self, summaries: Vec<Summary>) -> Books {
        self.settle_packets();
        let left_out = self.left_out();
        let ledger = self.scribe.close();
        let full = [self.full, ledger.full].into_iter().flatten().min();
        let mut books = self.books;
        (books.timing, books.series, books.clock) = (ledger.timing, ledger.series, ledger.clock);
        books.buses.change(|wire, bus| {
            let Some(assembler) = self.assemblers.get(wire) else { return };
            bus.losses = assembler.losses();
            bus.broken = assembler.broken();
            bus.unbooked += assembler.unbooked();
        });
        books.networks.change(|_, network| network.settle());
        books.wires.settle();
        books.spans = self.sources.iter().map(|source| source.span).collect();
        books.recordings = summaries;
        books.leave_out_leaps();
        left_out::tell(&mut books, &left_out, full.map(|(_, recording)| recording as usize));
        books
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR_US: i64 = DAY_US / 24;

    #[test]
    fn a_time_of_day_lies_on_the_day_of_the_recording() {
        let first = Time(20_000 * DAY_US + 10 * HOUR_US);
        let at = |hours: i64| Time(20_000 * DAY_US + hours * HOUR_US);
        let window = |from, to| Options { from, to, ..Options::default() }.window(first);
        let of_day = |hours: i64| Some(When::OfDay(hours * HOUR_US));
        assert_eq!(window(None, None), (None, None));
        assert_eq!(window(of_day(11), of_day(12)), (Some(at(11)), Some(at(12))));
        assert_eq!(window(of_day(23), of_day(1)), (Some(at(23)), Some(at(25))), "over midnight");
        assert_eq!(window(None, of_day(9)), (None, Some(at(33))), "before the first record: the next day");
        assert_eq!(window(Some(When::Moment(at(1))), of_day(9)), (Some(at(1)), Some(at(9))));
    }

    #[test]
    fn a_time_of_day_may_lie_behind_the_midnight_of_the_recording() {
        let first = Time(20_000 * DAY_US + 22 * HOUR_US);
        let at = |hours: i64| Time(20_000 * DAY_US + hours * HOUR_US);
        let window = |from, to| Options { from, to, ..Options::default() }.window(first);
        let of_day = |hours: i64| Some(When::OfDay(hours * HOUR_US));
        assert_eq!(window(of_day(1), of_day(2)), (Some(at(25)), Some(at(26))));
        assert_eq!(window(of_day(1), None), (Some(at(25)), None));
        assert_eq!(window(of_day(23), of_day(1)), (Some(at(23)), Some(at(25))));
        assert_eq!(window(of_day(21), None), (Some(at(21)), None), "a little before the begin");
        assert_eq!(window(of_day(21), of_day(23)), (Some(at(21)), Some(at(23))));
    }

    #[test]
    fn any_first_record_gives_a_window() {
        for first in [i64::MIN, -1, i64::MAX] {
            let all = Options { from: Some(When::OfDay(1)), to: Some(When::OfDay(0)), ..Options::default() };
            let (from, to) = all.window(Time(first));
            assert!(from <= to);
        }
    }
}
