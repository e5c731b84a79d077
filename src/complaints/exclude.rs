//! What a recording excludes, with the reason in numbers. Shared by the complaints.

use super::Scope;
use crate::books::Books;
use crate::books::inventory::Identity;
use crate::books::network::Network;
use crate::books::series::{Sample, Source};
use crate::books::wires::Wire;
use crate::findings::depth_not_available;
use crate::findings::network_address::hears_all;
use crate::recording::WireKind;

/// A value that is missing for so long could be what the owner means, seconds.
const NOTICEABLE_S: f64 = 5.0;

/// Shorter recordings exclude nothing that comes and goes, seconds.
const LONG_ENOUGH_S: f64 = 60.0;

/// Whether a wire was recorded for long enough to exclude what comes now and then.
pub(super) fn long_enough(books: &Books, wire: &Wire) -> bool {
    let root = wire.carried_by.and_then(|root| books.wires.get(root)).unwrap_or(wire);
    books.recorded_s(root) >= LONG_ENOUGH_S
}

/// Whether there are sources, and every wire that carries one was recorded for long enough.
pub(super) fn watched(books: &Books, sources: &[&Source]) -> bool {
    let wire = |s: &&Source| books.inventory.get(s.key.device).and_then(|d| books.wires.get(d.wire));
    !sources.is_empty() && sources.iter().all(|s| wire(s).is_some_and(|wire| long_enough(books, wire)))
}

pub(super) fn sources<'a>(books: &'a Books, scope: &Scope) -> Vec<&'a Source> {
    match *scope {
        Scope::Quantity(quantity) => books.series.of(quantity).collect(),
        Scope::AnyData | Scope::Hosts => books.series.iter().collect(),
    }
}

/// The wires of a kind that carried something; none when one of them was recorded too briefly to exclude anything.
pub(super) fn wires(books: &Books, kind: WireKind) -> Vec<&Wire> {
    let all = books.wires.iter().map(|(_, w)| w).filter(|w| w.kind == kind && w.frames > 0);
    let wires: Vec<&Wire> = all.collect();
    if wires.iter().any(|w| !long_enough(books, w)) {
        return Vec::new();
    }
    wires.into_iter().filter(|w| w.frames >= 100).collect()
}

pub(super) fn s(seconds: f64) -> String {
    if seconds < 1.0 { format!("{seconds:.2} s") } else { format!("{seconds:.1} s") }
}

/// Somebody supplies the quantity.
pub(super) fn somebody_supplies(books: &Books, scope: &Scope) -> Option<String> {
    let sources = sources(books, scope);
    let first = sources.first()?;
    let who = books.inventory.label(first.key.device);
    Some(format!("{} {} messages come from {who}.", first.count, first.key.message))
}

/// Somebody supplies the quantity, and never without a value for long.
pub(super) fn somebody_supplies_values(books: &Books, scope: &Scope) -> Option<String> {
    without_value(books, scope).is_none().then(|| somebody_supplies(books, scope)).flatten()
}

/// Messages without a value that are so large a share are missed, be each missing for a moment only.
const SCATTERED: f64 = 0.05;

/// A stretch in which the messages of a source come without a value, and the device gives it in no other message.
pub(super) fn without_value(books: &Books, scope: &Scope) -> Option<String> {
    let sources = sources(books, scope);
    // Many compasses send one heading that they know and one that they would need more for.
    let otherwise = |source: &Source| {
        let mut others = sources.iter().filter(|s| s.key.device == source.key.device && s.key != source.key);
        others.any(|s| s.runs.absent(NOTICEABLE_S).is_empty() && s.valid * 2 > source.count)
    };
    sources.iter().filter(|source| !otherwise(source)).find_map(|source| {
        let longest =
            source.runs.absent(NOTICEABLE_S).into_iter().max_by(|a, b| a.seconds().total_cmp(&b.seconds()));
        let without = source.count - source.valid;
        let share = without as f64 / source.count as f64;
        let when = match longest {
            Some(longest) => {
                format!(
                    "for {} at the longest, from {} on",
                    s(longest.seconds()),
                    books.stamp(longest.from).clock()
                )
            }
            None if share >= SCATTERED => String::from("now and then"),
            None => return None,
        };
        Some(format!(
            "{without} of {} {} messages from {} hold no value ({:.0} %), {when}.",
            source.count,
            source.key.message,
            books.inventory.label(source.key.device),
            100.0 * share
        ))
    })
}

/// Every heading comes steadily and with a value: a compass that needs a fix for it has one.
pub(super) fn heading_holds(books: &Books, scope: &Scope) -> Option<String> {
    let holds =
        super::silences::messages_steady(books, scope).is_some() && without_value(books, scope).is_none();
    holds.then(|| somebody_supplies(books, scope)).flatten()
}

pub(super) fn claims_seen(claims: u64) -> String {
    match claims {
        0 => String::from("no address claim was seen"),
        1 => String::from("1 address claim was seen"),
        n => format!("{n} address claims were seen"),
    }
}

/// Every node that speaks claimed its address, and no two of them contend for one.
pub(super) fn no_contention(books: &Books, _: &Scope) -> Option<String> {
    if wires(books, WireKind::Can).is_empty() {
        return None;
    }
    let claims: u64 = books.buses.iter().map(|(_, b)| b.claims).sum();
    let quiet = books.buses.iter().all(|(_, b)| b.contentions.is_empty() && b.homeless.is_empty());
    let claimed = books
        .inventory
        .iter()
        .filter(|(_, device)| device.frames > 0)
        .all(|(_, device)| !matches!(device.identity, Identity::N2k { name: None, .. }));
    (claims > 0 && quiet && claimed).then(|| {
        format!(
            "Every node that speaks claimed its address, no two of them in contention ({}).",
            claims_seen(claims)
        )
    })
}

/// The quantity's values hold.
pub(super) fn values_there(books: &Books, scope: &Scope) -> Option<String> {
    let sources = sources(books, scope);
    if !watched(books, &sources) {
        return None;
    }
    // A depth of exactly nothing, again and again, is what some sounders send for none.
    let valued = |s: &Source| s.valid - depth_not_available::zero_held(s);
    let best = sources.iter().filter(|s| s.count >= 20).max_by_key(|s| valued(s))?;
    // A display without a value for some seconds is what the owner may mean.
    let noticed = without_value_s(best.track.samples()) > NOTICEABLE_S;
    (valued(best) * 100 >= best.count * 95 && !noticed).then(|| {
        format!(
            "{} of {} {} messages hold a value ({:.0} %).",
            valued(best),
            best.count,
            best.key.message,
            valued(best) as f64 / best.count as f64 * 100.0
        )
    })
}

/// Depth held at every speed that the boat ran.
pub(super) fn depth_holds_at_speed(books: &Books, scope: &Scope) -> Option<String> {
    /// Hull transducers that are not meant for speed lose the bottom from about 25 mph on (common practice, no source).
    const FAST_KN: f64 = 22.0;
    /// A value that stays to the last digit for so long is held and not measured, seconds.
    const HELD_S: f64 = 10.0;
    let class = (FAST_KN / crate::books::series::SPEED_CLASS_KN) as usize;
    let holds_on = |source: &Source| {
        let fast = source.track.samples().iter().filter(|s| s.b > FAST_KN).copied().collect::<Vec<_>>();
        held_s(&fast) > HELD_S
    };
    // What a sounder repeats at speed, or does not send there, is no depth that holds.
    let pauses = |source: &Source| {
        let stream = books.stream(source);
        stream.is_some_and(|stream| {
            let limit = 3.0 * stream.median_s().unwrap_or(f64::INFINITY);
            books.longest_pause_s(&stream.gaps) > limit.max(HELD_S)
        })
    };
    sources(books, scope).into_iter().filter(|s| !holds_on(s) && !pauses(s)).find_map(|source| {
        let fast = source
            .by_speed
            .iter()
            .skip(class)
            .fold((0_u64, 0_u64), |(v, i), c| (v + u64::from(c.0), i + u64::from(c.1)));
        let all = fast.0 + fast.1;
        (all >= 20 && fast.0 * 10 >= all * 9)
            .then(|| format!("{} of {all} depth messages above {FAST_KN:.0} kn hold a depth.", fast.0))
    })
}

/// Only one device supplies the quantity.
pub(super) fn one_source(books: &Books, scope: &Scope) -> Option<String> {
    let sources: Vec<_> = sources(books, scope).into_iter().filter(|s| s.valid > 0).collect();
    if !watched(books, &sources) {
        return None;
    }
    let first = sources.first()?;
    let one =
        |s: &&Source| books.inventory.same(s.key.device, first.key.device) && s.steps.lanes.turns().is_none();
    sources
        .iter()
        .all(one)
        .then(|| format!("Only {} supplies it in this recording.", books.inventory.label(first.key.device)))
}

/// Values that were judged from which on steps would show.
const JUDGED: u64 = 50;

/// No source steps by itself.
pub(super) fn no_steps(books: &Books, scope: &Scope) -> Option<String> {
    let sources: Vec<_> = sources(books, scope).into_iter().filter(|s| s.valid > 0).collect();
    let values: u64 = sources.iter().map(|s| s.steps.judged()).sum();
    let clean = |s: &&Source| {
        s.steps.count == 0
            && !s.steps.doubtful
            && s.steps.across.is_none()
            && s.steps.lanes.turns().is_none()
            && s.steps.judged() >= JUDGED.min(s.valid)
    };
    (values >= JUDGED && watched(books, &sources) && sources.iter().all(clean))
        .then(|| format!("No step further than a boat can make in {values} values."))
}

/// Both sources count from the same north, or there is one source.
pub(super) fn one_north(books: &Books, scope: &Scope) -> Option<String> {
    let references: Vec<_> =
        sources(books, scope).into_iter().filter(|s| s.valid > 0).filter_map(|s| s.key.reference).collect();
    let first = *references.first()?;
    references.iter().all(|r| *r == first).then(|| format!("Every heading in this recording is {first}."))
}

/// Addresses on the Ethernet are each used by one host.
pub(super) fn addresses_single(books: &Books, _: &Scope) -> Option<String> {
    if wires(books, WireKind::Ethernet).is_empty() {
        return None;
    }
    let claimed: usize = books.networks.iter().map(|(_, n)| n.claimed.len()).sum();
    let single = books.networks.iter().all(|(_, n)| n.claimed.iter().all(|(_, c)| c.len() <= 1));
    // Who owns an address that is asked for may answer where this port does not hear it; a client that declines its lease has
    // met the owner.
    let unseen = |n: &Network| n.asked.iter().any(|asked| n.claimed.iter().all(|(ip, _)| *ip != asked.ip));
    let shows = books.networks.iter().all(|(_, n)| !unseen(n) && n.declines == 0);
    (claimed > 0 && single && shows).then(|| format!("{claimed} IPv4 addresses, each used by one host only."))
}

/// At most one server gives addresses.
pub(super) fn one_server(books: &Books, _: &Scope) -> Option<String> {
    if wires(books, WireKind::Ethernet).is_empty() {
        return None;
    }
    let servers: usize = books.networks.iter().map(|(_, n)| n.servers.len()).sum();
    (servers == 1).then(|| "One DHCP server answers, no second one.".to_owned())
}

/// Every host that asked for an address got an offer.
pub(super) fn addresses_given(books: &Books, _: &Scope) -> Option<String> {
    if wires(books, WireKind::Ethernet).is_empty() {
        return None;
    }
    let mut asked = 0;
    let mut waiting = 0;
    for (_, network) in books.networks.iter() {
        let mut hosts: Vec<_> = network.hosts.values().filter(|h| h.discovers > 0).collect();
        hosts.sort_by_key(|h| h.discovers);
        asked += hosts.len();
        // An offer alone may have been turned down; that a host took its address shows in the acknowledgement.
        waiting += hosts.iter().filter(|h| h.lease.is_none()).count();
    }
    (asked > 0 && waiting == 0).then(|| {
        format!("{asked} {} asked for an address and got one.", if asked == 1 { "host" } else { "hosts" })
    })
}

/// Broadcast and group traffic stays low.
pub(super) fn no_flood(books: &Books, _: &Scope) -> Option<String> {
    if wires(books, WireKind::Ethernet).is_empty() {
        return None;
    }
    let peak = books.networks.iter().map(|(_, n)| n.floods.peak).max()?;
    (peak < crate::books::network::FLOOD_PER_S)
        .then(|| format!("At most {peak} broadcast and group frames in a second."))
}

/// The Ethernet is far from full, at a port that shows all of it.
pub(super) fn link_free(books: &Books, _: &Scope) -> Option<String> {
    if !books.networks.iter().any(|(_, network)| hears_all(network)) {
        return None;
    }
    let peak =
        wires(books, WireKind::Ethernet).into_iter().filter_map(|w| w.load.peak).map(|(_, n)| n).max()?;
    let mbit = peak as f64 * 8.0 / 1e6;
    (mbit < 50.0).then(|| format!("The busiest second fills {:.2} % of 100 Mbit/s.", mbit))
}

/// The bus is far from full.
pub(super) fn bus_free(books: &Books, _: &Scope) -> Option<String> {
    let peak = wires(books, WireKind::Can).into_iter().filter_map(|w| w.load.peak).map(|(_, n)| n).max()?;
    let percent = peak as f64 / 2500.0;
    (percent < 60.0).then(|| format!("The busiest second fills {percent:.0} % of the bus."))
}

/// Multi-frame messages arrived whole.
pub(super) fn packets_whole(books: &Books, _: &Scope) -> Option<String> {
    let (complete, incomplete) = books
        .buses
        .iter()
        .flat_map(|(_, b)| &b.losses)
        .fold((0, 0), |(c, i), l| (c + l.complete, i + l.incomplete));
    (complete >= 20 && incomplete * 100 <= complete)
        .then(|| format!("{complete} multi-frame messages whole, {incomplete} with frames missing."))
}

/// Sentences arrive with good checksums.
pub(super) fn checksums_good(books: &Books, _: &Scope) -> Option<String> {
    let (good, bad) = books.lines.iter().fold((0, 0), |(g, b), (_, l)| (g + l.good, b + l.bad));
    (good >= 100 && bad == 0).then(|| format!("{good} sentences with a checksum, none of them bad."))
}

/// Sentences arrive whole.
pub(super) fn sentences_whole(books: &Books, _: &Scope) -> Option<String> {
    let (total, garbled) = books.lines.iter().fold((0, 0), |(t, g), (_, l)| (t + l.total, g + l.garbled));
    (total >= 100 && garbled == 0).then(|| format!("{total} sentences, none of them cut."))
}

/// Every heading moves with the boat.
pub(super) fn heading_follows(books: &Books, scope: &Scope) -> Option<String> {
    const TURNED_DEG: f64 = 60.0;
    /// A heading that stands still while the boat turns would be seen by its like values: this many of all, or for so many
    /// seconds on end.
    const MOVING_SHARE: f64 = 0.5;
    const HELD_S: f64 = 5.0;
    let mut words = Vec::new();
    for source in sources(books, scope).into_iter().filter(|s| s.valid >= 50) {
        let samples: Vec<f64> =
            source.track.samples().iter().map(|s| s.a).filter(|a| a.is_finite()).collect();
        let (first, pairs) = (*samples.first()?, samples.windows(2));
        let moved = pairs.filter(|w| w.first() != w.last()).count() as f64 / samples.len() as f64;
        let turned = samples.iter().map(|a| crate::units::wrap_180(a - first).abs()).fold(0.0, f64::max);
        let held = held_s(source.track.samples());
        if turned < TURNED_DEG || moved < MOVING_SHARE || held > HELD_S {
            return None;
        }
        words.push(format!(
            "{} of {} turned by {turned:.0} deg and moves from value to value",
            source.key.message,
            books.inventory.label(source.key.device)
        ));
    }
    (!words.is_empty()).then(|| format!("{}.", words.join("; ")))
}

/// The longest time without a value, seconds.
fn without_value_s(samples: &[Sample]) -> f64 {
    let (mut longest, mut since) = (0.0_f64, None);
    for sample in samples {
        if sample.a.is_nan() {
            longest = longest.max(sample.time.since(*since.get_or_insert(sample.time)));
        } else {
            since = None;
        }
    }
    longest
}

/// The longest time for which a value stays the same, seconds.
fn held_s(samples: &[Sample]) -> f64 {
    let (mut longest, mut since) = (0.0_f64, samples.first());
    for sample in samples {
        match since {
            Some(first) if first.a == sample.a => longest = longest.max(sample.time.since(first.time)),
            _ => since = Some(sample),
        }
    }
    longest
}
