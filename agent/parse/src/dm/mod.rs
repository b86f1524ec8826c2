//! The device mapper: its tables, and LVM RAID on top.

pub mod members;
pub mod raid;
pub mod table;
