//! One command of the host, run to its end within a limit: no input, plain words, bounded output.

use crate::clock::{Clock, Moment};
use crate::reading::{Missing, Reason, WhyMissing};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::process::{Pid, PidfdFlags, Signal, kill_process_group, pidfd_open};
use std::fs::File;
use std::io::{self, Read};
use std::os::fd::OwnedFd;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// More output than this is not from a tool that is well.
const LONGEST: usize = 1 << 20;
/// Where tools are looked for, whatever the service's own environment says.
const SEARCH: &str = "/usr/local/sbin:/usr/sbin:/sbin:/usr/local/bin:/usr/bin:/bin";

/// What a command left behind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChildOutput {
    /// True when it says that all went well: it ended by itself, with 0.
    pub success: bool,
    /// What it printed.
    pub output: Vec<u8>,
    /// What it complained of.
    pub complaints: Vec<u8>,
}

/// Runs a command and waits for it until `end`; then it is killed. One that the kernel does not let go of is waited
/// for all the same, so that there is never a second beside it: ask from a thread that may be lost.
///
/// # Errors
/// The reason why there is no outcome: no such command, not in time, too much output.
pub fn run(program: &Path, arguments: &[&str], clock: &Clock, end: Moment) -> Result<ChildOutput, Missing> {
    let name = program.display().to_string();
    let spawned = Command::new(program)
        .args(arguments)
        .env_clear()
        .env("PATH", SEARCH)
        .env("LC_ALL", "C")
        .current_dir("/")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .process_group(0)
        .spawn();
    let mut child = spawned.map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => Missing::from(WhyMissing::NotInstalled).and_found(&name),
        io::ErrorKind::PermissionDenied => Missing::found(Reason::Refused, &name),
        other => Missing::found(Reason::Unreadable, format!("{name}: {other}")),
    })?;
    let printed = printed(&mut child, clock, end);
    if printed.is_ok() {
        let _ = await_end(&child, end.since(clock.now()));
    }
    // One that has ended is beyond being killed.
    let _ = kill_process_group(Pid::from_child(&child), Signal::KILL);
    let ended = child.wait();
    let [output, complaints] = printed.map_err(|why| {
        let found = why.found.as_ref().map_or_else(|| name.clone(), |found| format!("{name}: {found}"));
        why.and_found(found)
    })?;
    let status = ended.map_err(|error| Missing::found(Reason::Unreadable, format!("{name}: {}", error.kind())))?;
    Ok(ChildOutput { success: status.success(), output, complaints })
}

/// Waits for it to end, once it has closed its pipes; kernels before 5.3 cannot be asked to, and need not wait long.
fn await_end(child: &Child, left: Duration) -> rustix::io::Result<()> {
    let handle = pidfd_open(Pid::from_child(child), PidfdFlags::empty())?;
    poll(&mut [PollFd::new(&handle, PollFlags::IN)], Some(&limit(left))).map(|_| ())
}

fn limit(left: Duration) -> Timespec {
    Timespec { tv_sec: i64::try_from(left.as_secs()).unwrap_or(i64::MAX), tv_nsec: left.subsec_nanos().into() }
}

/// Everything that it prints and complains of, until it has closed both.
fn printed(child: &mut Child, clock: &Clock, end: Moment) -> Result<[Vec<u8>; 2], Missing> {
    let pipes = [child.stdout.take().map(OwnedFd::from), child.stderr.take().map(OwnedFd::from)];
    let mut open = pipes.map(|pipe| pipe.map(File::from));
    let mut printed = [Vec::new(), Vec::new()];
    let mut piece = vec![0; 16 << 10];
    while open.iter().any(Option::is_some) {
        let left = end.since(clock.now());
        if left.is_zero() {
            return Err(Missing::of(Reason::TimedOut));
        }
        for (index, ready) in readable(&open, left)?.into_iter().enumerate() {
            let Some(pipe) = open[index].as_mut().filter(|_| ready) else { continue };
            let length = pipe.read(&mut piece).map_err(|error| failed(&error))?;
            printed[index].extend_from_slice(&piece[..length]);
            if length == 0 {
                open[index] = None;
            }
            if printed[index].len() > LONGEST {
                return Err(Missing::found(
                    Reason::Unreadable,
                    format!("expected at most {LONGEST} bytes, found more"),
                ));
            }
        }
    }
    Ok(printed)
}

/// Which of the two have something to read or are at their end, waiting up to `left` for one.
fn readable(open: &[Option<File>; 2], left: Duration) -> Result<[bool; 2], Missing> {
    let present: Vec<(usize, &File)> =
        open.iter().enumerate().filter_map(|(index, pipe)| Some((index, pipe.as_ref()?))).collect();
    let mut asked: Vec<PollFd> = present.iter().map(|(_, pipe)| PollFd::new(pipe, PollFlags::IN)).collect();
    match poll(&mut asked, Some(&limit(left))) {
        Ok(_) | Err(rustix::io::Errno::INTR) => {}
        Err(error) => return Err(failed(&error.into())),
    }
    let mut ready = [false; 2];
    for ((index, _), asked) in present.iter().zip(&asked) {
        ready[*index] = !asked.revents().is_empty();
    }
    Ok(ready)
}

fn failed(error: &io::Error) -> Missing {
    Missing::found(Reason::Unreadable, error.kind().to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shell(script: &str, limit: Duration) -> Result<ChildOutput, Missing> {
        let clock = Clock::of_this_machine();
        let end = clock.now().plus(limit);
        run(Path::new("sh"), &["-c", script], &clock, end)
    }

    const LONG: Duration = Duration::from_secs(60);

    #[test]
    fn output_and_complaints_are_read_to_their_end() {
        let told = shell("echo $LC_ALL $HOME; pwd; cat; echo no >&2; exit 3", LONG);
        let wanted = ChildOutput { success: false, output: b"C\n/\n".to_vec(), complaints: b"no\n".to_vec() };
        assert_eq!(told, Ok(wanted));
        let large = shell("yes tray | head -c 1000000; yes slot | head -c 300000 >&2", LONG).expect("an outcome");
        assert_eq!((large.success, large.output.len(), large.complaints.len()), (true, 1_000_000, 300_000));
    }

    #[test]
    fn a_command_that_hangs_or_never_stops_is_killed_with_its_own_children() {
        assert_eq!(
            shell("sleep 1000 & sleep 1000", Duration::from_millis(50)),
            Err(Missing::found(Reason::TimedOut, "sh"))
        );
        assert_eq!(
            shell("yes", LONG),
            Err(Missing::found(Reason::Unreadable, "sh: expected at most 1048576 bytes, found more"))
        );
    }

    #[test]
    fn a_command_that_has_closed_its_output_may_still_end_well_or_not_at_all() {
        let silent = ChildOutput { success: true, output: Vec::new(), complaints: Vec::new() };
        assert_eq!(shell("exec >&- 2>&-; sleep 0.1", LONG), Ok(silent));
        let hangs = shell("exec >&- 2>&-; sleep 1000", Duration::from_millis(200));
        assert!(!hangs.is_ok_and(|outcome| outcome.success), "killed, before or after it has closed its output");
    }

    #[test]
    fn a_command_that_is_not_there_is_told_by_its_name() {
        let clock = Clock::of_this_machine();
        let end = clock.now().plus(LONG);
        let why = run(Path::new("no-such-tool"), &[], &clock, end).expect_err("it is not there");
        assert_eq!(why, Missing::from(WhyMissing::NotInstalled).and_found("no-such-tool"));
    }
}
