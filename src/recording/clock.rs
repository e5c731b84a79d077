//! The clock of a text log: from what a line says of the time to recording time.

use super::TimeBase;
use super::account::counted;
use super::boat_clock::{self, BoatTime};
use super::line_text::bare_sentence;
use super::prospect::Prospect;
use super::stamp::Stamp;
use super::stand_in::StandIn;
use crate::time::{DAY_US, Time};

/// Steps back of the boat's own clock up to this are two talkers that do not quite agree, not a clock that was set.
const TALKERS_DISAGREE_US: i64 = 2_000_000;

/// Times counted from the start of a recording stay below this (1973 as a time since 1970).
const RELATIVE_BELOW_US: i64 = 100_000_000_000_000;

/// One hour in microseconds.
const HOUR_US: i64 = 3_600_000_000;

/// The clock of a text log.
#[derive(Debug)]
pub(super) struct Clock {
    /// Where the times come from.
    pub(super) base: TimeBase,
    last: Option<i64>,
    /// Whether times that no talker vouches for are taken, for want of better ones.
    trust_void: bool,
    /// Whether the boat's clock has a date.
    dated: bool,
    midnights: u32,
    /// The boat's time was found only after records that have none.
    late: bool,
    /// What tells the time while the boat's clock stands still.
    stand_in: StandIn,
}

impl Clock {
    /// The clock that the beginning of the text promises.
    pub(super) fn new(prospect: &Prospect) -> Self {
        let boat = prospect.boat_start();
        let (base, last) = match (prospect.stamp, boat) {
            (Some(Stamp::Moment(us)), _) => (TimeBase::Stamped, Some(us)),
            (Some(Stamp::OfDay(us)), _) => (TimeBase::TimeOfDay, Some(us)),
            (_, Some((start, true))) => (TimeBase::BoatClock, Some(start)),
            (_, Some((start, false))) => (TimeBase::BoatTimeOfDay, Some(start)),
            (_, None) => (TimeBase::None, None),
        };
        Self {
            base,
            last,
            trust_void: prospect.is_void(),
            dated: boat.is_none_or(|(_, dated)| dated),
            midnights: 0,
            late: false,
            stand_in: StandIn::default(),
        }
    }

    /// The time of a line that bears `stamp` and may be a `sentence`.
    pub(super) fn time(&mut self, stamp: Option<Stamp>, sentence: Option<&[u8]>) -> Option<Time> {
        match stamp {
            Some(Stamp::Moment(us)) => self.last = Some(us),
            Some(Stamp::OfDay(us)) => self.pass_to(self.on_a_day(us)),
            Some(Stamp::Count) | None => {
                if !matches!(self.base, TimeBase::Stamped | TimeBase::TimeOfDay) {
                    return self.by_boat(sentence);
                }
            }
        }
        self.last.map(Time)
    }

    /// The time of a line by the boat's own clock, or by what stands in for it.
    fn by_boat(&mut self, sentence: Option<&[u8]>) -> Option<Time> {
        if let Some(sentence) = sentence.map(bare_sentence) {
            self.stand_in.count(sentence);
            let before = self.last;
            if let Some(time) = boat_clock::read(sentence) {
                self.boat_time(time);
            }
            if let Some((before, now)) = before.zip(self.last).filter(|(before, now)| before != now) {
                self.stand_in.moved(before, now, sentence);
            }
        }
        self.last.map(|reading| Time(self.stand_in.time(reading)))
    }

    fn boat_time(&mut self, time: BoatTime) {
        if self.base == TimeBase::None {
            self.dated = time.day.is_some();
            self.base = if self.dated { TimeBase::BoatClock } else { TimeBase::BoatTimeOfDay };
            self.late = true;
        }
        let now = match time.day.filter(|_| self.dated) {
            Some(day) => day.saturating_mul(DAY_US).saturating_add(time.of_day),
            None => self.on_a_day(time.of_day),
        };
        // A receiver that lost its fix keeps good time; one that never had it may give any.
        let trusted = time.valid
            || self.trust_void
            || self.last.is_some_and(|last| now.abs_diff(last) <= HOUR_US as u64);
        self.trust_void &= !time.valid;
        let disagree =
            self.last.is_some_and(|last| now < last && last.saturating_sub(now) <= TALKERS_DISAGREE_US);
        if trusted && !disagree {
            self.pass_to(now);
        }
    }

    fn pass_to(&mut self, now: i64) {
        let day = |us: i64| us.div_euclid(DAY_US);
        if self.last.is_some_and(|last| day(now) > day(last)) {
            self.midnights = self.midnights.saturating_add(1);
        }
        self.last = Some(now);
    }

    /// A time of day on the day of the last time, or on the next one when it wrapped past midnight. A line that comes
    /// late, from before midnight, stays on the day before.
    fn on_a_day(&self, of_day: i64) -> i64 {
        let Some(last) = self.last else { return of_day };
        let (day, before) = (last.div_euclid(DAY_US), last.rem_euclid(DAY_US));
        let day = if before.saturating_sub(of_day) > DAY_US / 2 {
            day.saturating_add(1)
        } else if before < HOUR_US && of_day > DAY_US - HOUR_US && self.midnights > 0 {
            day.saturating_sub(1)
        } else {
            day
        };
        day.saturating_mul(DAY_US).saturating_add(of_day)
    }

    /// What a reader of the report must know of the times.
    pub(super) fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        match self.base {
            TimeBase::Stamped => {
                if self.last.is_some_and(|last| (0..RELATIVE_BELOW_US).contains(&last)) {
                    notes.push("times are counted from some start, not from a date: they lie in 1970".to_owned());
                }
            }
            TimeBase::TimeOfDay => {
                notes.push("the recorder wrote the time of day without a date: times lie on 1970-01-01".to_owned());
            }
            TimeBase::BoatClock => notes.push(
                "the recorder wrote no times: they come from the boat's own clock sentences (RMC, ZDA and the like), in their steps".to_owned(),
            ),
            TimeBase::BoatTimeOfDay => notes.push(
                "the recorder wrote no times: they come from the boat's own clock sentences, which give no date: times lie on 1970-01-01".to_owned(),
            ),
            TimeBase::None => notes.push("there is no clock: neither the recorder nor the boat gives a time".to_owned()),
        }
        if self.midnights > 0 && !matches!(self.base, TimeBase::Stamped | TimeBase::BoatClock) {
            let times = counted(self.midnights.into(), "time");
            notes.push(format!("the time of day passed midnight {times}: each began a new day"));
        }
        if self.late {
            notes.push("what comes before the first clock sentence has no time".to_owned());
        }
        let stood = self.last.map(|reading| self.stand_in.stood(reading)).unwrap_or_default();
        if stood.times > 0 {
            let (times, longest_s) = (counted(stood.times, "time"), stood.longest_us as f64 / 1e6);
            notes.push(format!(
                "the boat's clock stood still {times}, for up to {longest_s:.0} s: meanwhile the time is counted by the other \
                 sentences, each at its usual rate"
            ));
        }
        if self.trust_void && matches!(self.base, TimeBase::BoatClock | TimeBase::BoatTimeOfDay) {
            notes.push(
                "no talker vouches for the boat's time (status not valid, or an impossible date)".to_owned(),
            );
        }
        notes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(text: &str) -> (Clock, Vec<Option<i64>>) {
        let mut clock = Clock::new(&Prospect::of(text.as_bytes(), true));
        let times = text.lines().map(|line| {
            let (stamp, _) = super::super::line_text::recognise(line.as_bytes());
            clock.time(stamp, Some(line.as_bytes())).map(|time| time.0)
        });
        let times = times.collect();
        (clock, times)
    }

    #[test]
    fn the_time_of_day_passes_midnight() {
        let (clock, times) =
            clock("23:59:59 $AAA,\n00:00:01 $AAA,\n23:59:59.5 $AAA,\n00:00:02 $AAA,\n19:00:00 $AAA,\n");
        let s = |s: i64| Some(s * 1_000_000);
        assert_eq!(times, [s(86_399), s(86_401), Some(86_399_500_000), s(86_402), s(86_400 + 68_400)]);
        assert_eq!(clock.base, TimeBase::TimeOfDay);
    }

    #[test]
    fn the_boats_clock_gives_the_times_of_all_lines() {
        let day = 14_457 * DAY_US;
        let (clock, times) = clock(
            "$SDDBT,7.7,f,2.3,M,1.3,F*05\n$GPGGA,194906.00,,,,,1,,,,,,,,\n$GPRMC,194907.00,A,,,,,,,010809,,\n\
             $SDDBT,7.7,f,2.3,M,1.3,F*05\n$GPGLL,,,,,194906.50,A\n$GPRMC,000000.00,V,,,,,,,060180,,\n",
        );
        let at = |s: i64| Some(day + s * 1_000_000);
        assert_eq!(times, [at(71_346), at(71_346), at(71_347), at(71_347), at(71_347), at(71_347)]);
        assert_eq!(clock.base, TimeBase::BoatClock);
    }

    #[test]
    fn the_clock_runs_on_without_a_fix() {
        let (_, times) = clock(
            "$GPRMC,115959.00,V,,,,,,,,,\n$GPRMC,120000.00,A,,,,,,,010809,,\n$GPRMC,120001.00,V,,,,,,,010809,,\n\
             $GPRMC,000000.00,V,,,,,,,060180,,\n",
        );
        let at = |s: i64| Some(14_457 * DAY_US + s * 1_000_000);
        assert_eq!(times, [at(43_199), at(43_200), at(43_201), at(43_201)]);
    }

    #[test]
    fn no_date_and_no_clock() {
        let (dateless, times) = clock("$ECGLL,5119.881,N,00125.169,E,164326,A,D*52\n");
        assert_eq!((dateless.base, times), (TimeBase::BoatTimeOfDay, vec![Some(60_206_000_000)]));
        let (none, times) = clock("$SDDBT,7.7,f,2.3,M,1.3,F*05\n");
        assert_eq!((none.base, times), (TimeBase::None, vec![None]));
    }

    #[test]
    fn lines_without_a_tag_time_take_the_last() {
        let (clock, times) = clock("$AAA,\n\\c:1503079517*53\\!AIVDM,1,1\n$AAA,\n");
        assert_eq!(times, [Some(1_503_079_517_000_000); 3]);
        assert_eq!(clock.base, TimeBase::Stamped);
    }
}
