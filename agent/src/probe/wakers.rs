//! What can end the probe's wait: files of the kernel that tell when they change, the kernel's messages and log, and the
//! core. A call says only that a look is worth it now. Calls can be lost, so the pace goes on without them. What messages
//! and log tell besides is kept for the round.

use crate::clock::Clock;
use crate::reading::Missing;
use crate::sense::host::Host;
use crate::sense::kmsg::KernelLog;
use crate::sense::parse::named::{NamedEvent, NamedEvents};
use crate::sense::uevents::Uevents;
use crate::sense::{pools, volumes};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::Errno;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::fs::File;
use std::io;
use std::os::fd::AsFd;
use std::os::unix::fs::FileExt;
use std::path::PathBuf;
use std::time::Duration;

/// How a file of sysfs or proc says that it has changed (Documentation/filesystems/sysfs.rst, proc.rst).
const CHANGED: PollFlags = PollFlags::PRI.union(PollFlags::ERR);

/// Why a wait has ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Woken {
    /// The time is up, or a signal came between.
    TimeUp,
    /// Something calls, and a look is worth it.
    Called,
    /// There was a call, but about something else.
    ForNothing,
    /// The core has written something, or is gone.
    Core,
}

/// Everything that can call.
pub struct Wakers {
    host: Host,
    clock: Clock,
    files: BTreeMap<PathBuf, File>,
    uevents: Option<Uevents>,
    events_unavailable: Option<Missing>,
    log: Option<KernelLog>,
    kernel_log_unreadable: Option<Missing>,
    events: Vec<NamedEvent>,
}

impl Wakers {
    /// Listens to the kernel's messages and opens its log; files are watched from [`Wakers::renew`] on. In a recorded tree
    /// nothing calls but a log, if it has one.
    pub fn new(host: Host, clock: Clock) -> Self {
        let (uevents, events_unavailable) = match host.is_live().then(Uevents::listen).transpose() {
            Ok(uevents) => (uevents, None),
            Err(why) => (None, Some(why)),
        };
        let (log, kernel_log_unreadable) = match KernelLog::open(&host) {
            Ok(log) => (log, None),
            Err(why) => (None, Some(why)),
        };
        Self {
            host,
            clock,
            files: BTreeMap::new(),
            uevents,
            events_unavailable,
            log,
            kernel_log_unreadable,
            events: Vec::new(),
        }
    }

    /// Why the kernel's events are not received, if they are not.
    pub fn events_unavailable(&self) -> Option<&Missing> {
        self.events_unavailable.as_ref()
    }

    /// Why the kernel's log is not read, if it is not.
    pub fn kernel_log_unreadable(&self) -> Option<&Missing> {
        self.kernel_log_unreadable.as_ref()
    }

    /// What messages and log have told since the last time.
    pub fn take_events(&mut self) -> Vec<NamedEvent> {
        std::mem::take(&mut self.events)
    }

    /// Watches what exists now. To be done before a round: what changes after the round has read it then calls.
    pub fn renew(&mut self) {
        self.log.iter_mut().for_each(KernelLog::renew);
        let wanted = if self.host.is_live() { files(&self.host) } else { Vec::new() };
        self.files.retain(|path, _| wanted.contains(path));
        for path in wanted {
            if let Entry::Vacant(place) = self.files.entry(path) {
                if let Some(file) = self.host.open(place.key()).ok().filter(arm) {
                    place.insert(file);
                }
            }
        }
    }

    /// Waits until the time is up or the core has a word; when `listening`, also until something calls. A call is taken
    /// in at once: some files tell of a change to one poll only. With a word of the core a round is due in any case.
    pub fn wait(&mut self, core: &impl AsFd, left: Duration, listening: bool) -> io::Result<Woken> {
        let mut watched = vec![PollFd::new(core, PollFlags::IN)];
        if listening {
            watched.extend(self.files.values().map(|file| PollFd::new(file, CHANGED)));
            watched.extend(self.uevents.iter().map(|socket| PollFd::new(socket, PollFlags::IN)));
            let log = self.log.iter().filter(|log| log.listens());
            watched.extend(log.map(|log| PollFd::new(log, PollFlags::IN)));
        }
        let wait = Timespec { tv_sec: left.as_secs() as i64, tv_nsec: i64::from(left.subsec_nanos()) };
        match poll(&mut watched, Some(&wait)) {
            Ok(0) | Err(Errno::INTR) => return Ok(Woken::TimeUp),
            other => other?,
        };
        let ready: Vec<bool> = watched.iter().map(|one| !one.revents().is_empty()).collect();
        let (core, calling) = (ready[0], &ready[1..]);
        if core {
            return Ok(Woken::Core);
        }
        let (files, others) = calling.split_at(self.files.len().min(calling.len()));
        let (messages, log) = others.split_at(self.uevents.iter().len().min(others.len()));
        Ok(if self.take_in(files, messages.contains(&true), log.contains(&true)) {
            Woken::Called
        } else {
            Woken::ForNothing
        })
    }

    /// Takes in who calls; true when that is worth a look. Files that are gone are closed.
    fn take_in(&mut self, files: &[bool], messages: bool, log: bool) -> bool {
        let mut changed = files.iter();
        self.files.retain(|_, file| changed.next() != Some(&true) || arm(file));
        let now = self.clock.now();
        let mut taken = NamedEvents::default();
        match self.uevents.as_ref().filter(|_| messages).map(|socket| socket.take(now)).transpose() {
            Ok(told) => taken = told.unwrap_or_default(),
            Err(why) => {
                (self.uevents, self.events_unavailable) = (None, Some(why));
                taken.calls = true;
            }
        }
        let suspended = self.clock.suspended();
        match self.log.as_mut().filter(|_| log).map(|log| log.take(now, suspended)).transpose() {
            Ok(told) => {
                let told = told.unwrap_or_default();
                taken.calls |= told.calls;
                taken.events.extend(told.events);
            }
            Err(why) => {
                (self.log, self.kernel_log_unreadable) = (None, Some(why));
                taken.calls = true;
            }
        }
        self.events.append(&mut taken.events);
        taken.calls || files.contains(&true)
    }
}

/// The files of the running machine that tell when they change.
fn files(host: &Host) -> Vec<PathBuf> {
    [volumes::mount_table(host)].into_iter().chain(pools::md::files_that_tell(host)).collect()
}

/// Reads a file from its start: only what was read can change. False when it is gone, as that of a member which was
/// taken from its array. The start is enough: an attribute is read as a whole, and tables note the state there.
fn arm(file: &File) -> bool {
    file.read_at(&mut [0; 4096], 0).is_ok()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
    #![allow(clippy::disallowed_methods, reason = "the test makes a small tree")]
    use super::*;
    use rustix::net::SendFlags;
    use std::net::{TcpListener, TcpStream};
    use std::os::fd::OwnedFd;
    use std::os::unix::net::UnixStream;

    const WHILE: Duration = Duration::from_millis(1);

    /// A box with nothing on it, whose probe has a core.
    fn quiet() -> (Wakers, UnixStream, UnixStream) {
        let nothing = tempfile::tempdir().unwrap();
        let (ours, theirs) = UnixStream::pair().unwrap();
        (Wakers::new(Host::at(nothing.path()), Clock::default()), ours, theirs)
    }

    /// Stands for the file of a member that is taken from its array: it calls by the same flag (urgent data of TCP,
    /// poll(2)), and cannot be read from its start.
    fn vanishing() -> (File, TcpStream) {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let caller = TcpStream::connect(listener.local_addr().unwrap()).unwrap();
        rustix::net::send(&caller, b"!", SendFlags::OOB).unwrap();
        (File::from(OwnedFd::from(listener.accept().unwrap().0)), caller)
    }

    #[test]
    fn a_file_that_calls_ends_the_wait_and_one_that_is_gone_calls_once() {
        let (mut wakers, out, _core) = quiet();
        let (file, _caller) = vanishing();
        wakers.files.insert("dev-sdc/state".into(), file);
        wakers.files.insert("degraded".into(), File::from(OwnedFd::from(tempfile::tempfile().unwrap())));
        assert_eq!(wakers.wait(&out, Duration::from_secs(60), true).unwrap(), Woken::Called);
        assert_eq!(wakers.files.keys().collect::<Vec<_>>(), [std::path::Path::new("degraded")]);
        assert_eq!(wakers.wait(&out, WHILE, true).unwrap(), Woken::TimeUp);
    }

    #[test]
    fn a_call_while_nobody_listens_is_answered_later() {
        let (mut wakers, out, _core) = quiet();
        let (file, _caller) = vanishing();
        wakers.files.insert("dev-sdc/state".into(), file);
        assert_eq!(wakers.wait(&out, WHILE, false).unwrap(), Woken::TimeUp);
        assert_eq!(wakers.wait(&out, Duration::from_secs(60), true).unwrap(), Woken::Called);
    }

    #[test]
    fn the_core_comes_first_and_always() {
        let (mut wakers, out, core) = quiet();
        let (file, _caller) = vanishing();
        wakers.files.insert("dev-sdc/state".into(), file);
        drop(core);
        for listening in [false, true] {
            assert_eq!(wakers.wait(&out, Duration::from_secs(60), listening).unwrap(), Woken::Core);
        }
    }

    #[test]
    fn on_the_running_machine_the_mount_table_is_watched_and_in_a_recorded_tree_nothing_is() {
        let mut here = Wakers::new(Host::at("/"), Clock::default());
        here.renew();
        assert!(here.files.contains_key(std::path::Path::new("/proc/self/mountinfo")));
        assert_eq!(here.uevents.is_none(), here.events_unavailable().is_some(), "without them, the reason is there");

        let tree = tempfile::tempdir().unwrap();
        std::fs::create_dir_all(tree.path().join("proc/self")).unwrap();
        std::fs::write(tree.path().join("proc/self/mountinfo"), "").unwrap();
        let mut recorded = Wakers::new(Host::at(tree.path()), Clock::default());
        recorded.renew();
        assert!(recorded.files.is_empty() && recorded.uevents.is_none() && recorded.events_unavailable().is_none());
    }
}
