//! What this computer must have, and running its programs.
#![allow(clippy::disallowed_methods, reason = "programs are looked for where the shell would look")]

use super::error::LabError;
use std::env;
use std::process::{Command, Stdio};

/// Each program that the lab uses, here or in the guest, and the Debian package that holds it.
const NEEDED: [(&str, &str); 20] = [
    ("qemu-system-x86_64", "qemu-system-x86"),
    ("busybox", "busybox-static"),
    ("cpio", "cpio"),
    ("modprobe", "kmod"),
    ("depmod", "kmod"),
    ("apt-get", "apt"),
    ("dpkg", "dpkg"),
    ("mdadm", "mdadm"),
    ("mkfs.ext4", "e2fsprogs"),
    ("mkfs.vfat", "dosfstools"),
    ("btrfs", "btrfs-progs"),
    ("dmsetup", "dmsetup"),
    ("i2cset", "i2c-tools"),
    ("udevadm", "udev"),
    ("perl", "perl-base"),
    ("ps", "procps"),
    ("nvme", "nvme-cli"),
    ("sg_logs", "sg3-utils"),
    ("hdparm", "hdparm"),
    ("strace", "strace"),
];

/// What making a system of its own takes besides.
const NEEDED_FOR_DEBIAN: [(&str, &str); 2] = [("mmdebstrap", "mmdebstrap"), ("xz", "xz-utils")];

/// Refuses to start when something is missing; `debian` says whether a system of its own will be made.
///
/// # Errors
/// [`LabError::MissingPackages`], all of them at once.
pub fn check(debian: bool) -> Result<(), LabError> {
    let mut missing: Vec<&str> = NEEDED
        .iter()
        .chain(NEEDED_FOR_DEBIAN.iter().filter(|_| debian))
        .filter(|(program, _)| !has(program))
        .map(|(_, package)| *package)
        .collect();
    missing.dedup();
    if missing.is_empty() { Ok(()) } else { Err(LabError::MissingPackages(missing)) }
}

/// Runs a program to its end and gives what it printed.
///
/// # Errors
/// When it cannot be started, or says that it failed.
pub fn output_of(command: &mut Command) -> Result<String, LabError> {
    let line = format!("{command:?}");
    let failed = |found: String| LabError::Program { command: line.clone(), found };
    let output = command.stdin(Stdio::null()).output().map_err(|error| failed(error.to_string()))?;
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    } else {
        Err(failed(format!("{}, {}", output.status, String::from_utf8_lossy(&output.stderr).trim_end())))
    }
}

/// A path to look in for programs that only root has in its own: `mdadm` and its like are in the sbin folders.
pub fn search_path() -> String {
    let own = env::var("PATH").unwrap_or_default();
    format!("{own}:/usr/local/sbin:/usr/sbin:/sbin:/usr/bin:/bin")
}

/// A command that is found also where only root looks.
pub fn command(program: &str) -> Command {
    let mut command = Command::new(program);
    command.env("PATH", search_path()).env("LC_ALL", "C");
    command
}

fn has(program: &str) -> bool {
    env::split_paths(&search_path()).any(|folder| folder.join(program).is_file())
}
