//! How bad a condition is, from a notice to critical.

use serde::{Deserialize, Serialize};
use std::fmt;

/// How bad a condition is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Severity {
    /// For information.
    Notice,
    /// Look at it soon.
    Warning,
    /// Look at it now.
    Critical,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Notice => "notice",
            Self::Warning => "warning",
            Self::Critical => "critical",
        })
    }
}
