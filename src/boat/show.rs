//! The acceptance sheet, one renderer a format.

pub mod html;
pub mod json;
pub mod markdown;
pub mod text;
mod words;
