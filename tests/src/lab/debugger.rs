//! The emulator's debugger stops the machine and writes into its memory: for faults that the emulator itself cannot make.
//! The language is GDB's remote serial protocol (GDB manual, appendix "Remote Protocol"; from memory): `$packet#checksum`,
//! answered with `+` and a packet.

use super::error::LabError;
use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::time::Duration;

/// An answer is due at once; the emulator may be slow on a busy computer.
const PATIENCE: Duration = Duration::from_secs(30);

/// A conversation with the debugger. The machine stands still until [`Debugger::let_go`].
#[derive(Debug)]
pub struct Debugger {
    stream: UnixStream,
}

impl Debugger {
    /// Connects, which stops the machine.
    ///
    /// # Errors
    /// When nobody listens there.
    pub fn connect(socket: &Path) -> Result<Self, LabError> {
        let stream = UnixStream::connect(socket).map_err(LabError::file("connect to", socket))?;
        stream.set_read_timeout(Some(PATIENCE)).map_err(LabError::file("set a time limit on", socket))?;
        Ok(Self { stream })
    }

    /// Reads memory at an address of the guest's kernel.
    ///
    /// # Errors
    /// When nothing is there.
    pub fn read(&mut self, address: u64, length: usize) -> Result<Vec<u8>, LabError> {
        let answer = self.ask(&format!("m{address:x},{length:x}"))?;
        let bytes = (0..length).map(|n| u8::from_str_radix(answer.get(2 * n..2 * n + 2)?, 16).ok());
        let wanted = || LabError::unexpected(format!("memory at {address:x}"), format!("{length} bytes"), &*answer);
        bytes.collect::<Option<_>>().ok_or_else(wanted)
    }

    /// Writes memory there.
    ///
    /// # Errors
    /// When nothing is there.
    pub fn write(&mut self, address: u64, bytes: &[u8]) -> Result<(), LabError> {
        let text: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        match &*self.ask(&format!("M{address:x},{:x}:{text}", bytes.len()))? {
            "OK" => Ok(()),
            other => Err(LabError::unexpected(format!("writing memory at {address:x}"), "OK", other)),
        }
    }

    /// The machine goes on.
    ///
    /// # Errors
    /// When the debugger does not let it.
    pub fn let_go(mut self) -> Result<(), LabError> {
        match &*self.ask("D")? {
            "OK" => Ok(()),
            other => Err(LabError::unexpected("the debugger", "OK", other)),
        }
    }

    fn ask(&mut self, packet: &str) -> Result<String, LabError> {
        let failed = |found: String| LabError::Monitor { command: packet.to_owned(), found };
        let sum = packet.bytes().fold(0_u8, u8::wrapping_add);
        write!(self.stream, "${packet}#{sum:02x}").map_err(|error| failed(error.to_string()))?;
        let mut heard = Vec::new();
        loop {
            let mut piece = [0; 4096];
            match self.stream.read(&mut piece) {
                Ok(0) => return Err(failed("the end of the conversation".into())),
                Ok(length) => heard.extend_from_slice(&piece[..length]),
                Err(error) => return Err(failed(error.to_string())),
            }
            if !is_whole(&heard) {
                continue;
            }
            self.stream.write_all(b"+").map_err(|error| failed(error.to_string()))?;
            let text = String::from_utf8_lossy(&heard);
            let (answer, _) = text.rsplit_once('#').unwrap_or_default();
            let answer = answer.rsplit_once('$').map_or(answer, |(_, answer)| answer).to_owned();
            // That the machine has stopped is told by a packet of its own, which may come first.
            if !answer.starts_with('T') {
                return Ok(answer);
            }
            heard.clear();
        }
    }
}

/// True when the last packet has its checksum.
fn is_whole(heard: &[u8]) -> bool {
    heard.len() >= 3 && heard[heard.len() - 3] == b'#'
}
