//! Alerts to a program on the box: it is given the batch as JSON on its standard input, a time limit, and nothing else.
//! There is no shell, so no text of a message can become a command.

use super::secret::hide;
use super::{Channel, ChannelFault, Needs, Receipt, Sending, within};
use crate::tell::batch::Batch;
use rustix::fs::{FlockOperation, flock};
use rustix::io::{FdFlags, fcntl_setfd};
use rustix::process::{Pid, Signal, kill_process_group};
use std::collections::BTreeSet;
use std::fs::{File, OpenOptions};
use std::os::fd::AsRawFd;
use std::os::unix::fs::OpenOptionsExt;
use std::os::unix::process::ExitStatusExt as _;
use std::path::PathBuf;
use std::process::{ExitStatus, Stdio};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWriteExt};
use tokio::process::{Child, Command};
use traylight_config::CommandLine;

/// More than this of what it prints is not kept.
const LONGEST: u64 = 64 << 10;
/// An argument that is shorter is a flag or a word, not a secret.
const SHORTEST_TOLD: usize = 6;
/// Where programs that it calls are looked for.
const SEARCH: &str = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin";

/// How often it is seen whether a program of an earlier run has ended.
const LOOK: Duration = Duration::from_millis(200);

/// A program that takes alerts.
pub struct CommandChannel {
    settings: CommandLine,
    /// The name of a file that is locked while a program runs, also when it outlives this process.
    lock: String,
    folder: StateFolder,
    /// That file, once no program of an earlier run has it any more; `None` where it cannot be made.
    held: OnceLock<Option<File>>,
}

/// The state folder, once there is one: it may come after the channels.
pub type StateFolder = Arc<OnceLock<PathBuf>>;

impl CommandChannel {
    /// The channel of this name to a program. Programs of it and of an earlier run are known by the lock on a file in this
    /// folder.
    pub fn new(settings: CommandLine, name: &str, folder: StateFolder) -> Self {
        Self { settings, lock: format!("{name}.lock"), folder, held: OnceLock::new() }
    }

    /// Waits until no program runs that was started before this process, which may have ended without warning; no longer
    /// than one may take.
    async fn alone(&self) -> Option<&File> {
        if self.held.get().is_none() {
            let lock = self.folder.get()?.join(&self.lock);
            #[allow(clippy::disallowed_methods, reason = "the lock is this module's own edge")]
            let file = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(lock).ok();
            if let Some(file) = &file {
                let is_held = async {
                    while flock(file, FlockOperation::NonBlockingLockExclusive).is_err() {
                        tokio::time::sleep(LOOK).await;
                    }
                };
                let _ = tokio::time::timeout(self.settings.time_limit, is_held).await;
            }
            let _ = self.held.set(file);
        }
        self.held.get()?.as_ref()
    }

    async fn deliver(&self, batch: &Batch) -> Result<Receipt, ChannelFault> {
        let CommandLine { program, arguments, time_limit } = &self.settings;
        let held = self.alone().await.map(AsRawFd::as_raw_fd);
        let mut process = Command::new(program);
        if let Some(held) = held {
            let keep = move || {
                // SAFETY: the file is open as long as `self`, and the child has a copy of it.
                let held = unsafe { std::os::fd::BorrowedFd::borrow_raw(held) };
                Ok(fcntl_setfd(held, FdFlags::empty())?)
            };
            // SAFETY: between fork and exec only one system call is made, and no memory is taken (fcntl(2)).
            unsafe { process.pre_exec(keep) };
        }
        let spawned = process
            .args(arguments)
            .env_clear()
            .env("PATH", SEARCH)
            .env("LC_ALL", "C.UTF-8")
            .current_dir("/")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .process_group(0)
            .spawn();
        let child = spawned
            .map_err(|error| ChannelFault::ProgramNotStarted { program: program.clone(), error: error.to_string() })?;
        let mut running = RunningCommand::new(child);
        let (status, output) = within(*time_limit, running.exchange(batch.document().to_string())).await?;
        let output = hide(&output, &secrets(arguments));
        if status.success() {
            return Ok(Receipt::new(&output));
        }
        let reply = Some(super::short(&output)).filter(|reply| !reply.is_empty());
        Err(match status.signal() {
            Some(signal) => ChannelFault::ProgramKilled { signal, reply },
            None => ChannelFault::ProgramFailed { code: status.code().unwrap_or_default(), reply },
        })
    }
}

/// What of the arguments may be a secret: each as it is, and what follows the name of a flag or a user. The longest come
/// first: one may hold another.
fn secrets(arguments: &[String]) -> Vec<String> {
    let values = arguments.iter().flat_map(|argument| {
        let value = |sign| argument.split_once(sign).map(|(_, value)| value.to_owned());
        [Some(argument.clone()), value('='), value(':')].into_iter().flatten()
    });
    let mut secrets: Vec<String> = values.filter(|secret| secret.len() >= SHORTEST_TOLD).collect();
    secrets.sort_by_key(|secret| std::cmp::Reverse(secret.len()));
    secrets
}

impl Channel for CommandChannel {
    fn send<'a>(&'a self, batch: &'a Batch) -> Sending<'a> {
        Box::pin(self.deliver(batch))
    }

    #[cfg(test)]
    fn made_from(&self) -> String {
        format!("{:?}", self.settings)
    }

    fn needs(&self) -> Needs {
        Needs::default()
    }
}

/// The process groups of the programs that run, for an end that waits for nothing.
static RUNNING: Mutex<BTreeSet<i32>> = Mutex::new(BTreeSet::new());

/// Kills all programs that run, with all that they have started. For a process that is about to end.
pub fn kill_running() {
    for group in RUNNING.lock().unwrap_or_else(PoisonError::into_inner).iter() {
        let _ = Pid::from_raw(*group).map(|group| kill_process_group(group, Signal::KILL));
    }
}

/// A program that runs. With it go all that it has started.
struct RunningCommand {
    child: Child,
    group: Option<Pid>,
}

impl RunningCommand {
    fn new(child: Child) -> Self {
        let group = child.id().and_then(|id| Pid::from_raw(i32::try_from(id).ok()?));
        RUNNING.lock().unwrap_or_else(PoisonError::into_inner).extend(group.map(|group| group.as_raw_pid()));
        Self { child, group }
    }

    /// Writes its input, and reads its output to the end.
    async fn exchange(&mut self, input: String) -> Result<(ExitStatus, String), ChannelFault> {
        let Child { stdin, stdout, stderr, .. } = &mut self.child;
        let (stdin, stdout, stderr) = (stdin.take(), stdout.take(), stderr.take());
        let tell = async {
            if let Some(mut stdin) = stdin {
                // It need not want to know it all.
                let _ = stdin.write_all(input.as_bytes()).await;
            }
        };
        let ((), output, complaints) = tokio::join!(tell, bounded(stdout), bounded(stderr));
        let ended = self.child.wait().await;
        let status = ended.map_err(|error| ChannelFault::ProgramLost { error: error.to_string() })?;
        let printed = if complaints.is_empty() { output } else { complaints };
        Ok((status, String::from_utf8_lossy(&printed).trim().to_owned()))
    }
}

impl Drop for RunningCommand {
    fn drop(&mut self) {
        let Some(group) = self.group else { return };
        RUNNING.lock().unwrap_or_else(PoisonError::into_inner).remove(&group.as_raw_pid());
        // Its id is there as long as nobody has waited for its end, so that no other can have it.
        if self.child.id().is_some() {
            let _ = kill_process_group(group, Signal::KILL);
        }
    }
}

/// The beginning of what it prints; the rest is read and passed over, so that it need not wait.
async fn bounded(pipe: Option<impl AsyncRead + Unpin>) -> Vec<u8> {
    let mut kept = Vec::new();
    if let Some(mut pipe) = pipe {
        let _ = (&mut pipe).take(LONGEST).read_to_end(&mut kept).await;
        let _ = tokio::io::copy(&mut pipe, &mut tokio::io::sink()).await;
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::super::Reply;
    use super::*;
    use crate::tell::batch::Item;
    use crate::tell::message::{MessageKind, Stamp, example};
    use crate::verdict::Severity;
    use std::time::Duration;

    fn send(program: &str, arguments: &[&str], limit: Duration) -> Result<Receipt, ChannelFault> {
        let arguments = arguments.iter().map(|&argument| argument.to_owned()).collect();
        let settings = CommandLine { program: program.to_owned(), arguments, time_limit: limit };
        let channel = CommandChannel::new(settings, "bell", StateFolder::default());
        let message = example("7", 1, MessageKind::Opened, Severity::Critical);
        let batch = Batch::of(Item::new(message, 0, 1, &Stamp::default()));
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(channel.send(&batch))
    }

    fn reply(outcome: Result<Receipt, ChannelFault>) -> String {
        match outcome.unwrap().reply {
            Reply::Quoted(reply) => reply,
            other => panic!("{other:?}"),
        }
    }

    const LONG: Duration = Duration::from_secs(60);

    #[test]
    fn a_program_is_given_the_batch_and_a_clean_environment() {
        let all = reply(send("/bin/sh", &["-c", "cat; echo \" [$0] [$HOME] $PATH\"; pwd", "$(id)"], LONG));
        assert!(all.starts_with("{\"box\":\"heron\",\"id\":\"7.1\""), "{all}");
        let short = send("/bin/sh", &["-c", "cat >/dev/null; echo \"[$0] [$HOME] $PATH\"; pwd", "$(id)"], LONG);
        // What looks like a command is passed on as it is.
        assert_eq!(short, Ok(Receipt::new(&format!("[$(id)] [] {SEARCH} /"))));
    }

    #[test]
    fn a_program_that_fails_has_refused_and_what_it_complained_of_is_told() {
        let failed = send("/bin/sh", &["-c", "echo no bell >&2; exit 3"], LONG);
        assert_eq!(failed, Err(ChannelFault::ProgramFailed { code: 3, reply: Some("no bell".into()) }));
        let killed = send("/bin/sh", &["-c", "kill -9 $$"], LONG);
        assert_eq!(killed, Err(ChannelFault::ProgramKilled { signal: 9, reply: None }));
    }

    #[test]
    fn a_program_that_never_ends_is_ended_with_all_that_it_started() {
        let folder = tempfile::tempdir().unwrap();
        let mark = folder.path().join("alive");
        let script = format!("(sleep 2; touch {}) & sleep 1000", mark.display());
        let limit = Duration::from_millis(300);
        assert_eq!(send("/bin/sh", &["-c", &script], limit), Err(ChannelFault::TimedOut { seconds: 0 }));
        // Its child would have left a mark by now if it had lived on.
        let _ = std::process::Command::new("sleep").arg("3").status();
        assert!(!mark.exists());
    }

    /// A process that was killed leaves its program behind; whoever comes after it waits for that one.
    #[test]
    #[allow(clippy::disallowed_methods, reason = "the program leaves notes")]
    fn a_program_that_outlives_its_starter_is_not_started_beside_itself() {
        let folder = tempfile::tempdir().unwrap();
        let (lock, noted) = (StateFolder::default(), folder.path().join("noted"));
        let channel = |script: &str, limit| {
            let arguments = vec!["-c".to_owned(), script.to_owned()];
            let settings = CommandLine { program: "/bin/sh".to_owned(), arguments, time_limit: limit };
            CommandChannel::new(settings, "bell", Arc::clone(&lock))
        };
        let message = example("7", 1, MessageKind::Opened, Severity::Critical);
        let batch = Batch::of(Item::new(message, 0, 1, &Stamp::default()));
        let runtime = || tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        // The store, and with it the folder, may come when the channel has been used already.
        let first = channel("true", LONG);
        assert_eq!(runtime().block_on(first.send(&batch)), Ok(Receipt::new("")));
        lock.set(folder.path().to_owned()).unwrap();
        assert_eq!(runtime().block_on(first.send(&batch)), Ok(Receipt::new("")));
        assert!(folder.path().join("bell.lock").exists());
        drop(first);
        // What it starts lives on when it has ended, as a program does whose starter was killed.
        let first = channel(&format!("(sleep 1; echo first >> {}) >/dev/null 2>&1 &", noted.display()), LONG);
        assert_eq!(runtime().block_on(first.send(&batch)), Ok(Receipt::new("")));
        assert_eq!(runtime().block_on(first.send(&batch)), Ok(Receipt::new("")), "its own it does not wait for");
        drop(first);
        let next = channel(&format!("echo next >> {}", noted.display()), LONG);
        assert_eq!(runtime().block_on(next.send(&batch)), Ok(Receipt::new("")));
        assert_eq!(std::fs::read_to_string(&noted).unwrap(), "first\nfirst\nnext\n");
        drop(next);
        // One that never ends holds up no alert for longer than it might have run.
        let endless = channel("sleep 30 >/dev/null 2>&1 &", LONG);
        assert_eq!(runtime().block_on(endless.send(&batch)), Ok(Receipt::new("")));
        drop(endless);
        let last = channel("true", Duration::from_millis(300));
        assert_eq!(runtime().block_on(last.send(&batch)), Ok(Receipt::new("")));
    }

    #[test]
    fn a_flood_of_output_is_read_and_not_kept() {
        let flood = reply(send("/bin/sh", &["-c", "yes bittern | head -c 3000000"], LONG));
        assert!(flood.starts_with("bittern bittern") && flood.len() < 300, "{}", flood.len());
        let deaf = send("/bin/sh", &["-c", "exec <&-; echo heard nothing"], LONG);
        assert_eq!(deaf, Ok(Receipt::new("heard nothing")));
    }

    #[test]
    fn a_program_that_is_not_there_is_told_by_its_name() {
        let fault = send("/no/such/bell", &[], LONG).unwrap_err();
        let is_named = matches!(&fault, ChannelFault::ProgramNotStarted { program, error }
            if program == "/no/such/bell" && error.starts_with("No such file"));
        assert!(is_named, "{fault:?}");
    }
}
