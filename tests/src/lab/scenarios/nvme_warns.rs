//! An NVMe drive raises its critical warnings, one after the other, and the next reading tells which of them are
//! serious; then the program watches it. The bits: NVMe 1.4, figure 194.

use super::Bench;
use super::heron::{Fitting, Heron};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;
use serde_json::json;

const UNRELIABLE: u8 = 1 << 2;
/// The bits, what they say, and what the drive thinks of itself then. Heat is judged by itself, in degrees.
const WARNINGS: [(u8, &str, &str); 5] = [
    (UNRELIABLE, "its data is no longer reliable", "failing"),
    (1 << 0, "its spare is low", "failing"),
    (1 << 3, "it only reads", "failing"),
    (1 << 1, "it is too warm or too cold", "passed"),
    (0, "nothing any more", "passed"),
];

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let drives = vec![Drive::Nvme { serial: "NVME-0".into(), size_mib: 64 }];
    let mut heron = Heron::boot(bench, report, "nvme_warns", Fitting::bare(drives))?;
    let mut checks = vec![report.step("at first it says passed, and nothing is wrong", || {
        let look = heron.look()?;
        look.item("drives", "serial", "NVME-0")?.must_be("assessment", "passed")?;
        look.must_exit_with(0)
    })];
    for (bits, about, assessment) in WARNINGS {
        checks.push(report.step(&format!("it warns: {about}; a reading says {assessment}"), || {
            warn(&mut heron, bits)?;
            let look = heron.look()?;
            look.item("drives", "serial", "NVME-0")?.must_be("assessment", assessment)?;
            look.must_exit_with(if assessment == "failing" { 20 } else { 0 })
        }));
    }

    report.step("it warns again, before the program starts to watch", || warn(&mut heron, UNRELIABLE))?;
    heron.watch(report)?;
    // Two readings must agree, and they are a minute apart.
    checks.push(report.step("the log says that the drive says it is failing, and that this is critical", || {
        let wanted = [("event", "opened"), ("condition", "drive-health-failed"), ("severity", "critical")];
        heron.wait_for_log(180, &wanted).map(drop)
    }));
    checks.push(report.step("the panel says CRITICAL", || heron.wait_for_words("CRITICAL")));
    checks.push(report.step("look: a critical condition is open, exit code 20", || heron.look()?.must_exit_with(20)));
    heron.stop(report)?;
    checks.into_iter().collect()
}

/// Raises these warnings and no others. What a general utility hears is the outside judge of whether they are up at all.
fn warn(heron: &mut Heron, bits: u8) -> Result<(), LabError> {
    let set = json!({ "path": "/machine/peripheral/NVME-0", "property": "smart_critical_warning", "value": bits });
    heron.machine.monitor("qom-set", set)?;
    let heard = heron.machine.must_run("nvme smart-log -o json /dev/nvme0", 60)?;
    let wanted = format!("\"critical_warning\":{bits},");
    if heard.contains(&wanted) { Ok(()) } else { Err(LabError::unexpected("nvme smart-log", wanted, heard)) }
}
