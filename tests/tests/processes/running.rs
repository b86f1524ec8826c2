//! The program as a test starts it: its log line by line, its probe, its state, and signals to all of them. Ended when
//! dropped. Waiting has an upper bound, and whoever waits in vain says what was heard instead.

use serde_json::Value;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};
use traylight_tests::binary::traylight;
use traylight_tests::lab::wait::wait_until;

/// Nothing here takes so long, on the slowest machine.
const SECONDS: u64 = 60;

/// A folder for one agent: its run directory, its configuration, and a program of its own if it needs one.
pub struct Home(tempfile::TempDir);

impl Home {
    /// With an empty configuration.
    pub fn new() -> Self {
        let home = Self(tempfile::tempdir().unwrap());
        // The state is for everybody, so its folder is too.
        fs::set_permissions(home.0.path(), fs::Permissions::from_mode(0o755)).unwrap();
        home.configure("");
        home
    }

    /// A path in it.
    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Writes the configuration.
    pub fn configure(&self, text: &str) {
        fs::write(self.path("traylight.toml"), text).unwrap();
    }

    /// A command of the program with those of this home's places that it takes, and nothing of who runs the test.
    pub fn command(&self, program: &Path, name: &str) -> Command {
        let mut command = Command::new(program);
        command.arg(name);
        if !matches!(name, "ack" | "mute") {
            command.arg("--config").arg(self.path("traylight.toml"));
        }
        if !matches!(name, "check" | "panel" | "self-test") {
            command.arg("--run-dir").arg(self.path("run"));
        }
        if matches!(name, "run" | "setup") {
            command.arg("--state-dir").arg(self.path("state"));
        }
        command.env_remove("NOTIFY_SOCKET").env_remove("JOURNAL_STREAM").current_dir("/").stdin(Stdio::null());
        command
    }

    /// Runs a command with these arguments to its end.
    pub fn run(&self, name: &str, arguments: &[&str]) -> Output {
        self.command(traylight(), name).args(arguments).output().unwrap()
    }

    /// The state that an agent serves here, once it has one that looks right.
    pub fn state_with(&self, what: &str, looks_right: impl Fn(&Value) -> bool) -> Value {
        let served = || {
            let mut text = String::new();
            let mut socket = UnixStream::connect(self.path("run/state.sock")).map_err(|error| error.to_string())?;
            socket.read_to_string(&mut text).map_err(|error| error.to_string())?;
            let state: Value = serde_json::from_str(&text).map_err(|_| format!("the text {text:?}"))?;
            if looks_right(&state) { Ok(state) } else { Err(format!("{state:#}")) }
        };
        wait_until(what, SECONDS, served).unwrap_or_else(|error| panic!("{error}"))
    }
}

/// The open incident that this condition belongs to.
pub fn incident_of(condition: &str, state: &Value) -> Option<Value> {
    let condition = state["conditions"].as_array()?.iter().find(|open| open["id"] == condition)?;
    state["incidents"].as_array()?.iter().find(|incident| incident["id"] == condition["incident"]).cloned()
}

/// A running agent.
pub struct Running {
    core: Child,
    lines: Receiver<String>,
    heard: Vec<String>,
}

impl Running {
    /// Starts `run` over a tree.
    pub fn start(home: &Home, root: &Path) -> Self {
        Self::start_program(traylight(), home, root)
    }

    /// Starts a program of one's own.
    pub fn start_program(program: &Path, home: &Home, root: &Path) -> Self {
        let mut command = home.command(program, "run");
        command.arg("--root").arg(root).args(["--log", "json"]).stdout(Stdio::piped());
        let mut core = command.spawn().unwrap();
        let out = BufReader::new(core.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || out.lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        Self { core, lines, heard: Vec::new() }
    }

    /// Waits for the next log entry of this event; entries before it are passed over.
    pub fn hears(&mut self, event: &str) -> Value {
        self.hears_any(&[event])
    }

    /// Waits for the next log entry of one of these events.
    pub fn hears_any(&mut self, events: &[&str]) -> Value {
        let end = Instant::now() + Duration::from_secs(SECONDS);
        while let Ok(line) = self.lines.recv_timeout(end.saturating_duration_since(Instant::now())) {
            let entry: Value = serde_json::from_str(&line).unwrap_or_else(|_| panic!("no JSON: {line}"));
            self.heard.push(line);
            if events.iter().any(|event| entry["event"] == *event) {
                return entry;
            }
        }
        panic!("never heard any of {events:?}, but:\n{}", self.heard.join("\n"))
    }

    /// All lines of the log, those that are passed over, too; call it when the agent has ended.
    pub fn all_heard(&mut self) -> String {
        self.heard.extend(self.lines.iter());
        self.heard.join("\n")
    }

    /// The process of the core.
    pub fn core(&self) -> u32 {
        self.core.id()
    }

    /// The process of its launcher, once there is one.
    pub fn launcher(&self) -> u32 {
        wait_until("a launcher", SECONDS, || child_of(self.core(), "traylight-start").ok_or("none")).unwrap()
    }

    /// The process of its probe, once there is one.
    pub fn probe(&self) -> u32 {
        let launcher = self.launcher();
        wait_until("a probe", SECONDS, || child_of(launcher, "traylight-probe").ok_or("none")).unwrap()
    }

    /// How it ended.
    pub fn ends(&mut self) -> ExitStatus {
        let ended = || self.core.try_wait().unwrap().ok_or("a core that runs on");
        wait_until("the end of the core", SECONDS, ended).unwrap()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // The probe ends with its core.
        let _ = self.core.kill();
        let _ = self.core.wait();
    }
}

/// Sends a signal by its name, such as `KILL`.
pub fn signal(name: &str, process: u32) {
    let status = Command::new("sh").args(["-c", r#"kill -"$0" "$1""#, name, &process.to_string()]).status();
    assert!(status.unwrap().success(), "SIG{name} to {process}");
}

/// Waits until a process is no more.
pub fn is_gone(process: u32) {
    let gone = || match status(process) {
        // Nobody may be there to take in the dead; they run no more all the same.
        None => Ok(()),
        Some(status) if status.contains("State:\tZ") => Ok(()),
        Some(_) => Err("a process that runs on"),
    };
    wait_until("the end of the process", SECONDS, gone).unwrap_or_else(|error| panic!("{process}: {error}"));
}

/// What the kernel says of a process (proc_pid_status(5)).
fn status(process: u32) -> Option<String> {
    fs::read_to_string(format!("/proc/{process}/status")).ok()
}

/// The rights of a process by its status: permitted, effective, ambient, and the limit to them.
pub fn rights(status: &str) -> [String; 4] {
    ["CapPrm", "CapEff", "CapAmb", "CapBnd"].map(|name| {
        let line = status.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(":\t"));
        line.unwrap_or_else(|| panic!("no {name} in {status}")).to_owned()
    })
}

fn child_of(parent: u32, name: &str) -> Option<u32> {
    let processes = fs::read_dir("/proc").unwrap().flatten();
    let mut numbers = processes.filter_map(|entry| entry.file_name().to_str()?.parse().ok());
    let is_child = |process: &u32| {
        status(*process).is_some_and(|text| {
            let is_it = text.contains(&format!("PPid:\t{parent}\n")) && text.starts_with(&format!("Name:\t{name}\n"));
            is_it && !text.contains("State:\tZ")
        })
    };
    numbers.find(is_child)
}
