//! The files of the setup: how far the owner has come, the configuration, label sheets. Each is written whole or not at all.

#![allow(clippy::disallowed_methods, reason = "the files of the setup are read and written here")]

use super::walk::Walk;
use crate::whole_file::WholeFile;
use std::fs::{self, File};
use std::io::{self, Read};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// Who was asked about sixteen shelves has less to keep than this.
const LONGEST: u64 = 256 << 10;

/// Where the answers are kept between calls: in the state folder, else beside the configuration.
#[derive(Debug)]
pub struct Kept {
    places: [PathBuf; 2],
}

impl Kept {
    /// For this state folder and this configuration file.
    pub fn at(state_dir: &Path, config: &Path) -> Self {
        Self { places: [state_dir.join("setup-answers.json"), config.with_extension("setup-answers.json")] }
    }

    /// What was kept. An error means that there is something that cannot be continued.
    pub fn load(&self) -> Result<Option<Walk>, String> {
        for place in &self.places {
            let mut text = String::new();
            match File::open(place).and_then(|file| file.take(LONGEST).read_to_string(&mut text)) {
                Ok(_) => return Walk::from_text(&text).map(Some).ok_or_else(|| place.display().to_string()),
                Err(error) if error.kind() == io::ErrorKind::InvalidData => return Err(place.display().to_string()),
                Err(_) => {}
            }
        }
        Ok(None)
    }

    /// Keeps it, readable by its owner alone.
    ///
    /// # Errors
    /// When neither place can be written.
    pub fn save(&self, walk: &Walk) -> io::Result<()> {
        let text = serde_json::to_string_pretty(walk)?;
        let [first, second] = &self.places;
        let kept = WholeFile { mode: 0o600, owner: None, replaces: true };
        kept.write(first, &text).or_else(|_| kept.write(second, &text))
    }

    /// Removes it.
    pub fn forget(&self) {
        for place in &self.places {
            // What cannot be removed is offered again at the next call, which does no harm.
            let _ = fs::remove_file(place);
        }
    }
}

/// Replaces the text of the configuration file, which keeps its mode and its owner; a link to it stays a link.
///
/// # Errors
/// When it has another text than was expected, or cannot be written; it is then as it was.
pub fn replace(file: &Path, expected: Option<&str>, text: &str) -> io::Result<()> {
    let file = file.canonicalize().unwrap_or_else(|_| file.to_owned());
    let found = match fs::read_to_string(&file) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => None,
        found => Some(found?),
    };
    if found.as_deref() != expected {
        return Err(io::Error::other("expected the text that was read before, found that the file has changed since"));
    }
    let (mode, owner) = match fs::metadata(&file) {
        Ok(now) => (now.mode() & 0o7777, Some((now.uid(), now.gid()))),
        Err(_) => (0o644, None),
    };
    WholeFile { mode, owner, replaces: true }.write(&file, text)
}

/// Writes a label sheet.
///
/// # Errors
/// When it cannot be written; nothing is left of it then.
pub fn write_sheet(file: &Path, text: &str) -> io::Result<()> {
    WholeFile { mode: 0o644, owner: None, replaces: true }.write(file, text)
}
