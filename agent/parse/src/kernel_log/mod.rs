//! The kernel's log: records, and what lines tell: to which part, by the kernel's name, something happened. The wording differs
//! between kernels and is no promise of theirs, so every pattern says since when it is known and has a line that it fits.

mod ata;
mod board;
mod file_systems;
mod known_line;
mod line_meaning;
pub mod lines;
mod md;
mod net;
mod nvme;
mod pattern;
mod pci;
pub mod record;
mod reports;
mod scsi;
mod small_buses;
mod usb;

#[cfg(test)]
mod tests;
