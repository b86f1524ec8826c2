//! Pseudonyms for what identifies a box and its owner: serials, names, addresses. Within one file the same value gets the
//! same pseudonym wherever it is, so that two drives stay two.
//!
//! [`Known`] collects what is known beforehand, `host` adds what only the system's files have, `patterns` finds values by
//! their form alone, and [`Pseudonyms`] replaces both, in text or in bytes.

mod host;
mod kind;
mod known;
mod patterns;
mod replace;
#[cfg(test)]
mod tests;

pub use host::known_to_host;
pub use kind::IdentityKind;
pub use known::Known;
pub use replace::Pseudonyms;
