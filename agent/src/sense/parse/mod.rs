//! Text or bytes in, plain data out. Nothing in this folder opens, waits, or knows a path: what was found and
//! wanted goes back in the error, and the opener adds where.

pub mod ata_abilities;
pub mod ata_attributes;
pub mod ata_errors;
pub mod ata_identify;
pub mod ata_logs;
pub mod ata_power;
pub mod ata_recovery;
pub mod ata_sct;
pub mod ata_self_test;
pub mod ata_smart;
pub mod ata_statistics;
pub mod attachment;
pub mod block;
pub mod btrfs;
pub mod btrfs_members;
pub mod btrfs_profiles;
pub mod btrfs_scrub;
pub mod btrfs_work;
pub mod bytes;
pub mod counter;
pub mod dm_members;
pub mod dm_raid;
pub mod dm_table;
pub mod fstab;
pub mod hwmon;
pub mod json;
pub mod kernel_lines;
pub mod kmsg;
pub mod md;
pub mod md_layout;
pub mod mountinfo;
pub mod named;
pub mod nvme;
pub mod nvme_logs;
pub mod place;
pub mod plain;
pub mod quirks;
pub mod rate;
pub mod scsi_errors;
pub mod scsi_logs;
pub mod scsi_power;
pub mod scsi_vpd;
pub mod sense_data;
pub mod temperature;
#[cfg(test)]
pub(crate) mod testing;
pub mod udev;
pub mod uevent;
pub mod union;
pub mod zfs_kstat;
pub mod zpool;
pub mod zpool_json;
pub mod zpool_scan;
#[cfg(test)]
mod zpool_tests;
pub mod zpool_text;
