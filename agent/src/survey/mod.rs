//! The survey: what is here and works, what gives less than it could, and what is not found, each with what turns it on.
//! It only reads; the one thing that is sent is a byte to the addresses of panels, on buses where that is safe.
//!
//! In reading order: `surroundings` and `panels` look (the edges), `buses` says which bus may be tried, `listing` makes the
//! three lists of `item`s, `printed` puts them into words.

mod buses;
mod item;
mod listing;
mod panels;
mod printed;
mod surroundings;
#[cfg(test)]
mod tests;

pub use buses::BusUse;
pub use item::{Absence, FoundDrive, Limit, Limited, NotFound, Remedy, Survey, Works};
pub use listing::{Found, survey};
pub use panels::{Answer, Trial, is_tried, trials};
pub use printed::printed;
pub use surroundings::{I2cBus, Module, Rights, Service, Surroundings, surroundings};
