//! Files that are complete or not there: written beside their place, under another name, and then moved to it.

#![allow(clippy::disallowed_methods, reason = "whole files are written here")]

use rustix::fs::{CWD, RenameFlags, renameat_with};
use rustix::io::Errno;
use std::fs::{self, File, OpenOptions, Permissions};
use std::io::{self, Write};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, PermissionsExt, fchown};
use std::path::Path;

/// How a file is to be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WholeFile {
    /// Its mode.
    pub mode: u32,
    /// User and group, where they are not those of this process.
    pub owner: Option<(u32, u32)>,
    /// It may take the place of another file.
    pub replaces: bool,
}

impl WholeFile {
    /// Writes the text.
    ///
    /// # Errors
    /// When there is no room or no right to, or a file is there that may not be replaced. Nothing is left of it then, and
    /// what was there is as it was.
    pub fn write(self, file: &Path, text: &str) -> io::Result<()> {
        let name = file.file_name().ok_or(io::ErrorKind::InvalidInput)?.to_string_lossy();
        let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let unfinished = folder.join(format!(".{name}.new"));
        // Left by a call that was killed.
        let _ = fs::remove_file(&unfinished);
        let written = self.finish(&unfinished, file, text);
        if written.is_err() {
            let _ = fs::remove_file(&unfinished);
            return written;
        }
        // It outlasts a power-off when its folder has it, too.
        File::open(folder)?.sync_all()
    }

    fn finish(self, unfinished: &Path, file: &Path, text: &str) -> io::Result<()> {
        let mut new = OpenOptions::new().write(true).create_new(true).mode(0o600).open(unfinished)?;
        new.write_all(text.as_bytes())?;
        let has_owner = |owner: &(u32, u32)| new.metadata().is_ok_and(|now| (now.uid(), now.gid()) == *owner);
        if let Some((user, group)) = self.owner.filter(|owner| !has_owner(owner)) {
            fchown(&new, Some(user), Some(group))?;
        }
        new.set_permissions(Permissions::from_mode(self.mode))?;
        new.sync_all()?;
        if self.replaces {
            return fs::rename(unfinished, file);
        }
        match renameat_with(CWD, unfinished, CWD, file, RenameFlags::NOREPLACE) {
            // A file system that cannot do this in one step (rename(2)).
            Err(Errno::INVAL) if !file.exists() => fs::rename(unfinished, file),
            done => Ok(done?),
        }
    }
}
