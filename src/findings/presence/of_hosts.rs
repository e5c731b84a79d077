//! Silences of Ethernet hosts: which of them are a link that went down and came up.

use super::{Presence, Silence, flowed_into, periodic};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::network::{Host, Return, Sign, Signs};
use crate::books::timing::{Message, Stream};
use crate::time::Span;

/// Takes the flaps out of a host's silences, and notes the hosts that said goodbye before all that are left.
pub(super) fn flaps(books: &Books, id: DeviceId, silences: &mut Vec<Silence>, presence: &mut Presence) {
    let Some(host) = books.host(id) else { return };
    let telling = telling(host, silences);
    let mut flaps = Vec::new();
    silences.retain(|silence| {
        let Some(back) = back_from(host, silence) else { return true };
        if back.before.has(Sign::Goodbye) {
            return true;
        }
        if waited_for_address(books, id, silence, back) {
            return false;
        }
        if !back.after.iter().any(|sign| telling.has(sign)) {
            return true;
        }
        flaps.push((silence.span, back.after));
        false
    });
    if !flaps.is_empty() {
        presence.flaps.insert(id, flaps);
    }
    let left = |s: &Silence| match back_from(host, s) {
        Some(back) => back.before.has(Sign::Goodbye),
        None => !s.returned && host.at_last.has(Sign::Goodbye),
    };
    if !silences.is_empty() && silences.iter().all(left) {
        presence.goodbyes.push(id);
    }
}

/// Whether a host was silent because it waited for a DHCP server: between two discovers (RFC 2131 4.1: 4, 8, 16 s ...), or
/// after the last one, until it gave itself an address (RFC 3927 2.2) and before it sent any data.
fn waited_for_address(books: &Books, id: DeviceId, silence: &Silence, back: Return) -> bool {
    if !back.before.has(Sign::DhcpDiscover) {
        return false;
    }
    let idle = || {
        let asks = |stream: &Stream| stream.message == Message::Protocol("dhcp");
        !back.before.has(Sign::DhcpRequest)
            && !periodic(books, id).any(|s| !asks(s) && flowed_into(s, silence.span))
    };
    back.after.has(Sign::DhcpDiscover) || idle()
}

/// Whether a host shows after a silence that its link or its network stack came up: by two signs of that kind, one of which
/// it may show by chance; by one and a weaker one, neither of which it shows at other times; or by one that it never shows else and a
/// weaker one, after a silence that stands out from all others.
pub(super) fn comes_up(books: &Books, id: DeviceId, span: Span) -> bool {
    let Some(host) = books.host(id) else { return false };
    let Some(back) = back_from(host, &Silence { span, returned: true }) else { return false };
    if back.before.has(Sign::Goodbye) {
        return false;
    }
    let strong = back.after.iter().filter(|sign| sign.is_strong()).count();
    let alike = |r: &&Return| r.silence.seconds() >= 0.5 * span.seconds();
    let then_only = |sign: &Sign| {
        let after = host.returns().iter().filter(alike).filter(|r| r.after.has(*sign)).count() as u32;
        host.episodes.get(*sign as usize).is_some_and(|episodes| shows_then_only(*episodes, after))
    };
    let shows_up = |sign: &Sign| {
        sign.is_strong() || matches!(sign, Sign::GroupJoin | Sign::NameAnnouncement | Sign::ServiceAlive)
    };
    let gaps =
        books.inventory.get(id).map(|device| device.gaps.over(ALONE * span.seconds())).unwrap_or_default();
    // Once more as the recording began, it had come up just before.
    let never_else = |sign: &Sign| {
        let after = host.returns().iter().filter(alike).filter(|r| r.after.has(*sign)).count();
        let episodes = host.episodes.get(*sign as usize).copied().unwrap_or(0) as usize;
        sign.is_strong() && gaps.len() <= after && episodes <= after + usize::from(host.at_first.has(*sign))
    };
    let shown = || back.after.iter().filter(shows_up);
    strong >= 2
        || strong == 1 && shown().filter(then_only).count() >= 2
        || strong == 1 && shown().count() >= 2 && shown().any(|sign| never_else(&sign))
}

/// A silence stands out where others are shorter than this share of it.
const ALONE: f64 = 0.7;

/// A link that goes down and up again by itself is back within this time, seconds; who is away for longer again and again comes and
/// goes as somebody likes (common practice, no source).
const DOWN_S: f64 = 60.0;

/// A shorter silence than this takes no share of a recording that counts, seconds.
const LASTS_S: f64 = 5.0;

/// The silences of a host after which it showed that its link came up, or in which somebody asked for it in vain: of longer ones one
/// alone.
pub(super) fn downs(books: &Books, id: DeviceId) -> impl Iterator<Item = Span> {
    let returns = books.host(id).map(Host::returns).unwrap_or_default();
    let came_up = move |back: &Return| {
        let shows = || back.after.iter().any(Sign::is_strong) && comes_up(books, id, back.silence);
        let missed = back.in_vain && !back.before.has(Sign::Goodbye);
        back.silence.seconds() >= LASTS_S && (missed || shows())
    };
    let downs: Vec<Span> = returns.iter().filter(|back| came_up(back)).map(|back| back.silence).collect();
    let is_long = |down: &Span| down.seconds() > DOWN_S;
    let comes_and_goes = downs.iter().filter(|down| is_long(down)).count() > 1;
    downs.into_iter().filter(move |down| !(comes_and_goes && is_long(down)))
}

/// Whether a sign that came after so many silences came hardly ever else: once at the start of the recording, once more by
/// chance.
const fn shows_then_only(episodes: u32, after: u32) -> bool {
    after > 0 && episodes <= 2 * after + 2
}

/// Whether a host's TCP connections were closed just before a silence, and nobody sought it then: what they carried had come to its
/// end.
pub(super) fn hung_up(books: &Books, id: DeviceId, silence: &Silence) -> bool {
    is_unsought(books, id, silence, |before| before.has(Sign::HangUp))
}

/// Whether nobody sought a host in a silence by TCP, after it had shown this.
pub(super) fn is_unsought(
    books: &Books,
    id: DeviceId,
    silence: &Silence,
    had_shown: impl Fn(Signs) -> bool,
) -> bool {
    books.host(id).is_some_and(|host| {
        let back = back_from(host, silence).map(|back| (back.before, back.sought));
        let at_last = (!silence.returned).then_some((host.at_last, host.sought_at_last));
        back.or(at_last).is_some_and(|(before, sought)| !sought && had_shown(before))
    })
}

fn back_from(host: &Host, silence: &Silence) -> Option<Return> {
    host.returns().iter().find(|r| silence.returned && r.silence.to == silence.span.to).copied()
}

/// The signs of a host that tell of a link coming up: not those that it shows again and again while it is there (some
/// announce themselves every minute, or take a new private address now and then).
fn telling(host: &Host, silences: &[Silence]) -> Signs {
    let mut telling = Signs::default();
    for (sign, episodes) in Sign::ALL.into_iter().zip(host.episodes) {
        if matches!(sign, Sign::Goodbye | Sign::Connect | Sign::HangUp) {
            continue;
        }
        let after =
            silences.iter().filter_map(|s| back_from(host, s)).filter(|r| r.after.has(sign)).count() as u32;
        if shows_then_only(episodes, after) {
            telling.add(sign);
        }
    }
    telling
}
