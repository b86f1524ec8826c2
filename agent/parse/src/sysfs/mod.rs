//! Devices as the kernel shows them: files in sysfs, its messages about them, and udev's database.

pub mod attachment;
pub mod block;
pub mod hwmon;
pub mod pci;
pub mod place;
pub mod udev;
pub mod uevent;
