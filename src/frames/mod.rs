//! (room frames)

mod can_bits;

pub use can_bits::frame_bits;
