//! A socket in the run folder: one agent at a time listens there, and the socket goes with it.

use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;
use std::time::Duration;
use tokio::net::{UnixListener, UnixStream};

/// After a visitor for whom there was no descriptor the next is waited for no sooner: whoever has connected stays in the
/// queue, and asking again at once would only keep the processor busy. Sooner than visitors lose their patience.
pub const WITHOUT_DESCRIPTORS: Duration = Duration::from_millis(200);

/// The socket. It is removed when this is dropped.
pub struct Listener {
    listener: UnixListener,
    path: PathBuf,
}

impl Listener {
    /// Opens the socket, and its folder if that is not there, with these permissions.
    ///
    /// # Errors
    /// When the folder cannot be made or another agent answers there already.
    #[allow(clippy::disallowed_methods, reason = "the run folder is this file's own edge")]
    pub fn open(path: PathBuf, mode: u32) -> io::Result<Self> {
        let at = |error: io::Error| io::Error::new(error.kind(), format!("{}: {error}", path.display()));
        if let Some(run_dir) = path.parent() {
            std::fs::create_dir_all(run_dir).map_err(at)?;
        }
        if std::os::unix::net::UnixStream::connect(&path).is_ok() {
            return Err(at(io::Error::new(io::ErrorKind::AddrInUse, "another traylight is running here")));
        }
        // A socket that nobody answers was left by an agent that was killed.
        match std::fs::remove_file(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(at(error)),
            _ => {}
        }
        let listener = UnixListener::bind(&path).map_err(at)?;
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(mode)).map_err(at)?;
        Ok(Self { listener, path })
    }

    /// The next one who connects; see [`WITHOUT_DESCRIPTORS`] where that fails.
    pub async fn visitor(&self) -> io::Result<UnixStream> {
        self.listener.accept().await.map(|(stream, _)| stream)
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.path);
    }
}
