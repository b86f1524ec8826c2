//! How a drive is attached: the speed of its link, its time-outs and how long the kernel waits. The kernel answers from memory.

use super::drives::ListedDrive;
use super::host::{Host, parts};
use super::parse::sysfs;
use crate::clock::Moment;
use crate::reading::{Attachment, Missing, Reading, Source, WhyMissing};
use crate::units::MegabitsPerSecond;
use std::path::PathBuf;

/// Reads all of it.
pub fn attachment(host: &Host, drive: &ListedDrive, now: Moment) -> Attachment {
    let device = host.path("/sys/block").join(&drive.device).join("device");
    Attachment {
        speed: Reading::new(speed(host, drive), now, Source::Sysfs),
        timeouts: Reading::new(
            host.ask(&device.join("iotmo_cnt"), sysfs::attachment::device_count),
            now,
            Source::Sysfs,
        ),
        patience: Reading::new(host.ask(&device.join("timeout"), sysfs::attachment::patience), now, Source::Sysfs),
    }
}

fn speed(host: &Host, drive: &ListedDrive) -> Result<MegabitsPerSecond, Missing> {
    if let Some(device) = sysfs::place::usb_device(drive.path()) {
        return host.ask(&host.path(&device.to_string_lossy()).join("speed"), sysfs::attachment::usb_speed);
    }
    let link = link(host, drive).ok_or_else(|| Missing::from(WhyMissing::NotOnSata))?;
    let settled = host.ask(&link.join("sata_spd"), sysfs::attachment::sata_speed)?;
    settled.ok_or_else(|| Missing::from(WhyMissing::NotReported))
}

/// `/sys/class/ata_link/linkN`; behind a port multiplier each of its ports has a link of its own, `linkN.P`, and the
/// kernel counts those ports as channels.
fn link(host: &Host, drive: &ListedDrive) -> Option<PathBuf> {
    let names: Vec<&str> = parts(drive.path()).collect();
    let port = sysfs::place::ata_port(&names)?.strip_prefix("ata")?;
    let channel =
        names.iter().rev().find_map(|part| sysfs::place::scsi_address(part)).map_or(0, |[channel, ..]| channel);
    let links = host.path("/sys/class/ata_link");
    let of_multiplier = links.join(format!("link{port}.{channel}"));
    Some(if host.exists(&of_multiplier) { of_multiplier } else { links.join(format!("link{port}")) })
}
