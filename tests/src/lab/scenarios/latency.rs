//! How long it takes from a fault to the log and to the panel: a pool loses one drive after the other, and each time gets
//! it back. What comes of it is told, not judged: an emulated machine on a busy computer has no even pace.
#![allow(clippy::disallowed_methods, reason = "what was seen in the guest comes as files")]

use super::heron::{Fitting, Heron};
use super::{Bench, System};
use crate::lab::error::LabError;
use crate::lab::panel;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;
use std::fs;
use std::path::Path;

const DRIVES: usize = 10;
const ROUNDS: usize = 2;

/// Watches log and panel by the guest's own clock.
const WITNESS: &str = concat!(
    "cat >/usr/local/bin/witness <<'END'\n",
    include_str!("../../../lab/witness.pl"),
    "END\nrm -rf /lab/seen /lab/enough\n(setsid perl /usr/local/bin/witness >/lab/witness.log 2>&1 </dev/null) &\n",
    "until [ -e /lab/seen/log ]; do sleep 0.1; done"
);

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let drive = |n| Drive::Scsi { serial: format!("TIT-{n}"), size_mib: 64 };
    let fitting = Fitting {
        system: System::Host,
        drives: (0..DRIVES).map(drive).collect(),
        has_network: false,
        set_up: include_str!("../../../lab/latency.sh"),
        about: "RAID 10 of ten drives",
        config: include_str!("../../../lab/latency.toml"),
    };
    let mut heron = Heron::boot(bench, report, "latency", fitting)?;
    heron.watch(report)?;
    report.step("the panel says OK, and a witness watches it and the log", || {
        heron.wait_for_words("OK")?;
        heron.machine.must_run(WITNESS, 60).map(drop)
    })?;
    report.step(&format!("{} times a drive goes and comes back", DRIVES * ROUNDS), || {
        (0..DRIVES * ROUNDS).try_for_each(|n| goes_and_comes_back(&mut heron, n % DRIVES))
    })?;
    report.step("the witness ends", || heron.machine.must_run("touch /lab/enough; sleep 1", 30).map(drop))?;
    let seen = report.step("each time the log told of it and the panel showed it", || {
        let seen = Seen::read(&heron.machine.shared())?;
        let late = |what: &str| LabError::unexpected(what, format!("{} of them", DRIVES * ROUNDS), format!("{seen:?}"));
        let told = delays(&seen.faults, &seen.told).ok_or_else(|| late("what was told"))?;
        let shown = delays(&seen.faults, &seen.shown).ok_or_else(|| late("what was shown"))?;
        if told.len() == DRIVES * ROUNDS { Ok((told, shown)) } else { Err(late("the faults")) }
    })?;
    for (what, delays) in [("log", seen.0), ("panel", seen.1)] {
        let (median, worst) = median_and_worst(delays);
        report.note(&format!(
            "from the fault to the {what}: median {median:.2} s, worst {worst:.2} s of the guest's time"
        ));
    }
    heron.stop(report)
}

/// The fault's time is noted by the shell itself, before the fault.
fn goes_and_comes_back(heron: &mut Heron, n: usize) -> Result<(), LabError> {
    let go = format!(
        "device=$(device_of TIT-{n})
         link=$(readlink -f \"/sys/block/${{device##*/}}/device\")
         echo \"$link\" >/run/went
         read -r up idle </proc/uptime
         echo 1 >\"$link/delete\"
         echo \"$up\" >>/lab/faults"
    );
    // The drive's address on its host, such as 0:0:3:0, is where it is looked for again.
    let come_back = format!(
        "link=$(cat /run/went); address=${{link##*/}}; host=${{address%%:*}}; place=${{address#*:}}
         mdadm --quiet /dev/md0 --fail detached --remove detached || true
         echo \"$(echo \"$place\" | tr : ' ')\" >\"/sys/class/scsi_host/host$host/scan\"
         device=$(device_of TIT-{n})
         mdadm --quiet /dev/md0 --re-add \"$device\""
    );
    heron.shell(&go, 60)?;
    heron.wait_for_words("CRITICAL")?;
    heron.shell(&come_back, 60)?;
    heron.wait_for_words("OK")
}

/// When things happened, by the guest's uptime in seconds.
#[derive(Debug)]
struct Seen {
    faults: Vec<f64>,
    /// The pool was told of as degraded.
    told: Vec<f64>,
    /// The panel said that it is critical, and had not said so before.
    shown: Vec<f64>,
}

impl Seen {
    fn read(shared: &Path) -> Result<Self, LabError> {
        let read = |path: &Path| fs::read_to_string(path).map_err(LabError::file("read", path));
        let faults = read(&shared.join("faults"))?.lines().filter_map(|line| line.parse().ok()).collect();
        let is_news = |line: &&str| line.contains(r#""event":"opened""#) && line.contains(r#""pool-degraded""#);
        let folder = shared.join("seen");
        let log = read(&folder.join("log"))?;
        let told = log.lines().filter(is_news).filter_map(|line| line.split_once(' ')?.0.parse().ok()).collect();
        let mut pictures = Vec::new();
        for file in fs::read_dir(&folder).map_err(LabError::file("list", &folder))? {
            let file = file.map_err(LabError::file("list", &folder))?;
            if let Some(time) = file.file_name().to_str().and_then(|name| name.parse::<f64>().ok()) {
                pictures.push((time, panel::shows(&read(&file.path())?, "CRITICAL")));
            }
        }
        pictures.sort_by(|one, other| one.0.total_cmp(&other.0));
        Ok(Self { faults, told, shown: begins(&pictures) })
    }
}

/// When it became true.
fn begins(seen: &[(f64, bool)]) -> Vec<f64> {
    let before = std::iter::once(false).chain(seen.iter().map(|(_, is_so)| *is_so));
    seen.iter().zip(before).filter(|((_, now), before)| *now && !before).map(|((time, _), _)| *time).collect()
}

/// How long after each fault the first answer came, if one came before the next fault.
fn delays(faults: &[f64], answers: &[f64]) -> Option<Vec<f64>> {
    let next = faults.iter().skip(1).copied().chain([f64::INFINITY]);
    faults
        .iter()
        .zip(next)
        .map(|(&at, next)| answers.iter().find(|&&it| it >= at && it < next).map(|it| it - at))
        .collect()
}

/// The upper median, and the worst.
fn median_and_worst(mut delays: Vec<f64>) -> (f64, f64) {
    delays.sort_by(f64::total_cmp);
    (delays.get(delays.len() / 2).copied().unwrap_or(f64::NAN), delays.last().copied().unwrap_or(f64::NAN))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_fault_has_the_first_answer_after_it_or_there_is_none() {
        assert_eq!(delays(&[10.0, 20.0], &[9.0, 10.5, 11.0, 21.0]), Some(vec![0.5, 1.0]));
        assert_eq!(delays(&[10.0, 20.0], &[10.5]), None);
        assert_eq!(delays(&[10.0, 20.0], &[20.5, 21.0]), None, "an answer to the next fault is none to this one");
    }

    #[test]
    fn a_page_that_stays_begins_once() {
        assert_eq!(begins(&[(1.0, false), (2.0, true), (3.0, true), (4.0, false), (5.0, true)]), [2.0, 5.0]);
    }

    #[test]
    fn the_worst_is_the_longest() {
        assert_eq!(median_and_worst(vec![0.3, 0.1, 0.9]), (0.3, 0.9));
    }
}
