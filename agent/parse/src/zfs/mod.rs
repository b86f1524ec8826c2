//! ZFS: what the module counts, and what `zpool` prints as text and as JSON.

pub mod kstat;
pub mod list;
pub mod scan;
pub mod status;
pub mod status_json;
pub mod status_text;

#[cfg(test)]
mod tests;
