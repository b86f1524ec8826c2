//! Another side that wants to do harm: it plays its steps to whoever visits it, and counts what it could pour out.

#![allow(clippy::unwrap_used, reason = "a story without its stranger may stop at once")]
#![allow(clippy::disallowed_methods, reason = "it is on the network itself")]

use crate::authority::Authority;
use Step::{Encrypt, Hear, HearRequest, Listen, Pour, Say};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use tokio_rustls::rustls::crypto::ring::default_provider;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::rustls::{ServerConfig, ServerConnection, StreamOwned};

/// Who pours gives up after so many bytes: they were all taken in.
const FLOOD: usize = 64 << 20;
/// What a mail server says until encryption begins.
pub const BEFORE_TLS: [Step; 5] =
    [Say(b"220 hut ESMTP\r\n"), Hear, Say(b"250-hut\r\n250 STARTTLS\r\n"), Hear, Say(b"220 go on\r\n")];

/// What the other side does, one after another.
#[derive(Clone)]
pub enum Step {
    /// Says this.
    Say(&'static [u8]),
    /// Hears a line.
    Hear,
    /// Hears the head of a web request.
    HearRequest,
    /// Begins encryption.
    Encrypt,
    /// Says this again and again.
    Pour(&'static [u8]),
    /// Hears all that there is to hear, and says nothing.
    Listen,
}

/// Somebody who listens on a port of this machine and plays to each visitor, with a count of what was poured out.
pub struct Stranger {
    /// Where it listens.
    pub port: u16,
    poured: Arc<AtomicUsize>,
}

trait Both: Read + Write + Send {}
impl<T: Read + Write + Send> Both for T {}

impl Stranger {
    /// Begins to listen; it has the authority's certificate for this machine.
    pub fn start(authority: &Authority, steps: &[Step]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let stranger = Self { port: listener.local_addr().unwrap().port(), poured: Arc::default() };
        let (certificate, key) = authority.pair("here");
        let chain = vec![CertificateDer::from_pem_file(certificate).unwrap()];
        let key = PrivateKeyDer::from_pem_file(key).unwrap();
        let config = ServerConfig::builder_with_provider(Arc::new(default_provider()));
        let config = config.with_safe_default_protocol_versions().unwrap().with_no_client_auth();
        let config = Arc::new(config.with_single_cert(chain, key).unwrap());
        let (steps, poured) = (steps.to_vec(), Arc::clone(&stranger.poured));
        std::thread::spawn(move || {
            for visitor in listener.incoming().map_while(Result::ok) {
                let (config, steps, poured) = (Arc::clone(&config), steps.clone(), Arc::clone(&poured));
                std::thread::spawn(move || play(visitor, &config, &steps, &poured));
            }
        });
        stranger
    }

    /// So many bytes were taken from it so far.
    pub fn poured(&self) -> usize {
        self.poured.load(Ordering::Relaxed)
    }
}

fn play(visitor: TcpStream, config: &Arc<ServerConfig>, steps: &[Step], poured: &AtomicUsize) -> std::io::Result<()> {
    let mut plain = Some(visitor.try_clone()?);
    let mut line: BufReader<Box<dyn Both>> = BufReader::with_capacity(1, Box::new(visitor));
    for step in steps {
        match step {
            Say(said) => {
                line.get_mut().write_all(said)?;
                line.get_mut().flush()?;
            }
            Hear => drop(line.read_line(&mut String::new())?),
            HearRequest => loop {
                let mut head = String::new();
                if line.read_line(&mut head)? <= 2 {
                    break;
                }
            },
            Encrypt => {
                let session = ServerConnection::new(Arc::clone(config)).unwrap();
                if let Some(plain) = plain.take() {
                    line = BufReader::with_capacity(1, Box::new(StreamOwned::new(session, plain)));
                }
            }
            Pour(said) => {
                let piece = said.repeat((64 << 10) / said.len());
                while poured.load(Ordering::Relaxed) < FLOOD {
                    line.get_mut().write_all(&piece)?;
                    poured.fetch_add(piece.len(), Ordering::Relaxed);
                }
            }
            Listen => drop(line.read_to_end(&mut Vec::new())?),
        }
    }
    Ok(())
}
