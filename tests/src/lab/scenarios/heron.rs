//! The box heron in a machine: four SATA trays in RAID 5 with a volume, an NVMe drive, a fan chip, a panel; and the real
//! program watching it.
//!
//! Not its job: what happens to it.
#![allow(clippy::disallowed_methods, reason = "the program's log and the panel's picture are files")]

use super::Bench;
use super::look::Look;
use crate::lab::error::LabError;
use crate::lab::glass;
use crate::lab::machine::{Drive, Machine, Spec};
use crate::lab::report::{Failed, Report};
use serde_json::Value;
use std::fs;
use std::path::Path;

const SET_UP: &str = include_str!("../../../lab/heron.sh");
const CONFIG: &str = include_str!("../../../lab/heron.toml");
/// The panel's memory, in bytes: 128 by 64 pixels.
const WHOLE_PICTURE: u64 = 1024;
const OPTIONS: &str = "--config /etc/traylight/heron.toml --run-dir /run/traylight";

/// The box, running.
pub struct Heron {
    /// Its machine.
    pub machine: Machine,
}

impl Heron {
    /// Boots the box and fits it out; nothing watches it yet.
    pub fn boot(bench: &Bench, report: &mut Report, scenario: &str) -> Result<Self, Failed> {
        let sata = |serial: &str| Drive::Sata { serial: serial.into(), rotation_rpm: 5400, size_mib: 96 };
        let nvme = Drive::Nvme { serial: "NVME-0".into(), size_mib: 64 };
        let drives = vec![sata("TRAY-A"), sata("TRAY-B"), sata("TRAY-C"), sata("TRAY-D"), nvme];
        let spec = Spec { name: scenario.into(), drives };
        let machine = report.step("the machine comes up", || Machine::boot(&spec, &bench.parts, &bench.keep))?;
        if !machine.has_udev() {
            report.note("udev is not installed on this computer: the guest runs without it");
        }
        let mut heron = Self { machine };
        report.step("the programs are brought in", || {
            heron.bring(&bench.traylight, "/usr/local/bin/traylight")?;
            heron.bring(&bench.pretend_i2c, "/usr/local/bin/pretend-i2c")
        })?;
        report.step("the box is fitted out: RAID 5, volume, fan chip, panel", || {
            heron.machine.must_run(SET_UP, 120).map(drop)
        })?;
        Ok(heron)
    }

    /// Starts the program and waits for its first picture.
    pub fn watch(&mut self, report: &mut Report) -> Result<(), Failed> {
        report.step("the program starts and the panel is sent a page", || {
            self.machine.must_run(
                &format!(
                    "mkdir -p /etc/traylight /run/traylight\n\
                     cat >/etc/traylight/heron.toml <<'END'\n{CONFIG}END\n\
                     (setsid sh -c 'echo $$ >/run/traylight.pid; exec traylight run {OPTIONS} --log json' \
                     >/lab/traylight.log 2>/lab/traylight.errors </dev/null; echo $? >/lab/traylight.code) &"
                ),
                30,
            )?;
            let bytes = self.machine.shared().join("panel/bytes");
            self.machine.wait_until("a whole picture on its way to the panel", 60, |machine| {
                let sent = fs::read_to_string(&bytes).unwrap_or_default();
                match sent.trim().parse::<u64>() {
                    Ok(sent) if sent >= WHOLE_PICTURE => Ok(()),
                    _ => Err(format!("{sent:?} bytes and the program's words {:?}", words_of_program(machine))),
                }
            })
        })
    }

    /// Asks the program for one reading.
    pub fn look(&mut self) -> Result<Look, LabError> {
        let output = self.machine.run(&format!("traylight look --json {OPTIONS} 2>/lab/look.errors"), 60)?;
        let errors = fs::read_to_string(self.machine.shared().join("look.errors")).unwrap_or_default();
        Look::of(&output, &errors)
    }

    /// Waits until the log has a line with these fields.
    pub fn wait_for_log(&mut self, seconds: u64, wanted: &[(&str, &str)]) -> Result<Value, LabError> {
        let log = self.machine.shared().join("traylight.log");
        self.machine.wait_until(&format!("a log line with {wanted:?}"), seconds, |_| {
            let text = fs::read_to_string(&log).unwrap_or_default();
            let line = text
                .lines()
                .filter_map(|line| serde_json::from_str::<Value>(line).ok())
                .find(|line| wanted.iter().all(|(key, value)| line[*key].as_str() == Some(*value)));
            line.ok_or_else(|| format!("the log {text:?}"))
        })
    }

    /// A number that the guest left in a file of the shared folder, once it is there.
    pub fn noted(&mut self, file: &str) -> Result<f64, LabError> {
        let path = self.machine.shared().join(file);
        self.machine.wait_until(&format!("the guest's note {file}"), 60, |_| {
            let text = fs::read_to_string(&path).unwrap_or_default();
            text.trim().parse().map_err(|_| format!("{text:?}"))
        })
    }

    /// Waits until these words stand on the panel.
    pub fn wait_for_words(&mut self, seconds: u64, words: &str) -> Result<(), LabError> {
        self.wait_for_panel(&format!("{words:?}"), seconds, |picture| glass::shows(picture, words))
    }

    /// What the panel was given that its datasheet does not explain.
    pub fn complaints(&self) -> String {
        fs::read_to_string(self.machine.shared().join("panel/complaints")).unwrap_or_default()
    }

    /// Ends the program as a supervisor would, and checks that it ended well and left nothing running.
    pub fn stop(&mut self, report: &mut Report) -> Result<(), Failed> {
        report.step("the program ends when told to, with exit code 0 and no process left", || {
            self.machine.must_run("kill -TERM $(cat /run/traylight.pid)", 30)?;
            let code = self.machine.shared().join("traylight.code");
            let found = self.machine.wait_until("the program's end", 30, |_| {
                fs::read_to_string(&code).map_err(|_| "no exit code").and_then(|code| match code.is_empty() {
                    true => Err("an unwritten exit code"),
                    false => Ok(code),
                })
            })?;
            if found.trim() != "0" {
                return Err(LabError::unexpected(
                    "the program's end",
                    "exit code 0",
                    format!("{found:?} and the words {:?}", words_of_program(&self.machine)),
                ));
            }
            let left = self.machine.run("pidof traylight", 30)?;
            if left.text.trim().is_empty() {
                Ok(())
            } else {
                Err(LabError::unexpected("after the program's end", "no process of it", left.text))
            }
        })
    }

    fn bring(&mut self, program: &Path, to: &str) -> Result<(), LabError> {
        let shared = self.machine.shared().join("brought");
        fs::copy(program, &shared).map_err(LabError::file("copy", program))?;
        self.machine.must_run(&format!("cp /lab/brought {to} && chmod 755 {to}"), 60).map(drop)
    }

    fn wait_for_panel(&mut self, what: &str, seconds: u64, is_it: impl Fn(&str) -> bool) -> Result<(), LabError> {
        let picture = self.machine.shared().join("panel/picture");
        self.machine.wait_until(&format!("{what} on the panel"), seconds, |_| {
            let picture = fs::read_to_string(&picture).unwrap_or_default();
            if is_it(&picture) { Ok(()) } else { Err(format!("the picture\n{picture}")) }
        })
    }
}

/// The program's log and what it said of errors.
fn words_of_program(machine: &Machine) -> String {
    ["traylight.log", "traylight.errors"]
        .map(|file| fs::read_to_string(machine.shared().join(file)).unwrap_or_default())
        .concat()
}
