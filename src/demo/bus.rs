//! The boat's NMEA 2000 backbone: who is on it, what each says and when, and in which order it gets through.

use crate::demo::boat::{State, VARIATION_DEG, Voyage};
use crate::demo::n2k_encode::{self as encode, Message};
use crate::demo::rng::Rng;
use crate::demo::sensors::{
    Compass, CompassFault, Receiver, SounderFault, date_and_time, depth, moment, water_celsius,
};
use crate::recording::CanFrame;
use crate::time::Time;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Source addresses of the devices.
pub(super) const CONSOLE: u8 = 3;
const BOW_DISPLAY: u8 = 4;
/// The bow motor with its own heading sensor.
pub(super) const BOW_MOTOR: u8 = 12;
const SOUNDER: u8 = 22;
/// The GPS and heading puck.
pub(super) const PUCK: u8 = 35;
const ENGINE: u8 = 40;

/// How long a full frame holds the bus at 250 kbit/s, microseconds (some 140 bits).
const FRAME_US: i64 = 560;

/// What a bus recording is to show; by default a healthy boat.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct BusPlan {
    /// Seconds of recording.
    pub(super) seconds: f64,
    /// What is wrong with the bow motor's heading sensor.
    pub(super) bow: CompassFault,
    /// The puck sends heading too, with this fault.
    pub(super) puck_heading: Option<CompassFault>,
    /// What is wrong with the sounder.
    pub(super) sounder: SounderFault,
    /// The console display sends its own position; its antenna is so many metres aft of the puck.
    pub(super) console_position_aft_m: Option<f64>,
    /// When a device is cut off: address, from, to (seconds).
    pub(super) cut_off: &'static [(u8, f64, f64)],
    /// When a device starts anew: address, supply lost, back (seconds).
    pub(super) restart: Option<(u8, f64, f64)>,
}

struct Device {
    address: u8,
    name: u64,
    product: Message,
    boot_s: f64,
}

fn devices() -> [Device; 6] {
    let device = |address, name, product, boot_s| Device { address, name, product, boot_s };
    use encode::{name, product};
    [
        device(CONSOLE, name(90_117, 2041, 130, 120), product(512, "MD-12", "3.20", "MD12-0117", 2), 0.9),
        device(BOW_DISPLAY, name(90_231, 2041, 130, 120), product(509, "MD-9", "3.20", "MD9-0231", 2), 1.1),
        device(BOW_MOTOR, name(30_554, 2042, 150, 40), product(36, "BM-36", "1.07", "BM36-0554", 1), 0.4),
        device(SOUNDER, name(71_802, 2043, 136, 60), product(4, "SD-4", "2.02", "SD4-1802", 3), 0.25),
        device(PUCK, name(55_060, 2044, 145, 60), product(2, "GH-2", "2.14", "GH2-5060", 3), 0.3),
        device(ENGINE, name(12_933, 2045, 160, 50), product(1, "EG-1", "1.00", "EG1-2933", 1), 0.2),
    ]
}

/// The recording's frames with the times at which a recorder saw them.
pub(super) fn frames(plan: &BusPlan, voyage: &Voyage, seed: u64) -> Vec<(Time, CanFrame)> {
    let mut said = Said { plan, sent: Vec::new() };
    for device in devices() {
        announce(&mut said, &device, device.boot_s);
        if let Some((_, _, back_s)) = plan.restart.filter(|r| r.0 == device.address) {
            announce(&mut said, &device, back_s);
            // The console does not know the newcomer and asks who it is.
            said.push(back_s + 0.4, CONSOLE, &encode::request(126_996).to(device.address), 0);
            said.push(back_s + 0.43, device.address, &device.product, 0);
        }
        said.push(2.53 + device.boot_s / 10.0, device.address, &device.product, 0);
    }
    // Once up, the console asks everyone who they are.
    said.push(2.5, CONSOLE, &encode::request(126_996), 0);

    let streams = |address: u8, kinds: &[(Kind, f64)]| kinds.iter().map(|k| (address, k.0, k.1)).collect();
    let mut all: Vec<(u8, Kind, f64)> = streams(
        PUCK,
        &[
            (Kind::Position, 0.1),
            (Kind::CourseSpeed, 0.25),
            (Kind::Fix, 1.0),
            (Kind::Dilution, 1.0),
            (Kind::Satellites, 1.0),
            (Kind::SystemTime, 1.0),
            (Kind::Variation, 1.0),
        ],
    );
    all.extend([(BOW_MOTOR, Kind::Heading, 0.1), (BOW_MOTOR, Kind::Turn, 0.1)]);
    all.extend([(SOUNDER, Kind::Depth, 1.0), (SOUNDER, Kind::WaterSpeed, 1.0)]);
    all.extend([(SOUNDER, Kind::WaterTemperature, 2.0)]);
    all.extend([(ENGINE, Kind::EngineSpeed, 0.1), (ENGINE, Kind::Battery, 1.5)]);
    if plan.puck_heading.is_some() {
        all.push((PUCK, Kind::Heading, 0.1));
    }
    if plan.console_position_aft_m.is_some() {
        all.extend([(CONSOLE, Kind::Position, 0.1), (CONSOLE, Kind::Fix, 1.0)]);
    }
    for (address, kind, period_s) in all {
        stream(&mut said, voyage, seed, address, kind, period_s);
    }
    arbitrate(said.sent)
}

/// A device's address claim, and its heartbeats (each a minute) from the claim on until it loses its supply.
fn announce(said: &mut Said<'_>, device: &Device, from_s: f64) {
    said.push(from_s, device.address, &encode::address_claim(device.name), 0);
    let lost_s = said.plan.restart.filter(|r| r.0 == device.address && r.1 > from_s).map(|r| r.1);
    let until = lost_s.unwrap_or(said.plan.seconds);
    let mut counter = 0_u8;
    loop {
        let t = from_s + 0.5 + 60.0 * f64::from(counter);
        if t > until {
            return;
        }
        said.push(t, device.address, &encode::heartbeat(counter), 0);
        counter = counter.saturating_add(1);
    }
}

/// Everything that the devices want to say, in no order yet.
struct Said<'a> {
    plan: &'a BusPlan,
    sent: Vec<(i64, CanFrame)>,
}

impl Said<'_> {
    /// Hands a message to the bus at `t` seconds, unless its sender has no supply or is cut off.
    fn push(&mut self, t: f64, address: u8, message: &Message, sequence: u8) {
        let away = |&(who, from, to): &(u8, f64, f64)| who == address && t > from && t < to;
        if t > self.plan.seconds || self.plan.cut_off.iter().chain(&self.plan.restart).any(away) {
            return;
        }
        for (index, frame) in message.frames(address, sequence).into_iter().enumerate() {
            // A device needs a little time to hand its controller the next frame of a message.
            self.sent.push(((t * 1e6) as i64 + index as i64 * 800, frame));
        }
    }
}

/// What a device sends again and again.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Heading,
    Turn,
    Position,
    CourseSpeed,
    Fix,
    Dilution,
    Satellites,
    SystemTime,
    Variation,
    Depth,
    WaterSpeed,
    WaterTemperature,
    EngineSpeed,
    Battery,
}

/// Sends one kind of message of one device from its start to the end.
fn stream(said: &mut Said<'_>, voyage: &Voyage, seed: u64, address: u8, kind: Kind, period_s: f64) {
    let plan = said.plan;
    let mut rng = Rng::stream(seed, &format!("{address} {kind:?}"));
    let fault = if address == PUCK { plan.puck_heading.unwrap_or_default() } else { plan.bow };
    let mut compass = Compass::new(seed, &format!("compass {address}"), fault, plan.seconds);
    let aft_m = if address == CONSOLE { plan.console_position_aft_m.unwrap_or(0.0) } else { 0.0 };
    let receiver = Receiver::new(seed, &format!("receiver {address}"), aft_m, plan.seconds);
    let boot_s = devices().iter().find(|d| d.address == address).map_or(0.0, |d| d.boot_s);
    // 250 ms after the claim at the earliest (ISO 11783-5 4.4); then every message at its own moment.
    let first_s = boot_s + 0.25 + rng.between(0.0, period_s.min(1.0));
    // A clock that is some parts in a hundred thousand off, and a task that is a millisecond or two late.
    let period_s = period_s * (1.0 + rng.between(-4e-5, 4e-5));
    let mut count = 0_u32;
    loop {
        let t = first_s + f64::from(count) * period_s + rng.between(0.0, 0.003);
        if t > plan.seconds {
            return;
        }
        // After a restart the claim comes first here too.
        let waiting = plan.restart.is_some_and(|r| r.0 == address && t > r.1 && t < r.2 + 0.25);
        let message = say(kind, &voyage.at(t), t, plan, (&mut compass, &receiver, &mut rng), voyage);
        if !waiting {
            said.push(t, address, &message, (count % 8) as u8);
        }
        count += 1;
    }
}

fn say(
    kind: Kind,
    state: &State,
    t: f64,
    plan: &BusPlan,
    (compass, receiver, rng): (&mut Compass, &Receiver, &mut Rng),
    voyage: &Voyage,
) -> Message {
    let sid = (t as u32 % 253) as u8;
    let (days, of_day_s) = date_and_time(moment(t));
    // Depth, paddle wheel and thermometer sit in one transducer.
    let deaf = matches!(plan.sounder, SounderFault::Deaf { from_s } if t >= from_s);
    match kind {
        Kind::Heading => encode::magnetic_heading(sid, compass.magnetic_deg(voyage, t)),
        Kind::Turn => encode::rate_of_turn(sid, state.turn_deg_s + 0.05 * rng.normal()),
        Kind::Position => encode::position_rapid(receiver.place(state, t)),
        Kind::CourseSpeed => {
            let (course_deg, kn) = receiver.course_speed(state, t);
            encode::course_speed(sid, course_deg, kn)
        }
        Kind::Fix => {
            // The fix is that of the whole second, as receivers do it.
            let whole = of_day_s.floor();
            encode::gnss_position(
                sid,
                days,
                whole,
                receiver.place(&voyage.at(t.floor()), t.floor()),
                receiver.hdop(t),
            )
        }
        Kind::Dilution => encode::dilution(sid, receiver.hdop(t)),
        Kind::Satellites => {
            let sky =
                [(3, 71.0, 40.0), (7, 22.0, 310.0), (9, 45.0, 95.0), (14, 12.0, 220.0), (21, 55.0, 170.0)]
                    .map(|(number, elevation, azimuth)| {
                        (number, elevation, azimuth, 36.0 + elevation / 10.0)
                    });
            encode::satellites(sid, &sky)
        }
        Kind::SystemTime => encode::system_time(sid, days, of_day_s),
        Kind::Variation => encode::variation(sid, days, VARIATION_DEG),
        Kind::Depth => encode::depth(sid, depth(state, t, plan.sounder, rng), 0.3),
        Kind::WaterSpeed => {
            let kn = (state.water_kn + 0.03 * rng.normal()).max(0.0);
            encode::water_speed(sid, (!deaf).then_some(kn))
        }
        Kind::WaterTemperature => {
            let celsius = water_celsius(t, rng);
            encode::water_temperature(sid, (!deaf).then_some(celsius))
        }
        Kind::EngineSpeed => encode::engine_speed(state.rpm() + 4.0 * rng.normal()),
        Kind::Battery => encode::battery(sid, 13.6 + 0.02 * rng.normal()),
    }
}

/// Lets the frames through one at a time: of those that wait, the lowest identifier wins, and frames of one
/// identifier keep their order (ISO 11898-1, bitwise arbitration).
fn arbitrate(mut sent: Vec<(i64, CanFrame)>) -> Vec<(Time, CanFrame)> {
    sent.sort_by_key(|(ready_us, frame)| (*ready_us, frame.id));
    let mut waiting: BinaryHeap<Reverse<(u32, usize)>> = BinaryHeap::new();
    let mut through = Vec::with_capacity(sent.len());
    let (mut free_us, mut next) = (0_i64, 0);
    loop {
        if waiting.is_empty() {
            let Some((ready_us, _)) = sent.get(next) else { return through };
            free_us = free_us.max(*ready_us);
        }
        while let Some((ready_us, frame)) = sent.get(next)
            && *ready_us <= free_us
        {
            waiting.push(Reverse((frame.id, next)));
            next += 1;
        }
        if let Some(Reverse((_, index))) = waiting.pop()
            && let Some((_, frame)) = sent.get(index)
        {
            free_us += FRAME_US;
            through.push((moment(free_us as f64 / 1e6), *frame));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(frames: &[(Time, CanFrame)], address: u8, pgn: u32) -> Vec<(f64, CanFrame)> {
        let wanted = |f: &CanFrame| f.id & 0xFF == u32::from(address) && (f.id >> 8) & 0x1_FFFF == pgn;
        frames.iter().filter(|f| wanted(&f.1)).map(|(t, f)| (t.since(moment(0.0)), *f)).collect()
    }

    #[test]
    fn every_message_keeps_its_rate_and_the_bus_carries_one_frame_at_a_time() {
        let plan = BusPlan { seconds: 60.0, ..BusPlan::default() };
        let frames = frames(&plan, &Voyage::new(1), 1);
        assert!(frames.windows(2).all(|w| w[1].0.micros_since(w[0].0) >= FRAME_US));
        for (address, pgn, each_s) in
            [(BOW_MOTOR, 127_250, 0.1), (PUCK, 129_025, 0.1), (PUCK, 129_026, 0.25), (SOUNDER, 128_267, 1.0)]
        {
            let seen = of(&frames, address, pgn);
            assert!((seen.len() as f64 * each_s - 60.0).abs() < 2.0, "{pgn}: {}", seen.len());
            assert!(seen.windows(2).all(|w| (w[1].0 - w[0].0 - each_s).abs() < 0.012), "{pgn} is ragged");
        }
        assert_eq!(of(&frames, PUCK, 126_996).len(), 20);
        assert_eq!(of(&frames, PUCK, 127_250).len(), 0, "one heading source in a healthy boat");
    }

    #[test]
    fn a_restarting_device_is_silent_and_claims_anew() {
        let plan = BusPlan { seconds: 60.0, restart: Some((PUCK, 20.0, 31.0)), ..BusPlan::default() };
        let frames = frames(&plan, &Voyage::new(1), 1);
        let seen = of(&frames, PUCK, 129_025);
        assert!(seen.iter().all(|(t, _)| *t < 20.1 || *t > 31.2));
        let claims: Vec<_> = frames.iter().filter(|f| f.1.id == 0x18EE_FF23).collect();
        assert_eq!(claims.len(), 2);
        let counters: Vec<u8> = of(&frames, PUCK, 126_993).iter().map(|f| f.1.bytes[2]).collect();
        assert_eq!(counters, [0, 0], "the counter starts again");
    }
}
