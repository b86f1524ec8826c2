//! The files of the setup: how far the owner has come, the configuration, label sheets. Each is written whole or not at all:
//! into a new file beside it, which then takes its place.

#![allow(clippy::disallowed_methods, reason = "the files of the setup are read and written here")]

use super::walk::Walk;
use std::fs::{self, File, OpenOptions, Permissions};
use std::io::{self, Read, Write};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, PermissionsExt, fchown};
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
        write(first, &text, 0o600, None).or_else(|_| write(second, &text, 0o600, None))
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
    match fs::metadata(&file) {
        Ok(now) => write(&file, text, now.mode() & 0o7777, Some((now.uid(), now.gid()))),
        Err(_) => write(&file, text, 0o644, None),
    }
}

/// Writes a label sheet.
///
/// # Errors
/// When it cannot be written; nothing is left of it then.
pub fn write_sheet(file: &Path, text: &str) -> io::Result<()> {
    write(file, text, 0o644, None)
}

fn write(file: &Path, text: &str, mode: u32, owner: Option<(u32, u32)>) -> io::Result<()> {
    let name = file.file_name().ok_or(io::ErrorKind::InvalidInput)?.to_string_lossy();
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let unfinished = folder.join(format!(".{name}.new"));
    // Left by a call that was killed.
    let _ = fs::remove_file(&unfinished);
    let written = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&unfinished).and_then(|mut new| {
        new.write_all(text.as_bytes())?;
        if let Some((user, group)) = owner.filter(|_| new.metadata().map(|now| (now.uid(), now.gid())).ok() != owner) {
            fchown(&new, Some(user), Some(group))?;
        }
        new.set_permissions(Permissions::from_mode(mode))?;
        new.sync_all()?;
        fs::rename(&unfinished, file)
    });
    if written.is_err() {
        let _ = fs::remove_file(&unfinished);
        return written;
    }
    // It outlasts a power-off when its folder has it, too.
    File::open(folder)?.sync_all()
}
