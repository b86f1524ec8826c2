//! A web server that behaves as badly as the story wants, and notes what it was asked.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio_rustls::rustls::crypto::ring::default_provider;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::rustls::{ServerConfig, ServerConnection, StreamOwned};

/// How a server behaves.
#[derive(Debug, Clone, PartialEq)]
pub enum Manner {
    /// It takes what it gets, and answers with these bytes.
    Says(Vec<u8>),
    /// It closes as soon as somebody comes.
    Closes,
    /// It never says a word.
    Hangs,
    /// It begins an answer and never ends it.
    Dawdles,
}

/// A request: its first line and its header lines, in small letters, and its body.
#[derive(Debug, Clone)]
pub struct Request {
    pub head: Vec<String>,
    pub body: String,
}

impl Request {
    /// The value of a header line.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.head
            .iter()
            .find_map(|line| line.split_once(": ").filter(|(found, _)| *found == name).map(|(_, value)| value))
    }
}

/// A web server on a port of this machine.
pub struct WebServer {
    pub port: u16,
    manner: Arc<Mutex<Manner>>,
    requests: Arc<Mutex<Vec<Request>>>,
}

/// An answer of HTTP/1.1.
pub fn answer(status: &str, more: &str, body: &str) -> Manner {
    Manner::Says(format!("HTTP/1.1 {status}\r\n{more}content-length: {}\r\n\r\n{body}", body.len()).into_bytes())
}

impl WebServer {
    /// Starts a server; with a certificate and its key, encrypted. Its threads end with the test's process.
    pub fn start(manner: Manner, pair: Option<(PathBuf, PathBuf)>) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let server = Self { port, manner: Arc::new(Mutex::new(manner)), requests: Arc::default() };
        let (manner, requests) = (Arc::clone(&server.manner), Arc::clone(&server.requests));
        let config = pair.map(|(certificate, key)| {
            let chain = vec![CertificateDer::from_pem_file(certificate).unwrap()];
            let key = PrivateKeyDer::from_pem_file(key).unwrap();
            let config = ServerConfig::builder_with_provider(Arc::new(default_provider()));
            let config = config.with_safe_default_protocol_versions().unwrap().with_no_client_auth();
            Arc::new(config.with_single_cert(chain, key).unwrap())
        });
        std::thread::spawn(move || {
            for visitor in listener.incoming().flatten() {
                let (manner, requests, config) =
                    (manner.lock().unwrap().clone(), Arc::clone(&requests), config.clone());
                std::thread::spawn(move || match config {
                    None => serve(visitor, &manner, &requests),
                    Some(config) => {
                        let session = ServerConnection::new(config).unwrap();
                        serve(StreamOwned::new(session, visitor), &manner, &requests);
                    }
                });
            }
        });
        server
    }

    /// From now on it behaves like this.
    pub fn behave(&self, manner: Manner) {
        *self.manner.lock().unwrap() = manner;
    }

    /// What it was asked so far.
    pub fn requests(&self) -> Vec<Request> {
        self.requests.lock().unwrap().clone()
    }
}

fn serve(mut visitor: impl Read + Write, manner: &Manner, requests: &Mutex<Vec<Request>>) {
    if *manner == Manner::Closes {
        return;
    }
    let Some(request) = read(&mut visitor) else { return };
    requests.lock().unwrap().push(request);
    match manner {
        Manner::Says(bytes) => {
            let _ = visitor.write_all(bytes).and_then(|()| visitor.flush());
        }
        Manner::Dawdles => {
            let _ =
                visitor.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 100\r\n\r\nwait").and_then(|()| visitor.flush());
            std::thread::sleep(Duration::from_secs(600));
        }
        Manner::Hangs | Manner::Closes => std::thread::sleep(Duration::from_secs(600)),
    }
}

fn read(visitor: &mut impl Read) -> Option<Request> {
    let mut bytes = Vec::new();
    let mut piece = [0; 4096];
    loop {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        if let Some((head, body)) = text.split_once("\r\n\r\n") {
            let head: Vec<String> = head.lines().map(lower).collect();
            let length = head.iter().find_map(|line| line.strip_prefix("content-length: ")?.parse().ok()).unwrap_or(0);
            if body.len() >= length {
                return Some(Request { head, body: body.to_owned() });
            }
        }
        match visitor.read(&mut piece) {
            Ok(0) | Err(_) => return None,
            Ok(length) => bytes.extend_from_slice(&piece[..length]),
        }
    }
}

/// A header line with its name in small letters.
fn lower(line: &str) -> String {
    match line.split_once(": ") {
        Some((name, value)) => format!("{}: {value}", name.to_lowercase()),
        None => line.to_owned(),
    }
}

/// A port where nobody listens.
pub fn closed_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}
