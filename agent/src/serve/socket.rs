//! The state socket: whoever connects gets the document and the end. Nothing comes in.

use std::io::{self, Read};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::{UnixListener, UnixStream};

/// A reader that takes longer is let go.
const PATIENCE: Duration = Duration::from_secs(2);
/// No state is longer.
const LONGEST: u64 = 16 << 20;

/// Where the state is served.
pub fn path(run_dir: &Path) -> PathBuf {
    run_dir.join("state.sock")
}

/// The socket. It is removed when this is dropped.
pub struct StateSocket {
    listener: UnixListener,
    path: PathBuf,
}

impl StateSocket {
    /// Opens the socket in the run directory, which is made if it is not there. Everybody may read the state.
    ///
    /// # Errors
    /// When the directory cannot be made or another agent answers there already.
    #[allow(clippy::disallowed_methods, reason = "this socket is this file's own edge")]
    pub fn open(run_dir: &Path) -> io::Result<Self> {
        let path = path(run_dir);
        let at = |error: io::Error| io::Error::new(error.kind(), format!("{}: {error}", path.display()));
        std::fs::create_dir_all(run_dir).map_err(at)?;
        if std::os::unix::net::UnixStream::connect(&path).is_ok() {
            return Err(at(io::Error::new(io::ErrorKind::AddrInUse, "another traylight answers here")));
        }
        // A socket that nobody answers was left by an agent that was killed.
        match std::fs::remove_file(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(at(error)),
            _ => {}
        }
        let listener = UnixListener::bind(&path).map_err(at)?;
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o666)).map_err(at)?;
        Ok(Self { listener, path })
    }

    /// The next one who wants the state.
    ///
    /// # Errors
    /// When the machine has no descriptor to spare.
    pub async fn visitor(&self) -> io::Result<UnixStream> {
        self.listener.accept().await.map(|(stream, _)| stream)
    }
}

impl Drop for StateSocket {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Hands the state to a visitor without waiting for it.
pub fn hand_out(mut visitor: UnixStream, state: String) {
    tokio::spawn(async move {
        let _ = tokio::time::timeout(PATIENCE, visitor.write_all(state.as_bytes())).await;
    });
}

/// The state that a running agent serves; `None` when none runs here.
///
/// # Errors
/// When one answers but not with a state.
pub fn ask(run_dir: &Path) -> io::Result<Option<String>> {
    let Ok(mut stream) = std::os::unix::net::UnixStream::connect(path(run_dir)) else { return Ok(None) };
    stream.set_read_timeout(Some(PATIENCE * 2))?;
    let mut state = String::new();
    std::io::Read::by_ref(&mut stream).take(LONGEST).read_to_string(&mut state)?;
    // An agent that has read nothing yet hands out nothing.
    Ok(Some(state).filter(|state| !state.is_empty()))
}
