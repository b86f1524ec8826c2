//! The box heron in a machine, fitted out for a scenario, and the real program watching it.
//!
//! Not its job: what happens to it.
#![allow(clippy::disallowed_methods, reason = "the program's log and the panel's picture are files")]

use super::look::Look;
use super::{Bench, System};
use crate::lab::error::LabError;
use crate::lab::machine::Machine;
use crate::lab::panel;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::{Drive, Spec};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;

const PANEL: &str = include_str!("../../../lab/panel.sh");
/// Shell text that brings the function `device_of SERIAL`.
const DEVICES: &str = include_str!("../../../lab/devices.sh");
/// The panel's memory, in bytes: 128 by 64 pixels.
const WHOLE_PICTURE: u64 = 1024;
/// Lists the program's processes, and what each waits for; fails when there is none. The kernel has another name for the
/// probe, so both are known by their arguments. (The brackets keep `grep` from finding itself.)
const PROCESSES: &str = "ps -eo pid,ppid,stat,wchan:20,etime,args | grep -E '[t]raylight (run|probe)'";
/// By then all pages have had their turn, also on a slow computer.
const ALL_PAGES_S: u64 = 180;
/// What every command of the program is given.
pub const OPTIONS: &str = "--config /etc/traylight/heron.toml --run-dir /run/traylight";

/// What the box has in one scenario.
pub struct Fitting {
    /// What runs on it.
    pub system: System,
    /// Its drives, in the order of their ports.
    pub drives: Vec<Drive>,
    /// It has a network port, with a cable in it that leads nowhere.
    pub has_network: bool,
    /// Shell text that fits out the rest, but for the panel; it may ask `device_of SERIAL`.
    pub set_up: &'static str,
    /// What that text does, in a few words.
    pub about: &'static str,
    /// The program's configuration.
    pub config: &'static str,
}

impl Fitting {
    /// Drives of any kind that nothing uses yet.
    pub fn bare(drives: Vec<Drive>) -> Self {
        Self {
            system: System::Host,
            drives,
            has_network: false,
            set_up: include_str!("../../../lab/drives.sh"),
            about: "drivers of all kinds of drives",
            config: include_str!("../../../lab/drives.toml"),
        }
    }

    /// Four SATA trays in RAID 5 with a volume, an NVMe drive, and a fan chip.
    pub fn whole() -> Self {
        let sata = |serial: &str| Drive::Sata { serial: serial.into(), rotation_rpm: 5400, size_mib: 96 };
        let nvme = Drive::Nvme { serial: "NVME-0".into(), size_mib: 64 };
        Self {
            system: System::Host,
            drives: vec![sata("TRAY-A"), sata("TRAY-B"), sata("TRAY-C"), sata("TRAY-D"), nvme],
            has_network: false,
            set_up: concat!(include_str!("../../../lab/chips.sh"), include_str!("../../../lab/heron.sh")),
            about: "RAID 5, volume, fan chip",
            config: include_str!("../../../lab/heron.toml"),
        }
    }
}

/// The box, running.
pub struct Heron {
    /// Its machine.
    pub machine: Machine,
}

impl Heron {
    /// Boots the box and fits it out; nothing watches it yet.
    pub fn boot(bench: &Bench, report: &mut Report, scenario: &str, fitting: Fitting) -> Result<Self, Failed> {
        let (parts, memory_mib) = match (fitting.system, &bench.debian) {
            (System::Debian, Some(debian)) => (debian, 3072),
            _ => (&bench.parts, 1024),
        };
        let spec = Spec { name: scenario.into(), memory_mib, drives: fitting.drives, has_network: fitting.has_network };
        let wanted = spec.drives.len();
        let machine = report.step("the machine comes up", || Machine::boot(&spec, parts, &bench.keep))?;
        if !machine.has_udev() {
            report.note("udev is not installed on this computer: the guest runs without it");
        }
        let mut heron = Self { machine };
        report.step("the programs are brought in", || {
            heron.bring(&bench.traylight, "/usr/local/bin/traylight")?;
            heron.bring(&bench.pretend_i2c, "/usr/local/bin/pretend-i2c")?;
            let write =
                format!("mkdir -p /etc/traylight\ncat >/etc/traylight/heron.toml <<'END'\n{}END\n", fitting.config);
            heron.machine.must_run(&write, 30).map(drop)
        })?;
        report.step(&format!("the box is fitted out: {}, panel", fitting.about), || {
            heron.shell(fitting.set_up, 120)?;
            heron.wait_for_drives(wanted)?;
            heron.machine.must_run(PANEL, 60).map(drop)
        })?;
        Ok(heron)
    }

    /// Starts the program and waits for its first picture.
    pub fn watch(&mut self, report: &mut Report) -> Result<(), Failed> {
        report.step("the program starts and the panel is sent a page", || {
            let before = sent_to_panel(&self.machine);
            self.machine.must_run(
                &format!(
                    "mkdir -p /run/traylight; rm -f /lab/traylight.code\n\
                     (setsid sh -c 'echo $$ >/run/traylight.pid; exec traylight run {OPTIONS} --log json' \
                     >/lab/traylight.log 2>/lab/traylight.errors </dev/null; echo $? >/lab/traylight.code) &"
                ),
                30,
            )?;
            self.machine.wait_until("a whole picture on its way to the panel", 60, |machine| {
                let sent = sent_to_panel(machine) - before;
                if sent >= WHOLE_PICTURE {
                    return Ok(());
                }
                Err(format!("{sent} bytes and the program's words {:?}", words_of_program(machine)))
            })
        })
    }

    /// Runs shell text that may ask `device_of SERIAL`, and gives its words.
    pub fn shell(&mut self, text: &str, seconds: u64) -> Result<String, LabError> {
        self.machine.must_run(&format!("{DEVICES}\n{text}"), seconds)
    }

    /// Takes a drive away as the kernel does when it is pulled out: with its files, and with the same events.
    pub fn take_away(&mut self, serial: &str) -> Result<(), LabError> {
        let take = format!("device=$(device_of {serial}) && echo 1 >\"/sys/block/${{device##*/}}/device/delete\"");
        self.shell(&take, 60).map(drop)
    }

    /// Waits until the guest's kernel has so many drives, and udev knows them. USB drives take a while to appear.
    pub fn wait_for_drives(&mut self, wanted: usize) -> Result<(), LabError> {
        let count = "ls -d /sys/block/sd* /sys/block/nvme* 2>/dev/null | wc -l; ! command -v udevadm >/dev/null || udevadm settle";
        self.machine.wait_until(&format!("{wanted} drives"), 60, |machine| {
            let found = machine.must_run(count, 60).map_err(|error| error.to_string())?;
            if found.trim() == wanted.to_string() { Ok(()) } else { Err(found) }
        })
    }

    /// Asks the program for one reading.
    pub fn look(&mut self) -> Result<Look, LabError> {
        look(&mut self.machine, "")
    }

    /// As [`Heron::look`], with words before the command, such as those that trace it.
    pub fn look_under(&mut self, words: &str) -> Result<Look, LabError> {
        look(&mut self.machine, words)
    }

    /// Asks again and again until a reading passes the check; what the check gives.
    pub fn wait_for_look<T>(
        &mut self,
        what: &str,
        seconds: u64,
        check: impl Fn(&Look) -> Result<T, LabError>,
    ) -> Result<T, LabError> {
        self.machine.wait_until(what, seconds, |machine| check(&look(machine, "")?))
    }

    /// Has somebody read a drive for as long as the machine runs. The emulator sets the pace: the reader is never done
    /// early and the traffic never pauses, however busy this computer is.
    pub fn use_drive(&mut self, look: &Look, serial: &str) -> Result<(), LabError> {
        const BLOCK_BYTES: u32 = 4096;
        const BLOCKS_A_SECOND: u32 = 20;
        self.throttle(serial, BLOCKS_A_SECOND * BLOCK_BYTES / 512)?;
        let device = look.item("drives", "serial", serial)?.device()?;
        let read = format!("dd if={device} of=/dev/null bs={BLOCK_BYTES} iflag=direct");
        let always = format!("(setsid sh -c 'while :; do {read}; done' >/dev/null 2>&1 </dev/null) &");
        self.machine.must_run(&always, 30).map(drop)
    }

    /// How many sectors of 512 bytes a second the emulator reads or writes for a drive; 0 is as many as it can.
    pub fn throttle(&mut self, serial: &str, sectors: u32) -> Result<(), LabError> {
        let mut arguments = json!({ "bps": 0, "bps_rd": 0, "bps_wr": 0, "iops_rd": 0, "iops_wr": 0, "iops": sectors });
        // By its image: a USB drive is several devices to the emulator, and the one with the serial has none.
        arguments["device"] = json!(format!("image-{serial}"));
        if sectors > 0 {
            arguments["iops_size"] = json!(512);
        }
        self.machine.monitor("block_set_io_throttle", arguments).map(drop)
    }

    /// Waits until the log has a line with these fields.
    pub fn wait_for_log(&mut self, seconds: u64, wanted: &[(&str, &str)]) -> Result<Value, LabError> {
        let log = self.machine.shared().join("traylight.log");
        self.machine.wait_until(&format!("a log line with {wanted:?}"), seconds, |_| {
            let text = fs::read_to_string(&log).unwrap_or_default();
            find(&text, wanted).ok_or_else(|| format!("the log {text:?}"))
        })
    }

    /// Whether the log, which begins anew with the program, has no line with these fields.
    pub fn must_not_log(&self, unwanted: &[(&str, &str)]) -> Result<(), LabError> {
        let log = self.machine.shared().join("traylight.log");
        let text = fs::read_to_string(&log).map_err(LabError::file("read", &log))?;
        match find(&text, unwanted) {
            None => Ok(()),
            Some(line) => Err(LabError::unexpected("the log", format!("no line with {unwanted:?}"), line.to_string())),
        }
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
    pub fn wait_for_words(&mut self, words: &str) -> Result<(), LabError> {
        self.wait_for_panel(&format!("{words:?}"), |picture| panel::shows(picture, words))
    }

    /// Waits until a title stands on the panel, in one line or in two.
    pub fn wait_for_title(&mut self, title: &str) -> Result<(), LabError> {
        self.wait_for_panel(&format!("{title:?}"), |picture| {
            let mut breaks = title.match_indices(' ').map(|(at, _)| (&title[..at], &title[at + 1..]));
            let in_two = |(first, second)| panel::shows(picture, first) && panel::shows(picture, second);
            panel::shows(picture, title) || breaks.any(in_two)
        })
    }

    /// What the panel was given that its datasheet does not explain.
    pub fn complaints(&self) -> String {
        fs::read_to_string(self.machine.shared().join("panel/complaints")).unwrap_or_default()
    }

    /// Ends the program as a supervisor would, and checks that it ended well and left nothing running.
    pub fn stop(&mut self, report: &mut Report) -> Result<(), Failed> {
        report.step("the program ends when told to, with exit code 0 and no process left", || {
            let alive = self.machine.run(PROCESSES, 30)?;
            if !["traylight run", "traylight probe"].into_iter().all(|process| alive.text.contains(process)) {
                return Err(LabError::unexpected("before its end", "the core and its probe", alive.text));
            }
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
            self.wait_for_no_process()
        })
    }

    /// Ends the core as a crash would, and checks that its probe goes, too.
    pub fn crash(&mut self, report: &mut Report) -> Result<(), Failed> {
        report.step("the program crashes, and leaves no process", || {
            self.machine.must_run("kill -KILL $(cat /run/traylight.pid)", 30)?;
            self.wait_for_no_process()
        })
    }

    fn wait_for_no_process(&mut self) -> Result<(), LabError> {
        // One that was killed may take a moment to go.
        self.machine.wait_until("the program's processes to go", 10, |machine| {
            let left = machine.run(PROCESSES, 30)?;
            if left.code == 0 { Err(LabError::unexpected("after its end", "no process", left.text)) } else { Ok(()) }
        })
    }

    fn bring(&mut self, program: &Path, to: &str) -> Result<(), LabError> {
        let shared = self.machine.shared().join("brought");
        fs::copy(program, &shared).map_err(LabError::file("copy", program))?;
        self.machine.must_run(&format!("cp /lab/brought {to} && chmod 755 {to}"), 60).map(drop)
    }

    fn wait_for_panel(&mut self, what: &str, is_it: impl Fn(&str) -> bool) -> Result<(), LabError> {
        let picture = self.machine.shared().join("panel/picture");
        self.machine.wait_until(&format!("{what} on the panel"), ALL_PAGES_S, |_| {
            let picture = fs::read_to_string(&picture).unwrap_or_default();
            if is_it(&picture) { Ok(()) } else { Err(format!("the picture\n{picture}")) }
        })
    }
}

/// One reading, with words before the command.
pub fn look(machine: &mut Machine, before: &str) -> Result<Look, LabError> {
    let output = machine.run(&format!("{before} traylight look --json {OPTIONS} 2>/lab/look.errors"), 60)?;
    let errors = fs::read_to_string(machine.shared().join("look.errors")).unwrap_or_default();
    Look::of(&output, &errors)
}

/// The first of these JSON lines that has these fields.
fn find(log: &str, wanted: &[(&str, &str)]) -> Option<Value> {
    log.lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .find(|line| wanted.iter().all(|(key, value)| line[*key].as_str() == Some(*value)))
}

/// How many bytes the panel has taken since it was plugged in.
fn sent_to_panel(machine: &Machine) -> u64 {
    let sent = fs::read_to_string(machine.shared().join("panel/bytes")).unwrap_or_default();
    sent.trim().parse().unwrap_or(0)
}

/// The program's log and what it said of errors.
fn words_of_program(machine: &Machine) -> String {
    ["traylight.log", "traylight.errors"]
        .map(|file| fs::read_to_string(machine.shared().join(file)).unwrap_or_default())
        .concat()
}
