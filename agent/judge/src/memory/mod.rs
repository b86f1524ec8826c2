//! What is learned and kept from one look to the next.

pub mod acquaintances;
pub mod before;
pub mod checks;
pub mod climate;
pub mod drives;
pub mod grace;
pub mod ledger;
pub mod losses;
pub mod occurrences;
pub mod pool_roll;
pub mod power_cycles;
pub mod runs;
pub mod self_tests;
pub mod signs;
pub mod sources;
pub mod tachometers;
pub mod waking;
