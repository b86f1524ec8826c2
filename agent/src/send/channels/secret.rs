//! Secrets: read when they are needed, from a file that nobody else may read or from systemd, and never shown.

#![allow(clippy::disallowed_methods, reason = "a secret's file is this module's own edge")]

use super::ChannelFault;
use rustix::fs::{Mode, OFlags, fstat, open};
use std::fmt;
use std::fs::File;
use std::io::{self, Read};
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
pub fn hide(text: &str, secrets: &[String]) -> String {
    secrets
        .iter()
        .filter(|secret| secret.len() >= SHORTEST_HIDDEN)
        .fold(text.to_owned(), |text, secret| text.replace(secret.as_str(), "***"))
}

/// Reads a secret from its place.
///
/// # Errors
/// When it is not there, when others may read it too, or when it is no single line.
pub fn read(place: &SecretSource) -> Result<Secret, ChannelFault> {
    match place {
        SecretSource::File(file) => read_file(Path::new(file), true),
        // systemd.exec(5), LoadCredential=: a folder that only the service can read.
        SecretSource::Credential(name) => match std::env::var_os("CREDENTIALS_DIRECTORY") {
            Some(folder) => read_file(&PathBuf::from(folder).join(name), false),
            None => Err(ChannelFault::CredentialMissing { name: name.clone() }),
        },
    }
}

fn read_file(file: &Path, is_private: bool) -> Result<Secret, ChannelFault> {
    let name = || file.display().to_string();
    let unreadable = |error: io::Error| ChannelFault::SecretFile { file: name(), error: error.to_string() };
    let no_line = || ChannelFault::SecretNoLine { file: name(), most: LONGEST };
    // A pipe in its place must not hold up the opening.
    let opened = open(file, OFlags::RDONLY | OFlags::CLOEXEC | OFlags::NONBLOCK, Mode::empty());
    let opened = opened.map_err(|error| unreadable(error.into()))?;
    let stat = fstat(&opened).map_err(|error| unreadable(error.into()))?;
    if stat.st_mode & libc::S_IFMT != libc::S_IFREG {
        return Err(ChannelFault::SecretNotRegular { file: name() });
    }
    if is_private {
        let (owner, user) = (stat.st_uid, rustix::process::geteuid().as_raw());
        if owner != user {
            return Err(ChannelFault::SecretOwner { file: name(), owner, user });
        }
        let mode = stat.st_mode & 0o7777;
        if mode & 0o077 != 0 {
            return Err(ChannelFault::SecretMode { file: name(), mode: format!("{mode:04o}") });
        }
    }
    let mut bytes = Vec::new();
    File::from(opened).take(LONGEST + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > LONGEST {
        return Err(no_line());
    }
    let text = String::from_utf8(bytes).map_err(|_| no_line())?;
    let line = text.strip_suffix('\n').map_or(text.as_str(), |line| line.strip_suffix('\r').unwrap_or(line));
    // A line break in a password would be a new line of the session that it is sent in.
    if line.is_empty() || line.contains(char::is_control) {
        return Err(no_line());
    }
    Ok(Secret(line.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::os::unix::fs::PermissionsExt;

    fn secret(file: &Path, bytes: &[u8], mode: u32) -> String {
        fs::write(file, bytes).unwrap();
        fs::set_permissions(file, fs::Permissions::from_mode(mode)).unwrap();
        match read(&SecretSource::File(file.display().to_string())) {
            Ok(secret) => format!("<{}>", secret.reveal()),
            Err(ChannelFault::SecretMode { mode, .. }) => mode,
            Err(fault) => fault.id().to_owned(),
        }
    }

    #[test]
    fn only_a_file_of_one_line_that_nobody_else_may_read_is_a_secret() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("word");
        let no_line = "secret-no-line";
        for (bytes, mode, wanted) in [
            (&b"reed warbler\n"[..], 0o600, "<reed warbler>"),
            (b"reed", 0o400, "<reed>"),
            (b"reed\r\n", 0o600, "<reed>"),
            (b"reed\n", 0o640, "0640"),
            (b"reed\n", 0o604, "0604"),
            (b"", 0o600, no_line),
            (b"\n", 0o600, no_line),
            (b"reed\nwarbler\n", 0o600, no_line),
            (b"reed\0", 0o600, no_line),
            (b"\xFF", 0o600, no_line),
            (&[b'x'; 4097], 0o600, no_line),
        ] {
            assert_eq!(secret(&file, bytes, mode), wanted, "{bytes:?} {mode:o}");
        }
        assert!(secret(&file, &[b'x'; 4096], 0o600).len() == 4098);
    }

    #[test]
    fn what_is_no_file_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let fault = |file: &Path| read(&SecretSource::File(file.display().to_string())).unwrap_err();
        let none = fault(&folder.path().join("none"));
        assert!(matches!(&none, ChannelFault::SecretFile { error, .. } if error.contains("No such file")), "{none:?}");
        assert_eq!(fault(folder.path()).id(), "secret-not-regular");
        let without = read(&SecretSource::Credential("mail".into())).unwrap_err();
        assert_eq!(without, ChannelFault::CredentialMissing { name: "mail".into() });
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
