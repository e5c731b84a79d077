//! (room cli)
