//! The acceptance sheet, one renderer a format.

pub mod json;
pub mod markdown;
pub mod text;
mod words;
