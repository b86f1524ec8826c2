//! A hand pulls SATA drives out of a box that is on, as the kernel sees it: the link is down with nothing there, the kernel
//! looks for the drive some times more, gives it up and detaches it. While the pool lacks another drive it was the wrong
//! tray, idle and busy; the log's lines are the kernel's own.
//!
//! The emulator cannot pull a SATA drive. So the status that the guest's kernel reads of a SATA link is made to say that
//! nothing is there (`ahci_scr_read` in drivers/ata/libahci.c), and the kernel is asked to look at the port: all that follows
//! is its own.

use super::Bench;
use super::heron::{Fitting, Heron};
use crate::lab::debugger::Debugger;
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};

/// In this time the kernel has given up a drive that is not there, and it is told.
const TOLD_S: u64 = 120;

/// Two losses so far apart have two reasons.
const APART_S: u64 = 30;

/// Writes to the pool without a pause, past all caches.
const WRITES: &str =
    "(while :; do dd if=/dev/zero of=/srv/birdsong/song bs=64k count=16 oflag=direct conv=fsync || sleep 1
    done >/dev/null 2>&1 </dev/null) &";

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let idle = pulled(bench, report, "link_breaks_idle", "")?;
    let busy = pulled(bench, report, "link_breaks_busy", WRITES)?;
    [idle, busy].into_iter().collect()
}

/// The pool lacks the drive of tray 3 already, and then that of tray 2 is pulled.
fn pulled(bench: &Bench, report: &mut Report, name: &str, work: &str) -> Result<Result<(), Failed>, Failed> {
    let mut heron = Heron::boot(bench, report, name, Fitting::whole())?;
    heron.watch(report)?;
    report.step("the drive in tray 3 is taken away, and the log has it", || {
        heron.take_away("TRAY-C")?;
        heron.wait_for_log(TOLD_S, &[("event", "opened"), ("condition", "pool-degraded")]).map(drop)
    })?;
    report
        .step("time passes: two drives that go within ten seconds were dropped by something that both share", || {
            heron.shell(&format!("sleep {APART_S}"), 60).map(drop)
        })?;
    report.step("the links of SATA ports read as down, with nothing there", || break_links(&mut heron))?;
    report.step(
        &format!(
            "the port of tray 2 is looked at{}",
            if work.is_empty() { "" } else { ", while the pool is written to" }
        ),
        || {
            let look = "device=$(device_of TRAY-B); path=$(readlink -f \"/sys/block/${device##*/}\")\n\
                    host=${path#*/host}; host=host${host%%/*}\n\
                    echo '- - -' >\"/sys/class/scsi_host/$host/scan\"";
            heron.shell(&format!("{work}\n{look}"), 60).map(drop)
        },
    )?;
    let told = report.step("the log says that it was the wrong tray", || {
        let wanted = [("cause", "wrong-tray"), ("trays", "2")];
        heron.wait_for_log(TOLD_S, &wanted).map(drop)
    });
    let lines = report.step("the kernel gave it up before it detached it", || {
        let log = heron.machine.must_run("dmesg | grep -E 'ata[0-9]|sd [0-9]|md/raid' | tail -n 40", 30)?;
        let at = |words: &str| log.rfind(words);
        match (at("SATA link down (SStatus 0"), at("disable"), at("detaching (SCSI")) {
            (Some(down), Some(disabled), Some(detached)) if down < disabled && disabled < detached => Ok(log),
            _ => Err(LabError::unexpected("the kernel's log", "link down, disabled, detaching, in this order", log)),
        }
    })?;
    lines.lines().for_each(|line| report.note(line.trim_end()));
    let checks = [
        told,
        report.step("look: it must be put back, with the box off", || {
            let look = heron.look()?;
            let wrong = look.item("incidents", "cause", "wrong-tray")?;
            wrong.must_be("severity", "critical")?;
            wrong.must_be("handling", "put_back")?;
            wrong.must_be("handled_tray", "2")?;
            if wrong.text("do")?.contains("Shut the box down") {
                return Ok(());
            }
            Err(look.unexpected("incidents", "advice to shut the box down".into()))
        }),
        report.step("the panel says to switch off and to put it back", || heron.wait_for_words("OFF, TRAY 2 BACK")),
    ];
    heron.stop(report)?;
    Ok(checks.into_iter().collect())
}

/// From now on a look at the status of any SATA link finds nothing there. Links that are in order are not looked at.
fn break_links(heron: &mut Heron) -> Result<(), LabError> {
    let mut address = |name: &str| {
        let line = heron.machine.must_run(&format!("grep -w {name} /proc/kallsyms | head -n 1"), 30)?;
        let number = line.split_whitespace().next().and_then(|text| u64::from_str_radix(text, 16).ok());
        number.filter(|number| *number != 0).ok_or_else(|| LabError::unexpected(name, "its address", line))
    };
    // Nobody writes to the lights of a port, so there is room for a few instructions.
    let (reads, room) = (address("ahci_scr_read")?, address("ahci_led_store")?);
    let socket = heron.machine.open_debugger()?;
    let mut debugger = Debugger::connect(&socket)?;
    let begins = debugger.read(reads, 16)?;
    // Where the kernel's tracer leaves five bytes for a call of its own, after the mark of a place to jump to.
    const LEFT: [u8; 5] = [0x0F, 0x1F, 0x44, 0x00, 0x00];
    let Some(at) = begins.windows(LEFT.len()).position(|bytes| bytes == LEFT) else {
        debugger.let_go()?;
        return Err(LabError::unexpected(
            "the code of ahci_scr_read",
            format!("{LEFT:02x?}"),
            format!("{begins:02x?}"),
        ));
    };
    let jump = |from: u64, to: u64| {
        let mut code = vec![0xE9];
        code.extend((to.wrapping_sub(from + 5) as u32).to_le_bytes());
        code
    };
    // `if (sc_reg == SCR_STATUS) { *val = 0; return 0; }`: test esi,esi; jne +9; mov dword [rdx],0; xor eax,eax; ret.
    let mut code = vec![0x85, 0xF6, 0x75, 0x09, 0xC7, 0x02, 0, 0, 0, 0, 0x31, 0xC0, 0xC3];
    let (entry, back) = (reads + at as u64, room + code.len() as u64);
    code.extend(jump(back, entry + LEFT.len() as u64));
    debugger.write(room, &code)?;
    debugger.write(entry, &jump(entry, room))?;
    debugger.let_go()
}
