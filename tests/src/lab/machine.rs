//! A running guest: booted from a [`Spec`], told what to run, spied on and hurt through the emulator's monitor, and ended
//! when dropped.
//!
//! Commands and results travel as files in a shared folder (see `lab/guest.sh`). Not its job: what is played in it.
#![allow(clippy::disallowed_methods, reason = "the guest is steered through files")]

use super::error::LabError;
use super::host::command;
use super::parts::Parts;
use super::qmp::Monitor;
use super::spec::{CABLE, Spec, arguments, disk_node, file_node};
use super::wait;
use serde_json::{Value, json};
use std::fmt::Display;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use tempfile::TempDir;

const GUEST: &str = include_str!("../../lab/guest.sh");
/// Under software emulation on a busy computer a boot with udev takes up to a minute.
const BOOT_SECONDS: u64 = 240;
const CONSOLE_TAIL_LINES: usize = 25;

/// What a command left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Output {
    /// Both of its streams, as they came.
    pub text: String,
    /// Its exit code.
    pub code: i32,
}

/// A guest that runs.
#[derive(Debug)]
pub struct Machine {
    emulator: Child,
    monitor: Monitor,
    console: PathBuf,
    /// Holds the drives, the monitor's socket and the shared folder; it goes when the machine goes.
    folder: TempDir,
    spec: Spec,
    next_command: u32,
    /// How often a drive was plugged in while it ran.
    plugged_in: u32,
}

impl Machine {
    /// Starts a machine and waits until it takes commands. Its console is kept in `keep`.
    ///
    /// # Errors
    /// When it cannot be started or does not come up in time.
    pub fn boot(spec: &Spec, parts: &Parts, keep: &Path) -> Result<Self, LabError> {
        let folder = TempDir::new().map_err(LabError::file("make a folder in", &std::env::temp_dir()))?;
        let shared = folder.path().join("lab");
        for part in ["cmd", "out", "rc"] {
            let part = shared.join(part);
            fs::create_dir_all(&part).map_err(LabError::file("make", &part))?;
        }
        let guest = shared.join("guest.sh");
        fs::write(&guest, GUEST).map_err(LabError::file("write", &guest))?;
        for drive in &spec.drives {
            let image = drive.image(folder.path());
            let sparse = fs::File::create(&image).and_then(|file| file.set_len(drive.size_mib() << 20));
            sparse.map_err(LabError::file("make", &image))?;
        }
        let console = keep.join(format!("{}.console", spec.name));
        fs::write(&console, "").map_err(LabError::file("write", &console))?;

        let mut emulator = command("qemu-system-x86_64");
        emulator.args(arguments(spec, parts, folder.path(), &console));
        let failed = |found: String| LabError::Program { command: "qemu-system-x86_64".into(), found };
        let words = fs::File::create(folder.path().join("emulator.log")).map_err(|error| failed(error.to_string()))?;
        let mut emulator = emulator
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(words)
            .spawn()
            .map_err(|error| failed(error.to_string()))?;

        let socket = folder.path().join("monitor");
        let monitor =
            wait::wait_until("the emulator's monitor", 30, || Monitor::connect(&socket)).map_err(|error| {
                let words = fs::read_to_string(folder.path().join("emulator.log")).unwrap_or_default();
                end(&mut emulator);
                if words.is_empty() { error } else { failed(words.trim_end().into()) }
            })?;
        let mut machine =
            Self { emulator, monitor, console, folder, spec: spec.clone(), next_command: 1, plugged_in: 0 };
        let ready = shared.join("ready");
        machine.wait_until("the guest to come up", BOOT_SECONDS, |_| {
            if ready.exists() { Ok(()) } else { Err("no sign of it") }
        })?;
        Ok(machine)
    }

    /// Runs shell text in the guest and waits for its end. The folder `/lab` there is [`Machine::shared`] here.
    ///
    /// # Errors
    /// When it does not end in time; the machine takes no more commands then. An exit code is no error.
    pub fn run(&mut self, shell: &str, seconds: u64) -> Result<Output, LabError> {
        let number = self.next_command.to_string();
        self.next_command += 1;
        let order = self.shared().join("cmd").join(&number);
        let unfinished = self.shared().join("cmd.part");
        fs::write(&unfinished, shell).map_err(LabError::file("write", &unfinished))?;
        fs::rename(&unfinished, &order).map_err(LabError::file("write", &order))?;
        let (rc, out) = (self.shared().join("rc").join(&number), self.shared().join("out").join(&number));
        let code = self.wait_until(&format!("the guest to run: {shell}"), seconds, |_| {
            let text = fs::read_to_string(&rc).map_err(|_| {
                let so_far = fs::read(&out).unwrap_or_default();
                format!("no end of it after the words {:?}", String::from_utf8_lossy(&so_far))
            })?;
            text.trim().parse().map_err(|_| format!("the exit code {text:?}"))
        })?;
        let text = fs::read(&out).map_err(LabError::file("read", &out))?;
        Ok(Output { text: String::from_utf8_lossy(&text).into_owned(), code })
    }

    /// As [`Machine::run`], for a command that has to succeed; gives its words.
    ///
    /// # Errors
    /// Also when its exit code is not 0.
    pub fn must_run(&mut self, shell: &str, seconds: u64) -> Result<String, LabError> {
        let output = self.run(shell, seconds)?;
        if output.code == 0 {
            return Ok(output.text);
        }
        let found = format!("exit code {} after the words {:?}", output.code, output.text);
        Err(self.with_console(LabError::unexpected(format!("in the guest, {shell}"), "exit code 0", found)))
    }

    /// Gives the emulator a command: `device_del`, `qom-set`, `block_set_io_throttle` and the like.
    ///
    /// # Errors
    /// When it refuses.
    pub fn monitor(&mut self, name: &str, arguments: Value) -> Result<Value, LabError> {
        self.monitor.command(name, arguments)
    }

    /// Unplugs drives, one right after the other, as hands would or a supply that fails. SATA drives of the emulator stay.
    ///
    /// # Errors
    /// When there is no such drive, or the guest does not let go of it.
    pub fn unplug(&mut self, serials: &[&str]) -> Result<(), LabError> {
        for serial in serials {
            let id = self.spec.drives[self.number_of(serial)?].pulled_by();
            self.monitor("device_del", json!({ "id": id }))?;
        }
        for serial in serials {
            let id = self.spec.drives[self.number_of(serial)?].pulled_by();
            self.wait_until(&format!("{serial} to be out"), 60, |machine| {
                let plugged = machine.monitor("qom-list", json!({ "path": "/machine/peripheral" }));
                let plugged = plugged.map_err(|error| error.to_string())?;
                let is_in = plugged.as_array().into_iter().flatten().any(|device| device["name"] == json!(id));
                if is_in { Err(format!("{plugged}")) } else { Ok(()) }
            })?;
        }
        Ok(())
    }

    /// Plugs a drive in again where it was.
    ///
    /// # Errors
    /// When there is no such drive, or the emulator has it still.
    pub fn plug_in(&mut self, serial: &str) -> Result<(), LabError> {
        self.plugged_in += 1;
        let image = format!("again-{}", self.plugged_in);
        let plug = self.spec.plug(self.number_of(serial)?, self.folder.path(), &image);
        self.monitor_line(&format!("drive_add 0 {}", plug.file))?;
        plug.devices.iter().try_for_each(|device| self.monitor_line(&format!("device_add {device}")))
    }

    /// Gives the emulator a line in the words of its own command line.
    fn monitor_line(&mut self, line: &str) -> Result<(), LabError> {
        let answer = self.monitor("human-monitor-command", json!({ "command-line": line }))?;
        match answer.as_str().unwrap_or_default().trim() {
            "" | "OK" => Ok(()),
            refusal => Err(LabError::Monitor { command: line.into(), found: refusal.into() }),
        }
    }

    /// Lets a sector of a drive (of 512 bytes) be unreadable until the drive is next written to, wherever that is: as on a
    /// disk that puts another sector in its place. QEMU's block driver `blkdebug` comes between the drive and its file
    /// (`docs/devel/blkdebug.txt`, rules `inject-error` and `set-state`); a rule counts until another one does.
    ///
    /// # Errors
    /// When there is no such drive, or the emulator refuses.
    pub fn spoil_sector(&mut self, serial: &str, sector: u64) -> Result<(), LabError> {
        const ERRNO_IO: u32 = 5;
        let image = self.spec.drives[self.number_of(serial)?].image_name();
        let (bad, disk) = (format!("bad-{serial}"), disk_node(&image));
        const BEYOND_ANY_END: u64 = 1 << 50;
        let fails = |state: u32, sector: u64| json!({ "event": "read_aio", "iotype": "read", "state": state, "sector": sector, "errno": ERRNO_IO, "once": false });
        let mended = json!({ "event": "write_aio", "state": 1, "new_state": 2 });
        let spoilt = json!({
            "driver": "blkdebug", "node-name": bad, "image": file_node(&image),
            "inject-error": [fails(1, sector), fails(2, BEYOND_ANY_END)], "set-state": [mended],
        });
        self.monitor("blockdev-add", spoilt)?;
        let cache = json!({ "direct": false, "no-flush": true });
        let reopened = json!({ "driver": "raw", "node-name": disk, "file": bad, "cache": cache });
        self.monitor("blockdev-reopen", json!({ "options": [reopened] })).map(drop)
    }

    /// Lets a debugger in, see [`super::debugger`]; gives the socket that it listens on.
    ///
    /// # Errors
    /// When the emulator refuses.
    pub fn open_debugger(&mut self) -> Result<PathBuf, LabError> {
        let socket = self.folder.path().join("debugger");
        let line = format!("gdbserver unix:{},server=on,wait=off", socket.display());
        self.monitor("human-monitor-command", json!({ "command-line": line }))?;
        Ok(socket)
    }

    /// Pulls the network cable out, or puts it in.
    ///
    /// # Errors
    /// When the machine has no network port.
    pub fn put_cable(&mut self, is_in: bool) -> Result<(), LabError> {
        self.monitor("set_link", json!({ "name": CABLE, "up": is_in })).map(drop)
    }

    fn number_of(&self, serial: &str) -> Result<usize, LabError> {
        let found = self.spec.drives.iter().position(|drive| drive.serial() == serial);
        found.ok_or_else(|| LabError::unexpected("the machine", format!("a drive {serial}"), "none"))
    }

    /// Looks again and again until it is there; `look` may run commands in the machine.
    ///
    /// # Errors
    /// When the time is over, or the machine ends.
    pub fn wait_until<T, F: Display>(
        &mut self,
        what: &str,
        seconds: u64,
        mut look: impl FnMut(&mut Self) -> Result<T, F>,
    ) -> Result<T, LabError> {
        let outcome = wait::wait_until(what, seconds, || match (look(self), self.emulator.try_wait()) {
            (Ok(found), _) => Ok(Ok(found)),
            (Err(_), Ok(Some(status))) => {
                Ok(Err(LabError::MachineEnded { waited_for: what.into(), status: status.to_string() }))
            }
            (Err(found), _) => Err(found),
        });
        outcome.and_then(|found| found).map_err(|error| self.with_console(error))
    }

    /// The folder that the guest has as `/lab`.
    pub fn shared(&self) -> PathBuf {
        self.folder.path().join("lab")
    }

    /// Whether the guest runs udev; without it a lost drive is told by the kernel's events alone.
    pub fn has_udev(&self) -> bool {
        fs::read_to_string(self.shared().join("udev")).is_ok_and(|answer| answer.trim() == "yes")
    }

    fn with_console(&self, error: LabError) -> LabError {
        let text = fs::read(&self.console).unwrap_or_default();
        LabError::InMachine { error: Box::new(error), console: tail(&String::from_utf8_lossy(&text)) }
    }
}

impl Drop for Machine {
    fn drop(&mut self) {
        end(&mut self.emulator);
    }
}

/// Ends the emulator, which may have ended already; then there is nothing to do about either error.
fn end(emulator: &mut Child) {
    let _ = emulator.kill();
    let _ = emulator.wait();
}

fn tail(text: &str) -> String {
    let lines: Vec<&str> = text.lines().collect();
    lines[lines.len().saturating_sub(CONSOLE_TAIL_LINES)..].join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_is_the_last_lines_in_order() {
        let long: String = (1..=40).map(|n| format!("line {n}\n")).collect();
        let tail = tail(&long);
        assert!(tail.starts_with("line 16\n") && tail.ends_with("line 40"), "{tail}");
        assert_eq!(super::tail("only\n"), "only");
    }
}
