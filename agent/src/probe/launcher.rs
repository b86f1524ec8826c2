//! The launcher: a small process between core and probe. It keeps the rights that drives are asked with, and does one
//! thing with them: it starts a probe when the core asks for one. So the core, which speaks to the network and starts
//! programs, needs no rights to replace a probe that is lost. What comes from the core is descriptors only; nothing is
//! parsed here.

use rustix::event::{PollFd, PollFlags, poll};
use rustix::net::{
    AddressFamily, RecvAncillaryBuffer, RecvAncillaryMessage, RecvFlags, SendAncillaryBuffer, SendAncillaryMessage,
    SendFlags, SocketFlags, SocketType, recvmsg, sendmsg, socketpair,
};
use rustix::process::{Pid, PidfdFlags, pidfd_open};
use std::io::{self, IoSlice, IoSliceMut, Write};
use std::mem::MaybeUninit;
use std::os::fd::{AsFd, OwnedFd};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// What a start takes: the probe's socket, and the socket on which its end is told.
const DESCRIPTORS: usize = 2;

/// The core's handle. The launcher ends with it, and takes its probes along.
pub struct Launcher(OwnedFd);

/// A probe, seen from the core. It is ended when this is dropped.
pub struct Launched {
    /// What it writes, and reads.
    pub socket: UnixStream,
    /// Says in words how it ended, or why it could not be started, and ends with it.
    pub ending: UnixStream,
}

impl Launcher {
    /// Starts the launcher, for probes over this tree.
    pub fn start(root: &Path) -> io::Result<Self> {
        let (ours, theirs) = socketpair(AddressFamily::UNIX, SocketType::SEQPACKET, SocketFlags::CLOEXEC, None)?;
        drop(itself("launcher", root, theirs).spawn()?);
        Ok(Self(ours))
    }

    /// Asks for a probe. Whether it could be started is told by its `ending`.
    ///
    /// # Errors
    /// `BrokenPipe` when the launcher is gone; else when the machine has no descriptor to spare.
    pub fn launch(&self) -> io::Result<Launched> {
        let ((socket, probes), (ending, launchers)) = (UnixStream::pair()?, UnixStream::pair()?);
        let descriptors = [probes.as_fd(), launchers.as_fd()];
        let mut space = [MaybeUninit::uninit(); rustix::cmsg_space!(ScmRights(DESCRIPTORS))];
        let mut ancillary = SendAncillaryBuffer::new(&mut space);
        ancillary.push(SendAncillaryMessage::ScmRights(&descriptors));
        let flags = SendFlags::NOSIGNAL | SendFlags::DONTWAIT;
        sendmsg(&self.0, &[IoSlice::new(&[1])], &mut ancillary, flags)?;
        Ok(Launched { socket, ending })
    }
}

/// This program with another command, and this as its standard input. Not by its path: after an upgrade on disk another
/// version would stand there, or for a moment none.
fn itself(command: &str, root: &Path, input: OwnedFd) -> Command {
    use std::os::unix::process::CommandExt;
    let mut itself = Command::new("/proc/self/exe");
    itself.arg0("traylight").arg(command).arg("--root").arg(root);
    itself.stdin(Stdio::from(input)).stdout(Stdio::null());
    // A key press that ends the core is the core's to hear; the others end with their sockets.
    itself.process_group(0);
    itself
}

/// A probe that runs.
struct RunningProbe {
    child: Child,
    /// Readable when it has ended (pidfd_open(2)).
    end: OwnedFd,
    /// `None` once the core wants it no more.
    ending: Option<UnixStream>,
}

/// The launcher itself: starts probes until the core is gone.
pub fn run(root: &Path, core: &OwnedFd) -> io::Result<()> {
    let mut running: Vec<RunningProbe> = Vec::new();
    loop {
        let is_asked = {
            let mut waits = vec![PollFd::new(core, PollFlags::IN)];
            for probe in &running {
                waits.push(PollFd::new(&probe.end, PollFlags::IN));
                // The core writes nothing here: what can be read is the end.
                waits.extend(probe.ending.iter().map(|ending| PollFd::new(ending, PollFlags::IN)));
            }
            poll(&mut waits, None)?;
            !waits[0].revents().is_empty()
        };
        running.retain_mut(|probe| !probe.settle());
        if !is_asked {
            continue;
        }
        match receive(core)? {
            Received::Gone => {
                running.iter_mut().for_each(|probe| drop(probe.child.kill()));
                return Ok(());
            }
            Received::Start([socket, ending]) => {
                let mut ending = UnixStream::from(ending);
                match start(root, socket) {
                    Ok((child, end)) => running.push(RunningProbe { child, end, ending: Some(ending) }),
                    Err(error) => drop(write!(ending, "it could not be started: {error}")),
                }
            }
            Received::Nonsense => {}
        }
    }
}

impl RunningProbe {
    /// Ends what is not wanted, and reports an end to the core; true when it has ended.
    fn settle(&mut self) -> bool {
        match self.child.try_wait() {
            Ok(None) => {}
            Ok(Some(status)) => {
                if let Some(ending) = &mut self.ending {
                    let _ = write!(ending, "it ended: {status}");
                }
                return true;
            }
            Err(_) => return true,
        }
        let is_unwanted = self.ending.as_ref().is_some_and(|ending| {
            let mut wait = [PollFd::new(ending, PollFlags::IN)];
            poll(&mut wait, Some(&rustix::event::Timespec::default())).is_ok() && !wait[0].revents().is_empty()
        });
        if is_unwanted {
            // One that the kernel will not let go of stays behind and is not waited for.
            let _ = self.child.kill();
            self.ending = None;
        }
        false
    }
}

enum Received {
    Start([OwnedFd; DESCRIPTORS]),
    Nonsense,
    Gone,
}

fn receive(core: &OwnedFd) -> io::Result<Received> {
    let mut space = [MaybeUninit::uninit(); rustix::cmsg_space!(ScmRights(DESCRIPTORS))];
    let mut ancillary = RecvAncillaryBuffer::new(&mut space);
    let mut byte = [0];
    let received = recvmsg(core, &mut [IoSliceMut::new(&mut byte)], &mut ancillary, RecvFlags::CMSG_CLOEXEC);
    match received {
        Ok(received) if received.bytes > 0 => {}
        Ok(_) | Err(rustix::io::Errno::CONNRESET) => return Ok(Received::Gone),
        Err(error) => return Err(error.into()),
    }
    let mut descriptors = Vec::new();
    for message in ancillary.drain() {
        if let RecvAncillaryMessage::ScmRights(more) = message {
            descriptors.extend(more);
        }
    }
    Ok(<[OwnedFd; DESCRIPTORS]>::try_from(descriptors).map_or(Received::Nonsense, Received::Start))
}

fn start(root: &Path, socket: OwnedFd) -> io::Result<(Child, OwnedFd)> {
    let mut child = itself("probe", root, socket).spawn()?;
    match pidfd_open(Pid::from_child(&child), PidfdFlags::empty()) {
        Ok(end) => Ok((child, end)),
        Err(error) => {
            let _ = child.kill();
            let _ = child.wait();
            Err(error.into())
        }
    }
}
