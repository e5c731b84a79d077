//! Computers that somebody joins to a bus for a while.

use super::{STARTING_S, of_devices};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::timing::Message;

/// Class and function that a computer's adapter bears in its NAME (NMEA 2000 appendix B: PC gateway).
const COMPUTER: (u8, u8) = (25, 130);

/// Whether a node is a computer that is joined and taken away as somebody likes: it sends nothing for the boat, and it joined
/// while the others were long up. Its silence is no loss, and that it claims an address anew says that somebody started its
/// program again. A computer's adapter that is there from the beginning is one of the boat's devices.
pub(super) fn is_visitor(books: &Books, id: DeviceId) -> bool {
    let Some(device) = books.inventory.get(id) else { return false };
    let is_computer = device.name().is_some_and(|name| (name.class(), name.function()) == COMPUTER);
    let supplies = || books.timing.of(id).any(|stream| !is_upkeep(&stream.message));
    let begins = books.wires.get(device.wire).and_then(|wire| wire.first);
    let late = || device.first.zip(begins).is_some_and(|(first, begins)| first.since(begins) > STARTING_S);
    let joined = || late() && of_devices::starts_anew(books, id);
    is_computer && !supplies() && joined()
}

/// Whether a message is one that any node sends to take part in the bus: requests, claims, heartbeats, and what it says of
/// itself (ISO 11783-3 and -5, NMEA 2000 appendix B).
const fn is_upkeep(message: &Message) -> bool {
    matches!(
        message,
        Message::Pgn(
            59_392
                | 59_904
                | 60_160
                | 60_416
                | 60_928
                | 65_240
                | 126_208
                | 126_464
                | 126_993
                | 126_996
                | 126_998
        )
    )
}
