//! A SCSI drive is stopped by its owner, and the program lets it sleep: all that it ever asks such a drive is whether it
//! still sleeps.

use super::Bench;
use super::heron::{Fitting, Heron};
use crate::lab::error::LabError;
use crate::lab::machine::Machine;
use crate::lab::report::{Failed, Report};

/// The kernel's own SCSI drive really stops, and with `opts=1` it writes every command that it gets into the kernel's log
/// (drivers/scsi/scsi_debug.c). A device that was open for writing is read by udev when it is closed, which would start
/// the drive: hence `--readonly`.
const STOP: &str = "
modprobe scsi_debug dev_size_mb=32 opts=1
! command -v udevadm >/dev/null || udevadm settle
sg_start --readonly --stop $(ls -d /sys/block/sd* | sed s:/sys/block:/dev:)
dmesg --clear
";
const START: &str = "sg_start --start $(ls -d /sys/block/sd* | sed s:/sys/block:/dev:)";
/// REQUEST SENSE, which is answered without the drive being started (SPC-4, 6.39).
const REQUEST_SENSE: &str = "03";
/// LOG SENSE (SPC-4, 6.8, from memory).
const LOG_SENSE: &str = "4d";
/// One question of the single reading, and two of the program that watches, which asks once a minute.
const QUESTIONS: usize = 3;

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let mut heron = Heron::boot(bench, report, "stopped_drive_left_alone", Fitting::bare(Vec::new()))?;
    report.step("a drive is stopped", || heron.machine.must_run(STOP, 60).map(drop))?;
    let mut checks = vec![report.step("one reading says that it sleeps, and nothing is wrong", || {
        let look = heron.look()?;
        let drive = look.item("drives", "model", "scsi_debug")?;
        drive.must_be("power", "asleep")?;
        drive.must_be_missing("temperature_c", "asleep")?;
        drive.must_be_missing("assessment", "asleep")?;
        look.must_exit_with(0)
    })];

    heron.watch(report)?;
    report.step("the program asks it, and a minute later again", || {
        heron.machine.wait_until(&format!("{QUESTIONS} commands to the drive"), 180, |machine| {
            let heard = heard(machine)?;
            if heard.len() >= QUESTIONS {
                Ok(())
            } else {
                Err(LabError::unexpected("the drive", "more", heard.join(" ")))
            }
        })
    })?;
    checks.push(
        report.step("all that it was asked is whether it sleeps", || must_only_be_asked(&heard(&mut heron.machine)?)),
    );
    checks.push(report.step("it still stands still, and the program says so", || {
        let sense = heron.machine.must_run("sg_requests $(ls -d /sys/block/sd* | sed s:/sys/block:/dev:)", 60)?;
        if !sense.contains("initializing command required") {
            return Err(LabError::unexpected("sg_requests", "a stopped drive", sense));
        }
        let look = heron.look()?;
        look.item("drives", "model", "scsi_debug")?.must_be("power", "asleep")?;
        look.must_exit_with(0)
    }));
    report.step("its owner starts it", || heron.machine.must_run(START, 60).map(drop))?;
    checks.push(report.step("it is awake, and tells its temperature and health", || {
        heron.wait_for_look("the drive to be awake", 120, |look| {
            let drive = look.item("drives", "model", "scsi_debug")?;
            drive.must_be("power", "active")?;
            drive.must_be("assessment", "passed")?;
            drive.must_be_between("temperature_c", 38.0, 38.0)
        })
    }));
    checks.push(report.step("now it was asked for its logs: the kernel's log would have shown that before", || {
        let heard = heard(&mut heron.machine)?;
        if heard.iter().any(|code| code == LOG_SENSE) {
            return Ok(());
        }
        Err(LabError::unexpected("the drive's commands", format!("{LOG_SENSE} among them"), heard.join(" ")))
    }));
    heron.stop(report)?;
    checks.into_iter().collect()
}

/// The operation codes of the commands that the drive got, in order.
fn heard(machine: &mut Machine) -> Result<Vec<String>, LabError> {
    let log = machine.must_run("dmesg", 60)?;
    let code =
        |line: &str| line.split_once("scsi_debug: tag=")?.1.split_once("cmd ")?.1.split(' ').next().map(String::from);
    Ok(log.lines().filter_map(code).collect())
}

fn must_only_be_asked(heard: &[String]) -> Result<(), LabError> {
    if heard.iter().all(|code| code == REQUEST_SENSE) {
        return Ok(());
    }
    Err(LabError::unexpected("the drive's commands", format!("{REQUEST_SENSE} only"), heard.join(" ")))
}
