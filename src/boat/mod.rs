//! The boat as its installer says it should be: the file, what on paper cannot work, a draft learnt from a recording,
//! and the recording held against the file.

mod advice;
mod check;
mod desk;
mod learn;
mod load;
mod mistake;
pub mod model;
mod names;
mod quantities;
mod reach;
pub mod sheet;
pub mod show;
mod verify;

pub use advice::advise;
pub use desk::desk_check;
pub use learn::{Draft, learn};
pub use load::{Boat, load, parse};
pub use mistake::{BoatError, Mistake};
pub use verify::verify;
