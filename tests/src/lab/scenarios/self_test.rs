//! A drive tests itself when its owner says so; a sleeping one and one that cannot are left alone. The drives of QEMU end
//! a test in the moment that it begins and put it on their record (hw/ide/core.c, `cmd_smart`).

use super::Bench;
use super::heron::{Fitting, Heron};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;

/// SMART READ LOG, 06h, by a general tool: the number of the newest test (byte 508), then its subcommand, status and
/// hours (bytes 2 to 5).
const RECORD: &str = r#"
for block in /sys/block/sd*; do
    grep -qa TRAY-B "$block/device/vpd_pg80" || continue
    sg_raw -o /lab/record -r 512 "/dev/${block##*/}" 85 08 0e 00 d5 00 01 00 06 00 4f 00 c2 00 b0 00 >/dev/null 2>&1
    od -An -tx1 -j508 -N1 /lab/record
    od -An -tx1 -j2 -N4 /lab/record
    exit
done
exit 1
"#;

/// The kernel's own pretend SCSI drive, stopped; its serial is told. A device that was open for writing is read by udev
/// when it is closed, which would start the drive: hence `--readonly`.
const ASLEEP: &str = r#"
modprobe scsi_debug dev_size_mb=16 inq_product=SLEEPER || exit 1
! command -v udevadm >/dev/null || udevadm settle
for block in /sys/block/sd*; do
    grep -q SLEEPER "$block/device/model" || continue
    sg_start --readonly --stop "/dev/${block##*/}" && tr -cd 'A-Za-z0-9' <"$block/device/vpd_pg80"
    exit
done
exit 1
"#;

/// TEST UNIT READY by a general tool: exit code 2 is "not ready" (sg3_utils(8)).
const STILL_ASLEEP: &str = r#"
for block in /sys/block/sd*; do
    grep -q SLEEPER "$block/device/model" || continue
    sg_turs "/dev/${block##*/}"
    test $? -eq 2
    exit
done
exit 1
"#;

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let sata = Drive::Sata { serial: "TRAY-B".into(), rotation_rpm: 5400, size_mib: 16 };
    let nvme = Drive::Nvme { serial: "NVME-0".into(), size_mib: 16 };
    let mut heron = Heron::boot(bench, report, "self_test", Fitting::bare(vec![sata, nvme]))?;
    let checks = [
        report.step("before, the drive has no test on its record", || record(&mut heron, "00")),
        report.step("without a terminal and without --yes nothing begins, exit code 2", || {
            ask(&mut heron, "short TRAY-B", 2, "wanted one, or --yes")
        }),
        report.step("a name that means nothing is answered with what there is, exit code 1", || {
            ask(&mut heron, "short Z9 --yes", 1, "serial ..AY-B")
        }),
        report.step("a drive that offers no self-tests is refused, exit code 1", || {
            ask(&mut heron, "short NVME-0 --yes", 1, "it tells nothing of self-tests")
        }),
        report.step("nothing has begun so far", || record(&mut heron, "00")),
        report.step("the owner lets a drive test itself: it passes, exit code 0", || {
            ask(&mut heron, "short TRAY-B --yes", 0, "Its self-test is over: passed")
        }),
        report.step("a general tool finds the short test on its record", || record(&mut heron, "01\n 01 00 34 12")),
        report.step("there is nothing to stop, exit code 1", || ask(&mut heron, "stop TRAY-B", 1, "no self-test runs")),
        report.step("a sleeping drive is left asleep, exit code 1", || {
            let serial = heron.machine.must_run(ASLEEP, 60)?;
            ask(&mut heron, &format!("short {} --yes", serial.trim()), 1, "it sleeps; a self-test would wake it")?;
            heron.machine.must_run(STILL_ASLEEP, 60).map(drop)
        }),
    ];
    checks.into_iter().collect()
}

/// Asks for a self-test, and checks the exit code and some of the words.
fn ask(heron: &mut Heron, wish: &str, code: i32, words: &str) -> Result<(), LabError> {
    let output = heron.machine.run(&format!("traylight self-test {wish} </dev/null 2>&1"), 120)?;
    if output.code == code && output.text.contains(words) {
        return Ok(());
    }
    let wanted = format!("exit code {code} and the words {words:?}");
    Err(LabError::unexpected(format!("self-test {wish}"), wanted, format!("{output:?}")))
}

/// Checks the record of the drive: how many tests, and the newest.
fn record(heron: &mut Heron, wanted: &str) -> Result<(), LabError> {
    let found = heron.machine.must_run(RECORD, 60)?;
    if found.trim().starts_with(wanted) {
        return Ok(());
    }
    Err(LabError::unexpected("the record of TRAY-B", wanted, found))
}
