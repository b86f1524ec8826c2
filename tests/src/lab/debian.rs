//! A system of its own for scenarios that need more than this computer's root and the stock kernel's package: Debian 13 with
//! ZFS, whose module is compiled while it is made, and LVM. It is made once and kept; that takes about ten minutes.
#![allow(clippy::disallowed_methods, reason = "files are what this is about")]

use super::error::LabError;
use super::host::{command, output_of};
use super::parts::{Parts, fresh_folder, pack_initramfs};
use std::fs;
use std::path::Path;

const SUITE: &str = "trixie";
const MIRROR: &str = "http://deb.debian.org/debian";
/// ZFS is in `contrib`. What comes after the module's packages is what the scenarios use in the guest.
const PACKAGES: &str = "linux-image-amd64,linux-headers-amd64,zfs-dkms,zfsutils-linux,zfs-zed,\
    lvm2,mdadm,udev,kmod,dmsetup,procps,busybox-static,iproute2";

/// The parts of a machine with this system; makes what is not yet in the cache folder.
///
/// # Errors
/// When it cannot be made, as without rights to make a root, or lacks a part.
pub fn make(cache: &Path) -> Result<Parts, LabError> {
    let root = cache.join(format!("debian-{SUITE}"));
    if !root.is_dir() {
        // The folder gets its name last, so that one that is there is whole.
        let unfinished = cache.join("unfinished-debian");
        fresh_folder(&unfinished)?;
        let packages = format!("--include={}", PACKAGES.replace(' ', ""));
        let make = ["--quiet", "--variant=minbase", "--components=main,contrib", &packages, SUITE];
        output_of(command("mmdebstrap").args(make).arg(&unfinished).arg(MIRROR))?;
        fs::rename(&unfinished, &root).map_err(LabError::file("rename", &unfinished))?;
    }
    let modules = root.join("lib/modules");
    let version = only_name(&modules)?;
    let parts = Parts {
        kernel: root.join("boot").join(format!("vmlinuz-{version}")),
        modules,
        initramfs: cache.join("initramfs-debian"),
        root,
    };
    pack_initramfs(&parts.root, &version, &parts.initramfs)?;
    Ok(parts)
}

/// The kernel's version is the name of the only folder of modules.
fn only_name(folder: &Path) -> Result<String, LabError> {
    let entries = fs::read_dir(folder).map_err(LabError::file("list", folder))?;
    let names: Vec<String> =
        entries.filter_map(|entry| Some(entry.ok()?.file_name().to_string_lossy().into_owned())).collect();
    match &names[..] {
        [only] => Ok(only.clone()),
        _ => Err(LabError::unexpected(folder.display().to_string(), "the modules of one kernel", format!("{names:?}"))),
    }
}
