//! What a drive and its partitions are used for besides being asked: who holds them, what is mounted from them, and whether
//! memory is swapped to them. All of it is in the kernel's memory.

use super::host::Host;
use super::parse::mounts;
use super::volumes;
use crate::reading::{DriveUse, Missing, Reason, UsedBy};

/// What the drive of this name and its partitions are used for.
///
/// # Errors
/// The reason why that is not known: what is mounted or held cannot be read. Without a table of swap there is no swap.
pub fn uses(host: &Host, device: &str) -> Result<Vec<DriveUse>, Missing> {
    let table = host.table(&volumes::mount_table(host))?;
    volumes::check(&table)?;
    let mounts = mounts::mountinfo::mounts(&table);
    let swaps = match host.table(&host.path("/proc/swaps")) {
        Ok(table) => String::from_utf8_lossy(&table).into_owned(),
        Err(why) if why.reason == Reason::NotAvailable => String::new(),
        Err(why) => return Err(why),
    };
    let disk = host.path("/sys/block").join(device);
    let is_partition = |name: &String| name.starts_with(device) && host.exists(&disk.join(name).join("size"));
    let partitions = host.list(&disk)?.into_iter().filter(is_partition).map(|name| (disk.join(&name), name));
    let mut found = Vec::new();
    for (folder, block) in std::iter::once((disk.clone(), device.to_owned())).chain(partitions) {
        let node = format!("/dev/{block}");
        let number = host.attribute(&folder.join("dev")).ok().map(|number| number.trim().to_owned());
        // A folder without holders is not always there.
        let holders = host.list(&folder.join("holders")).unwrap_or_default().into_iter().map(UsedBy::Holder);
        let mounted = mounts.iter().filter(|mount| Some(&mount.device) == number.as_ref() || mount.source == node);
        let mounted = mounted.map(|mount| UsedBy::Mount(mount.point.clone()));
        let swapped = swaps.lines().filter(|line| line.split_whitespace().next() == Some(node.as_str()));
        let used = holders.chain(mounted).chain(swapped.map(|_| UsedBy::Swap));
        found.extend(used.map(|by| DriveUse { block: block.clone(), by }));
    }
    Ok(found)
}
