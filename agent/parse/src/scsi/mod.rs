//! SCSI drives: vital product data, log pages, power, and sense data.

pub mod errors;
pub mod logs;
pub mod power;
pub mod sense_data;
pub mod vpd;
