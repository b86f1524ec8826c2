//! Text or bytes in, plain data out. Nothing in this crate opens, waits, or knows a path: what was expected and found
//! goes back in the error, and the caller adds where.

pub mod bytes;
pub mod counter;
pub mod json;
pub mod named;
pub mod plain;
pub mod quirks;
pub mod rate;
pub mod temperature;

pub mod ata;
pub mod nvme;
pub mod scsi;

pub mod btrfs;
pub mod dm;
pub mod md;
pub mod zfs;

pub mod kernel_log;
pub mod mounts;
pub mod sysfs;

#[cfg(any(test, feature = "testing"))]
pub mod testing;
