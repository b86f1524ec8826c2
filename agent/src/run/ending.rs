//! The end of a run that a person waits for at a terminal: a drive, disk or channel that hangs must not hold it up.

use crate::send::channels::command::kill_running;
use std::io;
use std::sync::mpsc::channel;
use std::time::Duration;

/// Ends the process after this long, whatever still hangs, and the programs that it has started for its channels. What was not saved or sent by then is lost as in a sudden end, which
/// the store is made for.
///
/// # Errors
/// When there is no thread to spare.
pub fn end_within(limit: Duration) -> io::Result<()> {
    let wait = move || {
        // The sender lives as long as this wait.
        let (_silent, nothing) = channel::<()>();
        let _ = nothing.recv_timeout(limit);
        kill_running();
        std::process::exit(0)
    };
    std::thread::Builder::new().name("ending".to_owned()).spawn(wait).map(drop)
}
