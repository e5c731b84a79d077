//! (room demo)
