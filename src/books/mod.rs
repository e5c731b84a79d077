//! (room books)
