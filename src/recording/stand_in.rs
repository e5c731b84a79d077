//! What stands in for the boat's clock while it stands still: its talker may fall silent, or give no time without a fix. The
//! other sentences go on, each at its own rate, so their number tells how far the time has come.

/// Most kinds of sentences that are counted; further ones are not.
const MAX_COUNTED: usize = 48;

/// Rates are learned over so long by the boat's clock, microseconds.
const WINDOW_US: i64 = 10_000_000;

/// A sentence counts from so many of them in a window on: what is rarer tells the time too coarsely.
const LEAST_IN_WINDOW: f64 = 3.0;

/// A window is like those before when its number is the usual one within this share, and this many that came to lie in the next.
const ALIKE_SHARE: f64 = 0.3;
const ALIKE_LINES: f64 = 2.0;

/// From so many windows alike on a sentence comes by a rate of its own; more than the second number are not remembered.
const STEADY: u8 = 3;
const MOST_ALIKE: u8 = 5;

/// By how much a new window moves the rate.
const NEWS: f64 = 0.25;

/// The clock stands still when it is late by so many of its usual steps, of a second at least (common practice, no source:
/// its sentences wait on a slow line, and one or two are garbled).
const LATE_STEPS: i64 = 3;
const LEAST_STEP_US: i64 = 1_000_000;

/// Until it has made up for what it was late, the time runs so many times as fast: nothing that goes on is seen to pause.
const CATCH_UP: f64 = 2.0;

/// Talker and formatter, five characters.
type Address = [u8; 5];

/// A kind of sentence.
#[derive(Debug)]
struct Counted {
    address: Address,
    /// Since the clock's last step.
    since: u32,
    /// In the running window, up to that step.
    in_window: u32,
    /// A microsecond.
    rate: f64,
    /// Windows that were like those before.
    alike: u8,
}

impl Counted {
    /// How long it takes to send what came since the clock's last step, microseconds; `None` without a rate of its own.
    fn took_us(&self) -> Option<f64> {
        (self.alike >= STEADY).then(|| f64::from(self.since) / self.rate)
    }

    fn close(&mut self, window_us: i64) {
        let lines = f64::from(std::mem::take(&mut self.in_window));
        let usual = self.rate * window_us as f64;
        let alike = (lines - usual).abs() <= ALIKE_SHARE.mul_add(usual, ALIKE_LINES);
        if usual > 0.0 && alike && lines >= LEAST_IN_WINDOW {
            self.alike = (self.alike + 1).min(MOST_ALIKE);
            self.rate += NEWS * (lines / window_us as f64 - self.rate);
        } else {
            self.alike = self.alike.saturating_sub(1);
            if self.alike == 0 {
                self.rate = lines / window_us as f64;
            }
        }
    }
}

/// The count of sentences, and the time that it tells.
#[derive(Debug, Default)]
pub(super) struct StandIn {
    counted: Vec<Counted>,
    /// By the clock since the running window began, microseconds, and the longest of its steps in it.
    window_us: i64,
    longest_us: i64,
    /// The longest step in the window before; 0 when there was none.
    step_us: i64,
    /// Who moved the clock last.
    talker: [u8; 2],
    /// The latest moment that was told, microseconds since 1970.
    told: Option<i64>,
    /// Whether the clock stands still.
    stands: bool,
    stood: Stood,
}

/// For how long the clock stood still.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stood {
    /// How many times.
    pub(super) times: u64,
    /// By how much the time was counted on at the most, microseconds.
    pub(super) longest_us: i64,
}

impl Stood {
    fn and(self, us: i64) -> Self {
        Self { times: self.times + 1, longest_us: self.longest_us.max(us) }
    }
}

impl StandIn {
    /// Counts a sentence, whether or not it gives the time.
    pub(super) fn count(&mut self, sentence: &[u8]) {
        let Some(address) = address(sentence) else { return };
        if let Some(counted) = self.counted.iter_mut().find(|counted| counted.address == address) {
            counted.since = counted.since.saturating_add(1);
        } else if self.counted.len() < MAX_COUNTED {
            self.counted.push(Counted { address, since: 1, in_window: 0, rate: 0.0, alike: 0 });
        }
    }

    /// Takes note that this sentence moved the boat's clock from one moment to another, microseconds since 1970.
    pub(super) fn moved(&mut self, from: i64, to: i64, sentence: &[u8]) {
        if let Some([a, b, ..]) = address(sentence) {
            self.talker = [a, b];
        }
        let step_us = to.saturating_sub(from);
        self.stood = self.stood(from);
        self.stands = false;
        // A clock that was set back, or is far behind what was told, proves the rates wrong.
        if step_us < 0 || self.told.is_some_and(|told| told.saturating_sub(to) > self.late_us()) {
            self.counted.iter_mut().for_each(|counted| (counted.rate, counted.alike) = (0.0, 0));
            self.begin_window();
            if step_us < 0 {
                self.told = None;
            }
            return;
        }
        // Over a leap nobody knows what was sent.
        if self.step_us > 0 && step_us > self.late_us() {
            self.begin_window();
            return;
        }
        for counted in &mut self.counted {
            counted.in_window = counted.in_window.saturating_add(std::mem::take(&mut counted.since));
        }
        self.window_us = self.window_us.saturating_add(step_us);
        self.longest_us = self.longest_us.max(step_us);
        if self.window_us >= WINDOW_US {
            // The first window began in the midst of something.
            if self.step_us > 0 {
                self.counted.iter_mut().for_each(|counted| counted.close(self.window_us));
            }
            self.step_us = self.longest_us;
            self.begin_window();
        }
    }

    fn begin_window(&mut self) {
        (self.window_us, self.longest_us) = (0, 0);
        self.counted.iter_mut().for_each(|counted| (counted.since, counted.in_window) = (0, 0));
    }

    fn late_us(&self) -> i64 {
        self.step_us.max(LEAST_STEP_US).saturating_mul(LATE_STEPS)
    }

    /// The time now, by the clock's last `reading` and by what came since: in steps of the clock, and never back.
    pub(super) fn time(&mut self, reading: i64) -> i64 {
        let passed_us = self.passed_us();
        let late_us = passed_us - self.late_us() as f64;
        let mut now = reading;
        if self.step_us > 0 && late_us > 0.0 {
            self.stands = true;
            let steps = (CATCH_UP * late_us).min(passed_us) / self.step_us as f64;
            now = reading.saturating_add((steps as i64).saturating_mul(self.step_us));
        }
        let now = self.told.map_or(now, |told| told.max(now));
        self.told = Some(now);
        now
    }

    /// For how long the clock stood still so far, where its last reading is this.
    pub(super) fn stood(&self, reading: i64) -> Stood {
        let told = self.told.filter(|_| self.stands);
        told.map_or(self.stood, |told| self.stood.and(told.saturating_sub(reading)))
    }

    /// How long it takes to send what came since the clock's last step, microseconds: by two kinds of sentences of others than
    /// the clock's talker, as one may come faster for once; by its own where there are no others.
    fn passed_us(&self) -> f64 {
        let is_clocks = |counted: &Counted| counted.address.starts_with(&self.talker);
        let longest = |clocks: bool| {
            let of = self.counted.iter().filter(|counted| is_clocks(counted) == clocks);
            let took = of.filter_map(Counted::took_us);
            took.fold((0, 0.0_f64, 0.0_f64), |(kinds, first, second), us| {
                (kinds + 1, first.max(us), second.max(us.min(first)))
            })
        };
        let (kinds, first, second) = match longest(false) {
            (0, ..) => longest(true),
            others => others,
        };
        if kinds > 1 { second } else { first }
    }
}

/// Talker and formatter of a sentence, or what stands there in one of a maker's own. What other ships send comes as it likes.
fn address(sentence: &[u8]) -> Option<Address> {
    sentence.strip_prefix(b"$")?.first_chunk().copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: i64 = 1_000_000;

    /// Runs so many seconds: in each the clock steps when `clock` says so, then these sentences come, each so many times. The
    /// times after each second, in seconds.
    fn run(
        seconds: i64,
        clock: impl Fn(i64) -> bool,
        said: impl Fn(i64) -> Vec<(&'static [u8], u32)>,
    ) -> (StandIn, Vec<i64>) {
        let mut stand_in = StandIn::default();
        let mut reading = 0;
        let told = (1..=seconds).map(|second| {
            if clock(second) {
                stand_in.count(b"$GPRMC,");
                stand_in.moved(std::mem::replace(&mut reading, second * SECOND), second * SECOND, b"$GPRMC,");
            }
            for (sentence, times) in said(second) {
                for _ in 0..times {
                    stand_in.count(sentence);
                    stand_in.time(reading);
                }
            }
            stand_in.time(reading) / SECOND
        });
        let told = told.collect();
        (stand_in, told)
    }

    fn usual(_: i64) -> Vec<(&'static [u8], u32)> {
        vec![(b"$HCHDG,1", 10), (b"$SDDPT,1", 1)]
    }

    #[test]
    fn the_others_tell_the_time() {
        let dead = 100..160;
        let (stand_in, told) = run(200, |second| !dead.contains(&second), usual);
        let off = (1..).zip(&told).map(|(second, told)| (second - told).abs()).max();
        assert!(off <= Some(3), "{told:?}");
        assert_eq!((told[199], stand_in.stood.times), (200, 1));
        assert!((57 * SECOND..=61 * SECOND).contains(&stand_in.stood.longest_us), "{:?}", stand_in.stood);
        // It does not come back.
        let (stand_in, told) = run(400, |second| second < 100, usual);
        assert!((398..=401).contains(&told[399]), "{told:?}");
        assert_eq!(stand_in.stood(99 * SECOND).times, 1);
    }

    #[test]
    fn a_slow_clock_and_one_that_leaps_do_not_stand_still() {
        for every in [2, 5, 10, 30] {
            let (stand_in, told) = run(300, |second| second % every == 0, usual);
            assert_eq!((stand_in.stood, told[298]), (Stood::default(), 299 / every * every));
        }
        // Nobody spoke: the recorder slept.
        let slept = 100..160;
        let said = |second: i64| if slept.contains(&second) { Vec::new() } else { usual(second) };
        let (stand_in, _) = run(200, |second| !slept.contains(&second), said);
        assert_eq!(stand_in.stood, Stood::default());
    }

    #[test]
    fn what_comes_more_often_makes_no_time() {
        // One of several, then the only one: the clock goes on, and what was counted too much is waited for.
        let more =
            |second: i64| vec![(b"$HCHDG,1" as &[u8], if second > 100 { 10 } else { 1 }), (b"$SDDPT,1", 1)];
        assert_eq!(run(200, |_| true, more).0.stood, Stood::default());
        let alone = |second: i64| vec![(b"$HCHDG,1" as &[u8], if second > 100 { 10 } else { 1 })];
        let (stand_in, told) = run(200, |_| true, alone);
        assert_eq!((stand_in.stood.times, told[199]), (1, 200));
        // What comes as it likes has no rate.
        let random = |second: i64| vec![(b"$XXTXT,1" as &[u8], if second % 37 < 5 { 8 } else { 0 })];
        assert_eq!(run(300, |second| second % 60 < 50, random).0.stood, Stood::default());
    }
}
