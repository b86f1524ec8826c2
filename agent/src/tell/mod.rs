//! Tells what is new: words for conditions, and the ways out.

pub mod log;
pub mod wording;
