//! What a scrubbed copy keeps, and that nothing of the owner is left in it.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test may stop at what it did not expect"
)]

mod ais;
mod carriers;
mod copies;
mod damaged;
mod identities;
mod leftovers;
mod messages;
mod packets;
mod promises;
mod secrets;
mod unknown;
mod walk;
