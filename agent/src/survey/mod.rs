//! The survey: what is found, what of it is limited, and what is not found, each with what turns it on. It only reads; the one
//! thing that is sent is a byte to the addresses of panels, on buses where that is safe.
//!
//! In reading order: `surroundings` and `panels` read the system (the edges), `buses` decides which bus may be tried,
//! `listing` and `panel_search` make the three lists of `item`s from their `input`, each with its `remedy`; `printed` puts them into words.

mod buses;
mod input;
mod item;
mod listing;
mod panel_search;
mod panels;
mod printed;
mod remedy;
mod surroundings;
#[cfg(test)]
mod tests;

pub use buses::BusPurpose;
pub use input::SurveyInput;
pub use item::{Absence, BusName, FoundDrive, FoundPart, Item, Limitation, Survey, TriedAddress};
pub use listing::survey;
pub use panels::{AddressCheck, CheckResult, address_checks, is_tried};
pub use printed::printed;
pub use remedy::Remedy;
pub use surroundings::{I2cBus, KernelModule, Rights, Service, Surroundings, surroundings};

#[cfg(test)]
pub(crate) use printed::keys;
