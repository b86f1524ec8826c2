//! A problem in the configuration file, and how it is reported: where, what was expected and what was found, with the line
//! and a mark under it.
//!
//! It does not judge: `settle.rs` finds the problems.

use crate::source::Excerpt;
use std::fmt;

/// Every problem in one file, in the order of the text. There is at least one.
///
/// `Display` prints them one after another, and their number. Of more than a hundred only the first hundred are printed:
/// the text is then hardly meant as a configuration, and the report must stay one that a log can hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems {
    pub(crate) told: Vec<Problem>,
    /// How many more there are.
    pub(crate) untold: usize,
}

/// One problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file, as it was named to [`settle`](crate::settle()).
    pub file: String,
    /// From 1.
    pub line: usize,
    /// In characters, from 1.
    pub column: usize,
    /// What was expected and what was found, in one sentence.
    pub message: String,
    /// What would probably mend it, such as "did you mean `bus`?".
    pub hint: Option<String>,
    pub(crate) excerpts: Vec<Excerpt>,
}

impl Problems {
    /// The problems, in the order of the text: the first hundred.
    pub fn as_slice(&self) -> &[Problem] {
        &self.told
    }
}

impl std::error::Error for Problems {}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for problem in &self.told {
            writeln!(f, "{problem}")?;
        }
        match (self.told.len(), self.untold) {
            (1, 0) => write!(f, "1 problem"),
            (shown, 0) => write!(f, "{shown} problems"),
            (shown, more) => write!(f, "{} problems; the first {shown} are shown", shown + more),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}: {}", self.file, self.line, self.column, self.message)?;
        for (nth, excerpt) in self.excerpts.iter().enumerate() {
            let Excerpt { line, text, before, marked, .. } = excerpt;
            write!(f, "\n{line:>5} | {}", text.trim_end())?;
            write!(f, "\n      | {:before$}{:^<marked$}", "", "")?;
            if let (0, Some(hint)) = (nth, &self.hint) {
                write!(f, " {hint}")?;
            }
        }
        Ok(())
    }
}
