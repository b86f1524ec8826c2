//! The state socket: whoever connects gets the document and the end. Nothing comes in.

use super::listener::Listener;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::UnixStream;

/// A reader that takes longer is let go.
const PATIENCE: Duration = Duration::from_secs(2);
/// No state is longer.
const LONGEST: u64 = 16 << 20;
/// Everybody may read the state.
const MODE: u32 = 0o666;

/// Where the state is served.
pub fn path(run_dir: &Path) -> PathBuf {
    run_dir.join("state.sock")
}

/// Opens the socket in the run folder.
///
/// # Errors
/// When the folder cannot be made or another agent answers there already.
pub fn open(run_dir: &Path) -> io::Result<Listener> {
    Listener::open(path(run_dir), MODE)
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
