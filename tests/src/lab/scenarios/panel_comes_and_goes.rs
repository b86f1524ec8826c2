//! The panel is unplugged, plugged in again and loses its power for a moment; then the program crashes, and what is run
//! after that leaves on the panel that the box is not monitored.
#![allow(clippy::disallowed_methods, reason = "the pretend panel is steered through files")]

use super::Bench;
use super::heron::{Fitting, Heron, OPTIONS};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;
use std::fs;

/// A lost panel is tried again every few seconds, and one that lost its power is set up again as often; the machine is slow.
const AGAIN_S: u64 = 180;

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let drives = vec![Drive::Nvme { serial: "NVME-0".into(), size_mib: 64 }];
    let mut heron = Heron::boot(bench, report, "panel_comes_and_goes", Fitting::bare(drives))?;
    heron.watch(report)?;
    let mut checks = vec![report.step("the panel says OK", || heron.wait_for_words("OK"))];

    report.step("the panel is unplugged", || put(&heron, "unplugged"))?;
    checks
        .push(report.step("the log says that it is lost", || {
            heron.wait_for_log(AGAIN_S, &[("event", "panel-lost")]).map(drop)
        }));
    checks.push(report.step("the drives are watched all the same", || heron.look()?.must_exit_with(0)));
    report.step("it is plugged in again, as fresh from the box", || take_away(&heron, "unplugged"))?;
    checks.push(report.step("the panel says OK again", || heron.wait_for_words("OK")));

    checks.push(report.step("the panel understood everything that it was sent", || match heron.complaints() {
        none if none.is_empty() => Ok(()),
        complaints => Err(LabError::unexpected("the panel", "no complaint", complaints)),
    }));

    // Until it is set up anew it is sent changes that mean something else to it: nobody has told that it forgot.
    report.step("its power fails for a moment: the panel is dark, and its memory is noise", || {
        put(&heron, "powercycle")?;
        let picture = heron.machine.shared().join("panel/picture");
        heron.machine.wait_until("a dark panel", AGAIN_S, |_| {
            let seen = fs::read_to_string(&picture).unwrap_or_default();
            if seen.trim().is_empty() { Ok(()) } else { Err(seen) }
        })
    })?;
    checks.push(report.step("nobody has told, and the panel says OK again", || heron.wait_for_words("OK")));

    heron.crash(report)?;
    checks.push(report.step(
        "the last picture would pass for a live one: what is run after a crash says STOPPED",
        || {
            heron.machine.must_run(&format!("traylight panel --stopped {}", config()), 60)?;
            heron.wait_for_words("STOPPED")
        },
    ));
    checks.into_iter().collect()
}

/// The options for the configuration alone.
fn config() -> &'static str {
    OPTIONS.split(" --run-dir").next().unwrap_or(OPTIONS)
}

fn put(heron: &Heron, name: &str) -> Result<(), LabError> {
    let file = heron.machine.shared().join("panel").join(name);
    fs::write(&file, "").map_err(LabError::file("write", &file))
}

fn take_away(heron: &Heron, name: &str) -> Result<(), LabError> {
    let file = heron.machine.shared().join("panel").join(name);
    fs::remove_file(&file).map_err(LabError::file("remove", &file))
}
