//! Linux md: what its files in sysfs say, and what its layouts survive.

pub mod array;
pub mod layout;
