//! What a command must be able to take of the system before it begins: descriptors and threads. Without them libraries
//! that it is made of would end it in the middle of something, without a word.

use std::io;
use std::sync::mpsc::channel;

/// As many files, sockets and pipes as a command has open at once on a small box, with room to spare.
const DESCRIPTORS: usize = 40;
/// As many threads and processes as the agent and its probe have at least on a small box, with room to spare.
const THREADS: usize = 12;

/// Where there can be more threads.
const MORE_THREADS: &str = "raise TasksMax= in the unit, or the limit of processes of the agent's user (`ulimit -u`)";

/// Says of an error what to do, where the system had no thread to spare (pthread_create(3), EAGAIN).
pub fn explained(error: io::Error) -> io::Error {
    match error.kind() {
        io::ErrorKind::WouldBlock => {
            io::Error::other(format!("expected a thread to start with, found \"{error}\": {MORE_THREADS}"))
        }
        _ => error,
    }
}

/// Takes as many descriptors as a command needs, and gives them back.
///
/// # Errors
/// When there are not so many; how many there are, and what to do.
pub fn descriptors() -> io::Result<()> {
    let mut taken = Vec::new();
    while taken.len() < DESCRIPTORS {
        match rustix::io::fcntl_dupfd_cloexec(rustix::stdio::stderr(), 3) {
            Ok(one) => taken.push(one),
            // Started without one: there is nothing to make others of.
            Err(rustix::io::Errno::BADF) => return Ok(()),
            Err(error) => {
                return Err(io::Error::other(format!(
                    "expected {DESCRIPTORS} more open files, found only {} ({error}): raise LimitNOFILE= in the unit, \
                     or `ulimit -n`",
                    taken.len()
                )));
            }
        }
    }
    Ok(())
}

/// Starts as many threads as the agent needs, and lets them end.
///
/// # Errors
/// When there are not so many; how many there are, and what to do.
pub fn threads() -> io::Result<()> {
    let (mut leashes, mut threads) = (Vec::new(), Vec::new());
    while threads.len() < THREADS {
        let (leash, held) = channel::<()>();
        let wait = move || held.recv().unwrap_or_default();
        match std::thread::Builder::new().stack_size(64 << 10).spawn(wait) {
            Ok(thread) => {
                leashes.push(leash);
                threads.push(thread);
            }
            Err(error) => {
                let found = format!("expected {THREADS} more threads, found only {} ({error})", threads.len());
                return Err(io::Error::other(format!("{found}: {MORE_THREADS}")));
            }
        }
    }
    drop(leashes);
    // Those that have ended count until they are gone.
    threads.into_iter().for_each(|thread| drop(thread.join()));
    Ok(())
}
