//! Asks the host. One file a kind of part; each hands on plain readings and knows no opinion. What can block for
//! long is offered as a question that the probe gives to a worker.
//!
//! In reading order: [`host`] opens files and [`child`] runs commands. [`drives`] lists drives, with [`attachment`], [`uses`]
//! and [`beneath`]; [`ask`] sends them commands. [`pools`] come from md and from [`zfs`], [`btrfs`] and [`dm`] (with their
//! ioctls). Then [`volumes`], [`controllers`], [`links`], [`chips`] and [`board`]. [`kmsg`] and [`uevents`] are what the kernel
//! reports by itself.

pub mod ask;
pub mod attachment;
pub mod beneath;
pub mod board;
pub mod btrfs;
mod btrfs_ioctl;
pub mod child;
pub mod chips;
pub mod controllers;
pub mod dm;
mod dm_ioctl;
pub mod drives;
pub mod host;
pub mod kmsg;
pub mod links;
pub use traylight_parse as parse;
pub mod pools;
pub mod uevents;
pub mod uses;
pub mod volumes;
pub mod zfs;
