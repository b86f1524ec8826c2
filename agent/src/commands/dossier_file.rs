//! The file of a dossier: readable only by its owner, complete or not there, and never in place of anything but a dossier.

#![allow(clippy::disallowed_methods, reason = "the dossier is written here")]

use super::terminal::confirmed;
use rustix::fs::OFlags;
use std::fs::OpenOptions;
use std::io::{self, IsTerminal, Read};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use traylight::dossier::MARK;
use traylight::tell::words::phrases::{Language, Phrases};
use traylight::whole_file::WholeFile;

/// A place where a dossier may be written.
pub struct DossierFile {
    path: PathBuf,
    /// An earlier dossier is there, and may be replaced.
    replaces: bool,
}

impl DossierFile {
    /// Looks at the place, and asks before an earlier dossier is replaced.
    ///
    /// # Errors
    /// When something else is there, or the earlier dossier is to stay.
    pub fn at(path: &Path, language: Language) -> io::Result<Self> {
        let replaces = match std::fs::symlink_metadata(path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => false,
            Err(error) => return Err(at(path, error)),
            Ok(found) if found.is_file() && is_dossier(path).map_err(|error| at(path, error))? => {
                if !may_replace(path, language)? {
                    let kept = "an earlier dossier is kept; give another file name";
                    return Err(at(path, io::Error::other(kept)));
                }
                true
            }
            Ok(found) => {
                let what = if found.is_dir() { "a folder" } else { "something that is no dossier" };
                let found = format!("expected a new file or an earlier dossier, found {what}; give another file name");
                return Err(at(path, io::Error::other(found)));
            }
        };
        Ok(Self { path: path.to_owned(), replaces })
    }

    /// Writes the text.
    ///
    /// # Errors
    /// When there is no room or no right to, or something else has come to its place since; nothing of it is left then.
    pub fn write(&self, text: &str) -> io::Result<()> {
        let whole = WholeFile { mode: 0o600, owner: None, replaces: self.replaces };
        whole.write(&self.path, text).map_err(|error| at(&self.path, error))
    }
}

fn at(path: &Path, error: io::Error) -> io::Error {
    io::Error::new(error.kind(), format!("{}: {error}", path.display()))
}

fn is_dossier(path: &Path) -> io::Result<bool> {
    let flags = (OFlags::NOFOLLOW | OFlags::NONBLOCK).bits() as i32;
    let file = OpenOptions::new().read(true).custom_flags(flags).open(path)?;
    let mut beginning = Vec::new();
    file.take(MARK.len() as u64 + 1).read_to_end(&mut beginning)?;
    Ok(beginning == format!("{MARK}\n").as_bytes())
}

/// Nobody is asked where no terminal is.
fn may_replace(path: &Path, language: Language) -> io::Result<bool> {
    if !io::stdin().is_terminal() {
        return Ok(false);
    }
    confirmed(language.say("dossier.replace", &[("file", &path.display())]), language.plain("dossier.yes"))
}
