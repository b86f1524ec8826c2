//! LVM RAID volumes: which there are and what they are on, from sysfs (Documentation/ABI/testing/sysfs-block-dm), and
//! [`ask`], a question to the device mapper, which can wait for a RAID that hangs.

use super::beneath;
use super::dm_ioctl::{DmControl, DmQuery};
use super::host::Host;
use super::parse::dm::members::{Image, LogicalVolume, RaidReport};
use super::parse::dm::table::DmTarget;
use super::parse::{dm, plain};
use crate::reading::{Missing, Reason, WhyMissing};
use crate::units::Bytes;
use std::path::Path;

/// All RAID volumes of LVM, in the order of the kernel's names.
pub fn volumes(host: &Host) -> Result<Vec<LogicalVolume>, Missing> {
    let folder = host.path("/sys/block");
    let names = host.list(&folder)?.into_iter().filter(|name| name.starts_with("dm-"));
    Ok(names.filter_map(|device| volume(host, &folder.join(&device), device)).collect())
}

/// Nothing for other mapped devices, and for one that is being taken down.
fn volume(host: &Host, block: &Path, device: String) -> Option<LogicalVolume> {
    let text = |file: &str| host.attribute(&block.join("dm").join(file)).ok().map(|text| text.trim().to_owned());
    let (name, uuid) = (text("name")?, text("uuid")?);
    let slaves = block.join("slaves");
    let images: Vec<Image> =
        host.list(&slaves).ok()?.iter().filter_map(|slave| image(host, &slaves.join(slave))).collect();
    let is_raid = dm::members::is_raid(&uuid, images.iter().map(|image| image.name.as_str()));
    let size = host.ask(&block.join("size"), plain::whole).ok().map(Bytes::from_sectors);
    is_raid.then_some(LogicalVolume { device, name, uuid, size, images })
}

/// One image, from a link among the slaves; nothing for what holds the RAID's notes (`_rmeta_`).
fn image(host: &Host, link: &Path) -> Option<Image> {
    let name = host.attribute(&link.join("dm/name")).ok()?.trim().to_owned();
    dm::members::place(&name)?;
    let below = beneath::drives(host, link);
    Some(Image {
        name,
        number: host.attribute(&link.join("dev")).ok()?.trim().to_owned(),
        gone: below.is_empty() || below.iter().any(|below| below.gone),
        drives: below.into_iter().map(|below| below.drive).collect(),
    })
}

/// What the device mapper says of the RAID volume with this name (`vg-lv`). It may wait: ask from a thread that may be
/// lost.
///
/// # Errors
/// The reason why it says nothing: it needs CAP_SYS_ADMIN, and the volume may be gone.
pub fn ask(host: &Host, name: &str) -> Result<RaidReport, Missing> {
    if !host.is_live() {
        return Err(Missing::from(WhyMissing::NotRecorded));
    }
    let control = DmControl::open()?;
    let line = |what: DmQuery| raid_line(control.targets(name, what)?, name);
    let read = |strange: String| Missing::found(Reason::Unreadable, format!("{name}: {strange}"));
    Ok(RaidReport {
        status: dm::raid::status(&line(DmQuery::Status)?).map_err(read)?,
        table: dm::raid::table(&line(DmQuery::Table)?).map_err(read)?,
    })
}

/// A RAID volume is one target and nothing else.
fn raid_line(targets: Vec<DmTarget>, name: &str) -> Result<String, Missing> {
    match <[DmTarget; 1]>::try_from(targets) {
        Ok([raid]) if raid.kind == "raid" => Ok(raid.text),
        Ok([other]) => {
            let found = format!("{name}: expected a target raid, found {}", plain::quoted(&other.kind));
            Err(Missing::found(Reason::Unreadable, found))
        }
        Err(targets) => {
            Err(Missing::found(Reason::Unreadable, format!("{name}: expected one target, found {}", targets.len())))
        }
    }
}
