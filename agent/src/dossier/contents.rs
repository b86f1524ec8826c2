//! What a dossier is made of.

use crate::clock::Wall;
use crate::serve::document::Document;
use crate::survey::Survey;
use crate::tell::words::phrases::Language;

/// In which language a dossier is.
pub(super) const LANGUAGE: Language = Language::ENGLISH;

/// What a dossier is made of. What could not be had is the reason for that.
#[derive(Debug)]
pub struct Contents {
    /// What is here.
    pub survey: Result<Survey, String>,
    /// The state of the box.
    pub document: Result<Document, String>,
    /// Why the state does not come from an agent, if it does not.
    pub no_agent: Option<String>,
    /// What the kernel's log has about drives, pools and the like, oldest first.
    pub kernel_lines: Result<Vec<String>, String>,
    /// The configuration without secrets and comments.
    pub configuration: Result<String, String>,
    /// The calendar now.
    pub wall: Wall,
}
