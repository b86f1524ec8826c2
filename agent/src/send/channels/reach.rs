//! How another machine is reached: its name is looked up on a thread of its own, each of its addresses is tried for a few
//! seconds, and only so much of its answer is read. The limits here hold before those of any library that reads a protocol:
//! an answer without an end, or without an end of line, costs no memory.

use super::fault::TooMuch;
use super::{ChannelFault, short};
use std::io;
use std::net::{IpAddr, SocketAddr, ToSocketAddrs as _};
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::{AsyncBufRead as _, AsyncRead, AsyncWrite, BufReader, ReadBuf};
use tokio::net::TcpStream;
use tokio::sync::oneshot;
use tokio::time::timeout;
use traylight_config::is_loopback;

/// So many bytes may come of a connection to a web server or a broker, encryption and certificates included. The longest
/// honest answer is a web server's, 64 KiB.
pub const MOST_BYTES: usize = 128 << 10;
/// Of one to a mail server: chains of certificates have up to 16 KiB, all it says in a session a few. The mail library reads
/// an answer anew with each line of it, so that more would cost time.
pub const MOST_BYTES_OF_MAIL: usize = 48 << 10;
/// What is read at once.
const PIECE: usize = 4096;
/// So many names are looked up at the same time. One lookup can hang for longer than whoever asked waits for it.
const MOST_LOOKUPS: usize = 16;
/// How long an address is tried while there is another: long enough for a packet that is lost on the way to be sent again
/// after 1 and 3 s (RFC 6298, from memory).
const EACH: Duration = Duration::from_secs(5);
/// The stack of a thread that looks up a name: what resolvers keep there, with room to spare.
const STACK: usize = 512 << 10;

static LOOKUPS: AtomicUsize = AtomicUsize::new(0);

/// What may still come of a connection.
#[derive(Debug, Clone)]
pub struct Allowance {
    most: usize,
    left: Arc<AtomicUsize>,
}

impl Allowance {
    /// So many bytes.
    pub fn of(most: usize) -> Self {
        Self { most, left: Arc::new(AtomicUsize::new(most)) }
    }

    /// As much as at first may come from now on: for connections that stay open.
    pub fn renew(&self) {
        self.left.store(self.most, Ordering::Relaxed);
    }

    fn take(&self, bytes: usize) -> io::Result<()> {
        let left = self.left.load(Ordering::Relaxed).checked_sub(bytes);
        self.left.store(left.ok_or_else(|| io::Error::other(TooMuch(self.most)))?, Ordering::Relaxed);
        Ok(())
    }
}

/// A connection of which no more is read than its allowance, and at once never more than one line: what somebody on the
/// channel puts behind the last line before encryption begins is then not taken for the first of what is encrypted.
#[derive(Debug)]
pub struct Bounded {
    stream: BufReader<TcpStream>,
    allowance: Allowance,
}

impl AsyncRead for Bounded {
    fn poll_read(self: Pin<&mut Self>, cx: &mut Context, buffer: &mut ReadBuf) -> Poll<io::Result<()>> {
        let Self { stream, allowance } = self.get_mut();
        let received = ready!(Pin::new(&mut *stream).poll_fill_buf(cx))?;
        let line = received.iter().position(|byte| *byte == b'\n').map_or(received.len(), |end| end + 1);
        let piece = line.min(buffer.remaining());
        allowance.take(piece)?;
        buffer.put_slice(&received[..piece]);
        Pin::new(stream).consume(piece);
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Bounded {
    fn poll_write(self: Pin<&mut Self>, cx: &mut Context, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.get_mut().stream).poll_write(cx, bytes)
    }

    fn poll_flush(self: Pin<&mut Self>, cx: &mut Context) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_flush(cx)
    }

    fn poll_shutdown(self: Pin<&mut Self>, cx: &mut Context) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_shutdown(cx)
    }
}

/// Connects to the first of the machine's addresses that answers.
///
/// # Errors
/// When there is no thread or descriptor to spare, when the name is not known, and when nobody answers.
pub async fn reach(host: &str, port: u16, allowance: Allowance) -> Result<Bounded, ChannelFault> {
    let addresses = addresses(host, port).await?;
    let found = first_to_answer(&addresses, EACH, TcpStream::connect).await;
    let stream = found.unwrap_or_else(|| Err(ChannelFault::NoAddress { host: host.to_owned() }))?;
    // Alerts are small and seldom: nothing is gained by waiting for more.
    let _ = stream.set_nodelay(true);
    Ok(Bounded { stream: BufReader::with_capacity(PIECE, stream), allowance })
}

/// Tries one address after the other, each for so long: one that swallows what is sent to it must not take the time of the
/// next, but for the last, which has all that is left. `None` without an address.
async fn first_to_answer<T, F: Future<Output = io::Result<T>>>(
    addresses: &[SocketAddr],
    each: Duration,
    connect: impl Fn(SocketAddr) -> F,
) -> Option<Result<T, ChannelFault>> {
    let (last, others) = addresses.split_last()?;
    for address in others {
        if let Ok(Ok(stream)) = timeout(each, connect(*address)).await {
            return Some(Ok(stream));
        }
    }
    Some(connect(*last).await.map_err(|error| ChannelFault::from_io(&error)))
}

/// The addresses of a machine. The runtime's own lookup would end the program where no thread can be started.
async fn addresses(host: &str, port: u16) -> Result<Vec<SocketAddr>, ChannelFault> {
    if let Ok(address) = host.parse::<IpAddr>() {
        return Ok(vec![SocketAddr::new(address, port)]);
    }
    let place = Lookup::begin()?;
    let (looked_up, found) = oneshot::channel();
    let name = host.to_owned();
    let look_up = move || {
        let found = (name.as_str(), port).to_socket_addrs().map(Iterator::collect);
        drop(place);
        let _ = looked_up.send(found);
    };
    let thread = std::thread::Builder::new().name("lookup".to_owned()).stack_size(STACK).spawn(look_up);
    thread.map_err(|_| ChannelFault::NoThreads { host: host.to_owned() })?;
    match found.await {
        // Nobody else is this machine, whatever a resolver says.
        Ok(found) => found
            .map(|found: Vec<SocketAddr>| {
                found.into_iter().filter(|at| !is_loopback(host) || at.ip().is_loopback()).collect()
            })
            .map_err(|error| ChannelFault::LookupFailed { host: host.to_owned(), error: short(&error.to_string()) }),
        Err(_) => Err(ChannelFault::NoAddress { host: host.to_owned() }),
    }
}

/// The place of one lookup among those under way.
struct Lookup;

impl Lookup {
    fn begin() -> Result<Self, ChannelFault> {
        let take = |under_way: usize| (under_way < MOST_LOOKUPS).then_some(under_way + 1);
        match LOOKUPS.fetch_update(Ordering::Relaxed, Ordering::Relaxed, take) {
            Ok(_) => Ok(Self),
            Err(count) => Err(ChannelFault::LookupsHang { count }),
        }
    }
}

impl Drop for Lookup {
    fn drop(&mut self) {
        LOOKUPS.fetch_sub(1, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The machine's first address swallows what is sent to it, as when the network has no route for IPv6; the second answers.
    #[test]
    fn an_address_that_swallows_everything_does_not_keep_the_next_one_from_being_tried() {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().expect("a runtime");
        let [silent, refuses, answers]: [SocketAddr; 3] =
            ["[2001:db8::1]:25", "192.0.2.2:25", "192.0.2.1:25"].map(|text| text.parse().expect("an address"));
        let connect = |address: SocketAddr| async move {
            match address {
                _ if address == silent => std::future::pending().await,
                _ if address == refuses => Err(io::Error::from(io::ErrorKind::ConnectionRefused)),
                _ => Ok(address),
            }
        };
        let reach = |addresses: &[SocketAddr]| {
            runtime.block_on(first_to_answer(addresses, Duration::ZERO, connect)).map(|found| found.ok())
        };
        assert_eq!(reach(&[silent, answers]), Some(Some(answers)));
        assert_eq!(reach(&[refuses, silent, answers]), Some(Some(answers)));
        assert_eq!(reach(&[silent, refuses]), Some(None), "and why the last one failed");
        assert_eq!(reach(&[]), None);
    }
}
