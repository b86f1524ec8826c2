//! What every machine is started from, made once and kept: a stock kernel with its modules, and the small first file
//! system that leads to the host's own files.
//!
//! Not its job: starting a machine; that is `machine.rs`.
#![allow(clippy::disallowed_methods, reason = "files are what this is about")]

use super::error::LabError;
use super::host::{command, output_of};
use std::fs;
use std::io::Write;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::Stdio;

/// The Debian package that always depends on the newest stock kernel.
const KERNEL_META_PACKAGE: &str = "linux-image-amd64";
/// What the guest needs before it sees the host's files; what these need is found by the module index.
const FIRST_MODULES: [&str; 4] = ["virtio_pci", "9pnet_virtio", "9p", "overlay"];
const INIT: &str = include_str!("../../lab/init.sh");

/// The parts, as files.
#[derive(Debug, Clone)]
pub struct Parts {
    /// The kernel.
    pub kernel: PathBuf,
    /// The folder that becomes the guest's `/lib/modules`.
    pub modules: PathBuf,
    /// The first file system, packed.
    pub initramfs: PathBuf,
    /// The folder that becomes the guest's root, under a memory overlay.
    pub root: PathBuf,
}

impl Parts {
    /// Makes what is not yet in the cache folder.
    ///
    /// # Errors
    /// When the kernel cannot be fetched, or a file not written.
    pub fn make(cache: &Path) -> Result<Self, LabError> {
        let package = kernel_package(&output_of(command("apt-cache").args(["depends", KERNEL_META_PACKAGE]))?)?;
        let version = package.trim_start_matches("linux-image-").to_string();
        let unpacked = cache.join(&package);
        if !unpacked.is_dir() {
            fetch_kernel(cache, &package, &version, &unpacked)?;
        }
        let parts = Self {
            kernel: unpacked.join("boot").join(format!("vmlinuz-{version}")),
            modules: unpacked.join("lib/modules"),
            initramfs: cache.join("initramfs"),
            root: "/".into(),
        };
        pack_initramfs(&unpacked, &version, &parts.initramfs)?;
        Ok(parts)
    }
}

/// Finds the kernel's package in what `apt-cache depends` prints.
fn kernel_package(depends: &str) -> Result<String, LabError> {
    depends
        .lines()
        .filter_map(|line| line.trim().strip_prefix("Depends: "))
        .find(|package| package.starts_with("linux-image-"))
        .map(String::from)
        .ok_or_else(|| {
            let found = if depends.trim().is_empty() { "nothing (apt-get update may help)" } else { depends.trim() };
            LabError::unexpected(format!("the package lists, {KERNEL_META_PACKAGE}"), "a kernel it depends on", found)
        })
}

/// Unpacks the kernel's package without installing it. The folder gets its name last, so that one that is there is whole.
fn fetch_kernel(cache: &Path, package: &str, version: &str, unpacked: &Path) -> Result<(), LabError> {
    let unfinished = cache.join("unfinished");
    fresh_folder(&unfinished)?;
    output_of(command("apt-get").args(["--quiet", "download", package]).current_dir(&unfinished))?;
    let archive = fs::read_dir(&unfinished)
        .map_err(LabError::file("list", &unfinished))?
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .find(|path| path.extension().is_some_and(|extension| extension == "deb"))
        .ok_or_else(|| LabError::unexpected("the download", format!("a file of {package}"), "none"))?;
    output_of(command("dpkg").arg("-x").arg(&archive).arg(&unfinished))?;
    fs::remove_file(&archive).map_err(LabError::file("remove", &archive))?;
    output_of(command("depmod").arg("-b").arg(&unfinished).arg(version))?;
    fs::rename(&unfinished, unpacked).map_err(LabError::file("rename", &unfinished))
}

/// Packs busybox, the first modules of the kernel that is in `unpacked`, and init.sh. It takes under a second, so it is always made afresh.
///
/// # Errors
/// When a module is not found, or a file not written.
pub fn pack_initramfs(unpacked: &Path, version: &str, packed: &Path) -> Result<(), LabError> {
    let root = packed.with_extension("d");
    fresh_folder(&root)?;
    for folder in ["bin", "dev", "proc", "sys", "modules"] {
        let folder = root.join(folder);
        fs::create_dir(&folder).map_err(LabError::file("make", &folder))?;
    }
    let busybox = output_of(command("sh").args(["-c", "command -v busybox"]))?;
    copy(Path::new(busybox.trim_end()), &root.join("bin/busybox"))?;
    for applet in ["sh", "mount", "mkdir", "insmod", "switch_root", "echo"] {
        let link = root.join("bin").join(applet);
        symlink("busybox", &link).map_err(LabError::file("link", &link))?;
    }

    let mut order = String::new();
    for module in FIRST_MODULES {
        let shown = output_of(command("modprobe").arg("-d").arg(unpacked).args([
            "-S",
            version,
            "--show-depends",
            "--ignore-install",
            module,
        ]))?;
        for path in module_files(&shown) {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let inside = format!("/modules/{}", name.trim_end_matches(".xz"));
            if order.contains(&inside) {
                continue;
            }
            copy(&path, &root.join("modules").join(&*name))?;
            if name.ends_with(".xz") {
                output_of(command("xz").arg("--decompress").arg(root.join("modules").join(&*name)))?;
            }
            order += &format!("{inside}\n");
        }
    }
    write(&root.join("modules.order"), &order)?;
    let init = root.join("init");
    write(&init, INIT)?;
    output_of(command("chmod").arg("755").arg(&init))?;
    cpio(&root, packed)
}

/// Finds the module files in what `modprobe --show-depends` prints, in the order in which they must be loaded.
fn module_files(shown: &str) -> Vec<PathBuf> {
    shown.lines().filter_map(|line| line.strip_prefix("insmod ")).map(|path| PathBuf::from(path.trim())).collect()
}

fn cpio(root: &Path, packed: &Path) -> Result<(), LabError> {
    let names = output_of(command("find").arg(".").current_dir(root))?;
    let out = fs::File::create(packed).map_err(LabError::file("write", packed))?;
    let failed = |found: String| LabError::Program { command: "cpio".into(), found };
    let mut child = command("cpio")
        .args(["--quiet", "--create", "--format=newc", "--owner=0:0"])
        .current_dir(root)
        .stdin(Stdio::piped())
        .stdout(out)
        .spawn()
        .map_err(|error| failed(error.to_string()))?;
    if let Some(mut stdin) = child.stdin.take() {
        stdin.write_all(names.as_bytes()).map_err(|error| failed(error.to_string()))?;
    }
    let status = child.wait().map_err(|error| failed(error.to_string()))?;
    if status.success() { Ok(()) } else { Err(failed(status.to_string())) }
}

/// Makes a folder anew.
///
/// # Errors
/// When what is there cannot be removed, or it cannot be made.
pub fn fresh_folder(path: &Path) -> Result<(), LabError> {
    if path.exists() {
        fs::remove_dir_all(path).map_err(LabError::file("remove", path))?;
    }
    fs::create_dir_all(path).map_err(LabError::file("make", path))
}

fn copy(from: &Path, to: &Path) -> Result<(), LabError> {
    fs::copy(from, to).map(|_| ()).map_err(LabError::file("copy", from))
}

fn write(path: &Path, text: &str) -> Result<(), LabError> {
    fs::write(path, text).map_err(LabError::file("write", path))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kernel_is_what_the_meta_package_depends_on() {
        let depends = "linux-image-amd64\n  Depends: linux-image-6.1.0-56-amd64\n";
        assert_eq!(kernel_package(depends).unwrap(), "linux-image-6.1.0-56-amd64");
    }

    #[test]
    fn empty_package_lists_name_the_remedy() {
        assert_eq!(
            kernel_package("").unwrap_err().to_string(),
            "the package lists, linux-image-amd64: wanted a kernel it depends on, found nothing (apt-get update may help)"
        );
    }

    #[test]
    fn module_files_keep_their_order_and_builtins_are_left_out() {
        let shown =
            "builtin virtio\ninsmod /k/lib/modules/6.1/virtio_ring.ko \ninsmod /k/lib/modules/6.1/virtio_pci.ko \n";
        assert_eq!(
            module_files(shown),
            [PathBuf::from("/k/lib/modules/6.1/virtio_ring.ko"), PathBuf::from("/k/lib/modules/6.1/virtio_pci.ko")]
        );
    }
}
