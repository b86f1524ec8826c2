//! Drives of all kinds say how they are, and general utilities hear the same: every value of the document that a utility
//! can tell as well is compared with it.

use super::Bench;
use super::cost::{TRACE, TRACED, costs};
use super::heron::{Fitting, Heron};
use super::look::{Item, Look};
use super::utilities::{self, Heard};
use crate::lab::error::LabError;
use crate::lab::machine::Machine;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;
use serde_json::Value;

/// Every drive's serial, and which utilities hear it. The last is the kernel's own pretended SAS drive.
const DRIVES: [(&str, Listen); 7] = [
    ("TRAY-A", utilities::sata),
    ("TRAY-B", utilities::sata),
    ("NVME-0", utilities::nvme),
    ("USB-BOT", utilities::usb),
    ("USB-UAS", utilities::usb),
    ("SCSI-V", utilities::scsi),
    (PRETENDED, utilities::scsi),
];
type Listen = fn(&mut Machine, &str) -> Result<Vec<Heard>, LabError>;

/// The driver makes its serials from the number of its host, which hangs on the order in which drivers were loaded; so
/// this one is found by its model.
const PRETENDED: &str = "scsi_debug";

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let sata = |serial: &str| Drive::Sata { serial: serial.into(), rotation_rpm: 5400, size_mib: 96 };
    let usb = |serial: &str, by_uas| Drive::Usb { serial: serial.into(), by_uas, size_mib: 64 };
    let fitting = Fitting::bare(vec![
        sata("TRAY-A"),
        sata("TRAY-B"),
        Drive::Nvme { serial: "NVME-0".into(), size_mib: 64 },
        usb("USB-BOT", false),
        usb("USB-UAS", true),
        Drive::Scsi { serial: "SCSI-V".into(), size_mib: 64 },
    ]);
    let mut heron = Heron::boot(bench, report, "drives_speak", fitting)?;
    report.step("the kernel pretends a SAS drive", || {
        heron.machine.must_run("modprobe scsi_debug dev_size_mb=32", 60)?;
        heron.wait_for_drives(DRIVES.len())
    })?;

    let look = report.step("one reading is a JSON document", || heron.look())?;
    let mut checks = known(report, &look).to_vec();
    let (mut compared, mut absent) = (0, 0);
    for (name, listen) in DRIVES {
        checks.push(report.step(&format!("{name}: utilities hear the same"), || {
            let drive = drive(&look, name)?;
            let heard = listen(&mut heron.machine, &drive.device()?)?;
            let nothing = heard.iter().filter(|heard| heard.value.is_null()).count();
            compared += heard.len() - nothing;
            absent += nothing;
            must_agree(name, &drive, &heard)
        }));
    }
    report.note(&format!(
        "{compared} values were compared with what utilities heard, and {absent} that drives must not be said to tell"
    ));
    checks.push(tell_costs(report, &mut heron));

    heron.watch(report)?;
    report.step("somebody uses the USB drives", || {
        ["USB-BOT", "USB-UAS"].into_iter().try_for_each(|serial| heron.use_drive(&look, serial))
    })?;
    checks.push(report.step("USB drives: a utility gets no ATA command through their adapters", || {
        ["USB-BOT", "USB-UAS"].into_iter().try_for_each(|serial| {
            let device = look.item("drives", "serial", serial)?.device()?;
            let heard = heron.machine.run(&format!("sg_sat_identify {device} 2>&1"), 60)?;
            if heard.code != 0 { Ok(()) } else { Err(LabError::unexpected(serial, "a refusal", heard.text)) }
        })
    }));
    checks.push(report.step("USB drives: once they are used they are asked, and their adapters pass nothing", || {
        heron.wait_for_look("USB drives whose power has a reason to be missing", 150, |look| {
            ["USB-BOT", "USB-UAS"]
                .into_iter()
                .try_for_each(|serial| look.item("drives", "serial", serial)?.must_be_missing("power", "not-supported"))
        })
    }));
    heron.stop(report)?;
    checks.into_iter().collect()
}

/// What is known beforehand of the emulated drives: QEMU's table of attributes (hw/ide/core.c), its health log
/// (hw/nvme/ctrl.c), and the log pages in the kernel's drivers/scsi/scsi_debug.c.
fn known(report: &mut Report, look: &Look) -> [Result<(), Failed>; 4] {
    [
        report.step("SATA: awake, 31 degrees, passed, its attributes, no self-test ever", || {
            for serial in ["TRAY-A", "TRAY-B"] {
                let drive = look.item("drives", "serial", serial)?;
                for (key, wanted) in [
                    ("bus", "sata"),
                    ("kind", "hdd"),
                    ("power", "active"),
                    ("assessment", "passed"),
                    ("self_test", "never"),
                ] {
                    drive.must_be(key, wanted)?;
                }
                drive.must_be_between("temperature_c", 31.0, 31.0)?;
                drive.must_be_between("health_age_s", 0.0, 30.0)?;
                must_be_counters(
                    &drive,
                    &[
                        ("airflow_temperature_c", 31),
                        ("power_cycles", 0),
                        ("power_on_hours", 1),
                        ("reallocated_sectors", 0),
                        ("start_stop_cycles", 100),
                    ],
                )?;
            }
            Ok(())
        }),
        report.step("NVMe: awake, 50 degrees (323 K, by the usage of makers), passed", || {
            let drive = look.item("drives", "serial", "NVME-0")?;
            drive.must_be("power", "active")?;
            drive.must_be("assessment", "passed")?;
            drive.must_be_between("temperature_c", 50.0, 50.0)?;
            drive.must_be_missing("self_test", "not-supported")
        }),
        report.step("SAS: awake, 38 degrees, passed", || {
            let drive = drive(look, PRETENDED)?;
            drive.must_be("power", "active")?;
            drive.must_be("assessment", "passed")?;
            drive.must_be_between("temperature_c", 38.0, 38.0)
        }),
        report.step("drives that cannot tell have a reason: USB not used yet, SCSI without logs", || {
            for serial in ["USB-BOT", "USB-UAS"] {
                let drive = look.item("drives", "serial", serial)?;
                drive.must_be_missing("power", "adapter-unknown")?;
                drive.must_be_missing("temperature_c", "not-read")?;
                drive.must_be_missing("assessment", "not-read")?;
            }
            let drive = look.item("drives", "serial", "SCSI-V")?;
            drive.must_be("power", "active")?;
            drive.must_be_missing("temperature_c", "not-supported")?;
            drive.must_be_missing("assessment", "not-supported")
        }),
    ]
}

fn drive<'a>(look: &'a Look, name: &str) -> Result<Item<'a>, LabError> {
    let key = if name == PRETENDED { "model" } else { "serial" };
    look.item("drives", key, name)
}

/// Whether the drive has these counters and no others.
fn must_be_counters(drive: &Item<'_>, wanted: &[(&str, i64)]) -> Result<(), LabError> {
    let found = drive.value("/counters");
    let wanted: Value = wanted.iter().map(|(name, count)| (name.to_string(), Value::from(*count))).collect();
    if found == wanted { Ok(()) } else { Err(LabError::unexpected("counters", wanted.to_string(), found.to_string())) }
}

/// Whether everything that was heard stands in the document; all differences at once.
fn must_agree(name: &str, drive: &Item<'_>, heard: &[Heard]) -> Result<(), LabError> {
    let differ = |heard: &&Heard| {
        let own = drive.value(heard.field);
        match (own.as_f64(), heard.value.as_f64()) {
            (Some(own), Some(theirs)) => (own - theirs).abs() > 0.001,
            _ => own != heard.value,
        }
    };
    let line = |heard: &Heard| format!("{} is {} to {}", heard.field, heard.value, heard.by);
    let (wanted, found): (Vec<_>, Vec<_>) = heard
        .iter()
        .filter(differ)
        .map(|heard| (line(heard), format!("{} is {}", heard.field, drive.value(heard.field))))
        .unzip();
    if wanted.is_empty() { Ok(()) } else { Err(LabError::unexpected(name, wanted.join("; "), found.join("; "))) }
}

/// Reads once more under a tracer, and notes what that cost each drive.
fn tell_costs(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let found = report.step("what one full reading costs the drives is counted", || {
        let look = heron.look_under(TRACED)?;
        let costs = costs(&heron.machine.must_run(TRACE, 60)?);
        let mut lines = Vec::new();
        for (name, _) in DRIVES {
            let device = drive(&look, name)?.device()?;
            // An NVMe drive is asked through its controller.
            let cost = costs.get(device.trim_end_matches("n1"));
            lines.push(format!("{name}: {}", cost.map_or("not asked".into(), ToString::to_string)));
        }
        Ok(lines)
    })?;
    report.note("one full reading, traced in this machine:");
    found.iter().for_each(|line| report.note(line));
    Ok(())
}
