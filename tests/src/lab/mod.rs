//! The virtual machine lab: a stock kernel in an emulated machine, with drives, pools, a fan chip and a panel that the
//! real program watches while faults are injected from outside.
//!
//! In reading order: `scenarios` (what is played), `report` (what is printed), `panel` (what the panel says), `machine`
//! (a running guest) with `spec` (what it has), `qmp` and `debugger` (talking to the emulator) and `wait` (every wait has an end),
//! `parts` (kernel and first file system, made once), `debian` (a whole system where the host's own will not do) and `host`
//! (what this computer must have).
//!
//! Not its job: judging by pure functions or a pretended tree; the other tests do that in less time.

pub mod debian;
pub mod debugger;
pub mod error;
pub mod host;
pub mod machine;
pub mod panel;
pub mod parts;
pub mod qmp;
pub mod report;
pub mod scenarios;
pub mod spec;
pub mod wait;

pub use error::LabError;
