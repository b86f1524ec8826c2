//! The parts of traylight, in reading order. Data flows one way: sense, judge, then show, tell and serve.

#![deny(clippy::print_stdout, clippy::print_stderr)]

pub use traylight_data::{reading, text, units, verdict};

pub mod clock;
pub mod printout;
pub mod rights;
pub mod whole_file;

pub mod sense;

pub mod probe;

pub use traylight_judge as judge;

pub mod tell;

pub mod keep;

pub mod send;

pub mod show;

pub mod serve;

pub mod survey;

pub mod setup;

pub mod pseudonyms;

pub mod dossier;

pub mod rehearse;

pub mod run;

pub mod demo;

#[cfg(test)]
mod every_key;
