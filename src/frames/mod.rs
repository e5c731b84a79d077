//! (room frames)
