//! The emulator's monitor: one JSON document a line over a socket. Commands go out, answers and events come in.
//! The language: QEMU's `docs/interop/qmp-spec`, its handshake in section 3 and 4 (from memory).

use super::error::LabError;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::time::Duration;

/// An answer is due at once; the emulator may be slow on a busy computer.
const PATIENCE: Duration = Duration::from_secs(30);

/// A conversation with the monitor.
#[derive(Debug)]
pub struct Monitor {
    incoming: BufReader<UnixStream>,
}

impl Monitor {
    /// Connects and shakes hands.
    ///
    /// # Errors
    /// When nobody listens there, or what listens is no monitor.
    pub fn connect(socket: &Path) -> Result<Self, LabError> {
        let stream = UnixStream::connect(socket).map_err(LabError::file("connect to", socket))?;
        stream.set_read_timeout(Some(PATIENCE)).map_err(LabError::file("set a time limit on", socket))?;
        let mut monitor = Self { incoming: BufReader::new(stream) };
        let greeting = monitor.line("a greeting")?;
        if greeting.get("QMP").is_none() {
            return Err(refused("the connection", &greeting));
        }
        monitor.command("qmp_capabilities", json!({}))?;
        Ok(monitor)
    }

    /// Gives one command and waits for its answer; events in between are passed over.
    ///
    /// # Errors
    /// When the monitor refuses the command or falls silent.
    pub fn command(&mut self, name: &str, arguments: Value) -> Result<Value, LabError> {
        let line = json!({ "execute": name, "arguments": arguments }).to_string();
        writeln!(self.incoming.get_mut(), "{line}")
            .map_err(|error| LabError::Monitor { command: name.into(), found: error.to_string() })?;
        loop {
            match Message::of(self.line(name)?) {
                Message::Event => {}
                Message::Answer(answer) => return Ok(answer),
                Message::Refusal(found) => return Err(LabError::Monitor { command: name.into(), found }),
            }
        }
    }

    fn line(&mut self, command: &str) -> Result<Value, LabError> {
        let failed = |found: String| LabError::Monitor { command: command.into(), found };
        let mut line = String::new();
        match self.incoming.read_line(&mut line) {
            Ok(0) => Err(failed("the end of the conversation".into())),
            Ok(_) => serde_json::from_str(&line).map_err(|error| failed(format!("{}: {error}", line.trim_end()))),
            Err(error) => Err(failed(error.to_string())),
        }
    }
}

/// What one line of the monitor is.
#[derive(Debug, PartialEq)]
enum Message {
    Answer(Value),
    Refusal(String),
    Event,
}

impl Message {
    fn of(mut line: Value) -> Self {
        if let Some(answer) = line.get_mut("return") {
            return Self::Answer(answer.take());
        }
        if line.get("event").is_some() {
            return Self::Event;
        }
        let description = line["error"]["desc"].as_str().map(String::from);
        Self::Refusal(description.unwrap_or_else(|| line.to_string()))
    }
}

fn refused(command: &str, found: &Value) -> LabError {
    LabError::Monitor { command: command.into(), found: found.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::net::UnixListener;
    use std::thread;

    /// Lines as QEMU 7.2 prints them.
    const GREETING: &str = r#"{"QMP": {"version": {"qemu": {"micro": 22, "minor": 2, "major": 7}, "package": "Debian"}, "capabilities": ["oob"]}}"#;
    const EVENT: &str = r#"{"timestamp": {"seconds": 1, "microseconds": 2}, "event": "DEVICE_DELETED", "data": {"path": "/machine/peripheral/n0"}}"#;

    /// A monitor that says these lines, each group after one command was heard.
    fn monitor_saying(
        replies: Vec<Vec<&'static str>>,
    ) -> (Result<Monitor, LabError>, Vec<Value>, Result<Value, LabError>) {
        let folder = tempfile::tempdir().unwrap();
        let socket = folder.path().join("monitor");
        let listener = UnixListener::bind(&socket).unwrap();
        let emulator = thread::spawn(move || {
            let (stream, _) = listener.accept().unwrap();
            let mut incoming = BufReader::new(stream);
            let mut heard = Vec::new();
            writeln!(incoming.get_mut(), "{GREETING}").unwrap();
            for lines in replies {
                let mut command = String::new();
                incoming.read_line(&mut command).unwrap();
                heard.push(serde_json::from_str(&command).unwrap());
                for line in lines {
                    writeln!(incoming.get_mut(), "{line}").unwrap();
                }
            }
            heard
        });
        let mut monitor = Monitor::connect(&socket).unwrap();
        let answer = monitor.command("device_del", json!({ "id": "n0" }));
        (Ok(monitor), emulator.join().unwrap(), answer)
    }

    #[test]
    fn a_command_is_answered_although_an_event_comes_first() {
        let (_, heard, answer) =
            monitor_saying(vec![vec![r#"{"return": {}}"#], vec![EVENT, r#"{"return": {"a": 1}}"#]]);
        assert_eq!(answer.unwrap(), json!({ "a": 1 }));
        assert_eq!(heard[0]["execute"], "qmp_capabilities");
        assert_eq!(heard[1], json!({ "execute": "device_del", "arguments": { "id": "n0" } }));
    }

    #[test]
    fn a_refusal_says_the_command_and_the_reason() {
        let refusal = r#"{"error": {"class": "DeviceNotFound", "desc": "Device 'n0' not found"}}"#;
        let (_, _, answer) = monitor_saying(vec![vec![r#"{"return": {}}"#], vec![refusal]]);
        assert_eq!(answer.unwrap_err().to_string(), "the monitor answered device_del with Device 'n0' not found");
    }

    #[test]
    fn a_monitor_that_hangs_up_is_an_error() {
        let (_, _, answer) = monitor_saying(vec![vec![r#"{"return": {}}"#], vec![]]);
        assert_eq!(answer.unwrap_err().to_string(), "the monitor answered device_del with the end of the conversation");
    }
}
