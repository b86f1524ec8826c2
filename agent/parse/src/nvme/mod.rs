//! NVMe drives: Identify Controller and the log pages.

pub mod health;
pub mod identify;
pub mod logs;
