//! Secrets: read when they are needed, from a file that nobody else may read or from systemd, and never shown.

#![allow(clippy::disallowed_methods, reason = "a secret's file is this module's own edge")]

use super::ChannelFault;
use rustix::fs::{Mode, OFlags, fstat, open};
use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use traylight_config::SecretSource;

/// A secret is a line; more than this is another kind of file.
const LONGEST: u64 = 4096;

/// Less than this is no secret, and in half of all texts.
const SHORTEST_HIDDEN: usize = 4;

/// A secret. It has no form for print.
pub struct Secret(String);

impl Secret {
    /// The secret itself, for the other side only.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(..)")
    }
}

/// A text of another side without these secrets, which it may repeat: what it says goes to the log.
pub fn hide(said: &str, secrets: &[String]) -> String {
    secrets
        .iter()
        .filter(|secret| secret.len() >= SHORTEST_HIDDEN)
        .fold(said.to_owned(), |said, secret| said.replace(secret.as_str(), "***"))
}

/// Reads a secret from its place.
///
/// # Errors
/// [`ChannelFault::NotReady`] when it is not there, when others may read it too, or when it is no single line.
pub fn read(place: &SecretSource) -> Result<Secret, ChannelFault> {
    match place {
        SecretSource::File(file) => read_file(Path::new(file), true),
        // systemd.exec(5), LoadCredential=: a folder that only the service can read.
        SecretSource::Credential(name) => match std::env::var_os("CREDENTIALS_DIRECTORY") {
            Some(folder) => read_file(&PathBuf::from(folder).join(name), false),
            None => Err(ChannelFault::NotReady(format!(
                "expected the systemd credential {name:?}, found none: add LoadCredential= to the unit"
            ))),
        },
    }
}

fn read_file(file: &Path, is_private: bool) -> Result<Secret, ChannelFault> {
    let refused = |found: String| {
        let expected = if is_private {
            "expected one line in a file that only the agent's user can read"
        } else {
            "expected one line"
        };
        ChannelFault::NotReady(format!("{}: {expected}, found {found}", file.display()))
    };
    // A pipe in its place must not hold up the opening.
    let opened = open(file, OFlags::RDONLY | OFlags::CLOEXEC | OFlags::NONBLOCK, Mode::empty());
    let opened = opened.map_err(|error| refused(format!("\"{error}\"")))?;
    let stat = fstat(&opened).map_err(|error| refused(format!("\"{error}\"")))?;
    if stat.st_mode & libc::S_IFMT != libc::S_IFREG {
        return Err(refused("no plain file".to_owned()));
    }
    if is_private {
        let (owner, reader) = (stat.st_uid, rustix::process::geteuid().as_raw());
        if owner != reader {
            return Err(refused(format!("owner {owner} and reader {reader}")));
        }
        let mode = stat.st_mode & 0o7777;
        if mode & 0o077 != 0 {
            return Err(refused(format!("mode {mode:04o}")));
        }
    }
    let mut bytes = Vec::new();
    File::from(opened).take(LONGEST + 1).read_to_end(&mut bytes).map_err(|error| refused(format!("\"{error}\"")))?;
    if bytes.len() as u64 > LONGEST {
        return Err(refused(format!("more than {LONGEST} bytes")));
    }
    let text = String::from_utf8(bytes).map_err(|_| refused("bytes that are no text".to_owned()))?;
    let line = text.strip_suffix('\n').map_or(text.as_str(), |line| line.strip_suffix('\r').unwrap_or(line));
    if line.is_empty() {
        return Err(refused("nothing".to_owned()));
    }
    // A line break in a password would be a new line of the session that it is sent in.
    if line.contains(char::is_control) {
        return Err(refused("more than one line, or characters that cannot be seen".to_owned()));
    }
    Ok(Secret(line.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::os::unix::fs::PermissionsExt;

    fn said(file: &Path, bytes: &[u8], mode: u32) -> String {
        fs::write(file, bytes).unwrap();
        fs::set_permissions(file, fs::Permissions::from_mode(mode)).unwrap();
        match read(&SecretSource::File(file.display().to_string())) {
            Ok(secret) => format!("<{}>", secret.reveal()),
            Err(fault) => fault.to_string().replace(&format!("{}: ", file.display()), ""),
        }
    }

    #[test]
    fn only_a_file_of_one_line_that_nobody_else_may_read_is_a_secret() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("word");
        let expected = "expected one line in a file that only the agent's user can read, found";
        for (bytes, mode, said_of_it) in [
            (&b"reed warbler\n"[..], 0o600, "<reed warbler>"),
            (b"reed", 0o400, "<reed>"),
            (b"reed\r\n", 0o600, "<reed>"),
            (b"reed\n", 0o640, &*format!("{expected} mode 0640")),
            (b"reed\n", 0o604, &*format!("{expected} mode 0604")),
            (b"", 0o600, &*format!("{expected} nothing")),
            (b"\n", 0o600, &*format!("{expected} nothing")),
            (b"reed\nwarbler\n", 0o600, &*format!("{expected} more than one line, or characters that cannot be seen")),
            (b"reed\0", 0o600, &*format!("{expected} more than one line, or characters that cannot be seen")),
            (b"\xFF", 0o600, &*format!("{expected} bytes that are no text")),
            (&[b'x'; 4097], 0o600, &*format!("{expected} more than 4096 bytes")),
        ] {
            assert_eq!(said(&file, bytes, mode), *said_of_it, "{bytes:?} {mode:o}");
        }
        assert!(said(&file, &[b'x'; 4096], 0o600).len() == 4098);
    }

    #[test]
    fn what_is_no_file_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let fault = |file: &Path| read(&SecretSource::File(file.display().to_string())).unwrap_err().to_string();
        assert!(fault(&folder.path().join("none")).contains("found \"No such file or directory"), "{folder:?}");
        assert!(fault(folder.path()).contains("found no plain file"));
        let without = read(&SecretSource::Credential("mail".into())).unwrap_err().to_string();
        assert_eq!(without, "expected the systemd credential \"mail\", found none: add LoadCredential= to the unit");
    }

    #[test]
    fn what_another_side_repeats_is_hidden() {
        let secrets = ["reed bed", "reed", "/"].map(str::to_owned);
        assert_eq!(hide("no post to /x with reed bed, reed or red", &secrets), "no post to /x with ***, *** or red");
    }

    #[test]
    fn a_secret_is_never_shown() {
        assert_eq!(format!("{:?}", Secret("reed".to_owned())), "Secret(..)");
    }
}
