//! Mounts: which there are, which there should be, and those that show several folders as one.

pub mod fstab;
pub mod mountinfo;
pub mod union;
