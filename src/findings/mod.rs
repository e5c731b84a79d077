//! (room findings)
