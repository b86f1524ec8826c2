//! Text or bytes in, plain data out. Nothing in this folder opens, waits, or knows a path: what was found and
//! wanted goes back in the error, and the opener adds where.

pub mod block;
pub mod hwmon;
pub mod md;
pub mod mountinfo;
pub mod place;
pub mod plain;
pub mod rate;
pub mod udev;
