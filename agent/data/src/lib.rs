//! What the parts of traylight hand to each other: readings as sense took them, verdicts as judge gave them, and the units
//! and moments in them. Plain data: nothing here reads, judges, waits or asks the time.

pub mod units;

pub mod clock;
pub mod text;

pub mod reading;
pub mod verdict;
