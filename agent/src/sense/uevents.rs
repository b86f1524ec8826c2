//! The kernel's messages about parts that come, go and change, as they are sent: a netlink socket that anybody may listen
//! on (netlink(7), NETLINK_KOBJECT_UEVENT).

use super::parse::named::{NamedEvent, NamedEvents};
use super::parse::sysfs::uevent::{event, is_worth_a_look};
use crate::clock::Moment;
use crate::reading::{EventSource, Missing, Reason};
use rustix::io::Errno;
use rustix::net::netlink::{KOBJECT_UEVENT, SocketAddrNetlink};
use rustix::net::{AddressFamily, RecvFlags, SocketFlags, SocketType, bind, recvfrom, socket_with};
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};

/// The group that the kernel sends to; another belongs to the device manager.
const KERNELS_GROUP: u32 = 1;
/// The kernel's fields fill at most 2048 bytes (UEVENT_BUFFER_SIZE), the path before them a page at most.
const LONGEST: usize = 8192;
/// So many messages are taken in at once; a flood has its rest later.
const AT_ONCE: usize = 1024;

/// The socket.
#[derive(Debug)]
pub struct Uevents {
    socket: OwnedFd,
}

impl Uevents {
    /// Begins to listen.
    pub fn listen() -> Result<Self, Missing> {
        let flags = SocketFlags::NONBLOCK | SocketFlags::CLOEXEC;
        let socket = socket_with(AddressFamily::NETLINK, SocketType::DGRAM, flags, Some(KOBJECT_UEVENT));
        let socket = socket.map_err(|errno| missing("netlink socket", errno))?;
        bind(&socket, &SocketAddrNetlink::new(0, KERNELS_GROUP)).map_err(|errno| missing("kernel events", errno))?;
        Ok(Self { socket })
    }

    /// Takes in what was sent. The kernel does not say when it did.
    pub fn take(&self, now: Moment) -> Result<NamedEvents, Missing> {
        let mut message = [0; LONGEST];
        let mut taken = NamedEvents::default();
        for _ in 0..AT_ONCE {
            match recvfrom(&self.socket, &mut message, RecvFlags::empty()) {
                Ok((length, _, sender)) => {
                    let sender = sender.and_then(|sender| SocketAddrNetlink::try_from(sender).ok());
                    let Some(sender) = sender.map(|sender| sender.pid()) else { continue };
                    let message = &message[..length];
                    taken.calls |= is_worth_a_look(sender, message);
                    taken.events.extend(event(sender, message).map(|(part, what)| NamedEvent {
                        at: now,
                        part,
                        what,
                        teller: EventSource::Uevent,
                        line: String::new(),
                    }));
                }
                // More was sent than the socket could hold: what is lost may have been anything.
                Err(Errno::NOBUFS) => taken.calls = true,
                Err(Errno::INTR) => {}
                Err(Errno::AGAIN) => break,
                Err(errno) => return Err(missing("kernel events", errno)),
            }
        }
        Ok(taken)
    }
}

impl AsFd for Uevents {
    fn as_fd(&self) -> BorrowedFd<'_> {
        self.socket.as_fd()
    }
}

fn missing(what: &str, errno: Errno) -> Missing {
    let reason = match errno {
        // A unit's RestrictAddressFamilies= answers the last one.
        Errno::ACCESS | Errno::PERM | Errno::AFNOSUPPORT => Reason::Refused,
        Errno::PROTONOSUPPORT => Reason::NotAvailable,
        _ => Reason::Unreadable,
    };
    let said = std::io::Error::from(errno).to_string();
    let said = said.split(" (os error").next().unwrap_or_default().to_lowercase();
    Missing::found(reason, format!("{what}: {said}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::net::{SendFlags, getsockname, sendto};

    const FORGED: &[u8] = b"remove@/devices/block/sda\0ACTION=remove\0SUBSYSTEM=block\0DEVNAME=sda\0";

    #[test]
    fn a_message_that_this_process_forges_arrives_and_is_not_believed() {
        let uevents = Uevents::listen().expect("anybody may listen");
        let ours = SocketAddrNetlink::try_from(getsockname(&uevents.socket).expect("it is bound")).expect("netlink");
        let forger = Uevents::listen().expect("anybody may listen");
        sendto(&forger.socket, FORGED, SendFlags::empty(), &ours).expect("anybody may send to one listener");

        let mut message = [0; LONGEST];
        let (length, _, sender) = recvfrom(&uevents.socket, &mut message, RecvFlags::PEEK).expect("it has arrived");
        assert_eq!(&message[..length], FORGED);
        assert!(is_worth_a_look(0, FORGED), "only its sender speaks against it");
        assert_ne!(SocketAddrNetlink::try_from(sender.expect("it says who")).expect("netlink").pid(), 0);
        assert_eq!(uevents.take(Moment::default()), Ok(NamedEvents::default()));
    }

    #[test]
    fn the_reason_for_hearing_nothing_says_what_was_refused() {
        let why = missing("netlink socket", Errno::AFNOSUPPORT);
        assert_eq!(why, Missing::found(Reason::Refused, "netlink socket: address family not supported by protocol"));
    }
}
