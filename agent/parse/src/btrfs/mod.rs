//! btrfs: profiles, devices, scrubs and other work of a file system.

pub mod files;
pub mod members;
pub mod profiles;
pub mod scrub;
pub mod work;
