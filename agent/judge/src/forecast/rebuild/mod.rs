//! What a rebuild asks of a box: how long it will still take, and how likely it is to meet a sector that cannot be read.

mod pace;
mod risk;

pub use pace::Pace;
pub use risk::{Read, Risk};
