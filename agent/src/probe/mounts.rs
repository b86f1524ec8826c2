//! The volumes as seen: which are mounted, by the mount table in every round, what else is said of them, less often, and
//! the room of each, which has to be asked for.

use crate::clock::{Clock, Moment};
use crate::reading::{Missing, Reading, Room, Source, Union, Unmounted, Volume, WhyMissing};
use crate::sense::host::Host;
use crate::sense::parse::mounts::mountinfo::Mount;
use crate::sense::volumes;
use std::collections::BTreeMap;
use std::time::Duration;

/// Room is asked for this often.
const ROOM_EVERY: Duration = Duration::from_secs(10);

/// What should be mounted, and the errors that file systems have written down, are looked at this often, and whenever the
/// mount table has changed.
const LOOK_EVERY: Duration = Duration::from_secs(10);

/// A question for room. It may block.
pub type MountQuestion = Box<dyn FnOnce() -> Reading<Room> + Send>;

/// The volumes, by mount point, and what should be there.
#[derive(Default)]
pub struct SeenMounts {
    /// The mount table as it was when all else was looked at, and when that was.
    looked: Option<(Vec<u8>, Moment)>,
    volumes: BTreeMap<String, SeenVolume>,
    unions: Vec<Union>,
    unmounted: Vec<Unmounted>,
    meant_read_only: Vec<String>,
    meant_writable: Vec<String>,
}

struct SeenVolume {
    mount: Mount,
    room: Reading<Room>,
    asked: Option<Moment>,
    errors: Option<u64>,
}

impl SeenMounts {
    /// Looks at the mount table.
    ///
    /// # Errors
    /// The reason why it cannot be read, and what was seen before is kept; or why a line of it cannot.
    pub fn look(&mut self, host: &Host, now: Moment) -> Result<(), Missing> {
        let table = host.table(&volumes::mount_table(host))?;
        if self.looked.as_ref().is_some_and(|(before, at)| *before == table && now.since(*at) < LOOK_EVERY) {
            return volumes::check(&table);
        }
        let all_read = volumes::check(&table);
        let mounts = volumes::mounts(host, &table);
        self.looked = Some((table, now));
        self.unions = mounts.unions;
        self.unmounted = mounts.unmounted;
        self.meant_read_only = mounts.meant_read_only;
        self.meant_writable = mounts.meant_writable;
        self.volumes.retain(|_, seen| mounts.volumes.iter().any(|mount| mount.is_same(&seen.mount)));
        for mount in mounts.volumes {
            let not_yet = || Reading::new(Err(Missing::from(WhyMissing::Pending)), now, Source::Statvfs);
            let room = self.volumes.remove(&mount.point).map(|seen| (seen.room, seen.asked));
            let (room, asked) = room.unwrap_or_else(|| (not_yet(), None));
            let errors = volumes::errors(host, &mount);
            self.volumes.insert(mount.point.clone(), SeenVolume { mount, room, asked, errors });
        }
        all_read
    }

    /// The mounts.
    pub fn mounts(&self) -> Vec<&Mount> {
        self.volumes.values().map(|seen| &seen.mount).collect()
    }

    /// True for a volume that is still mounted.
    pub fn has(&self, point: &str) -> bool {
        self.volumes.contains_key(point)
    }

    /// The questions that are due, by mount point. What is on a ZFS pool that `is_suspended` is not asked.
    pub fn questions(
        &mut self,
        host: &Host,
        clock: &Clock,
        is_suspended: impl Fn(&str) -> bool,
        now: Moment,
    ) -> Vec<(String, MountQuestion)> {
        let mut due: Vec<(String, MountQuestion)> = Vec::new();
        for (point, seen) in &mut self.volumes {
            if seen.mount.zfs_pool().is_some_and(&is_suspended) {
                let why = Missing::from(WhyMissing::PoolSuspended);
                seen.room = Reading::new(Err(why), now, Source::Statvfs);
            } else if now.is_due(seen.asked, ROOM_EVERY) {
                let (host, clock, asked) = (host.clone(), clock.clone(), point.clone());
                let question = move || Reading::new(volumes::room(&host, &asked), clock.now(), Source::Statvfs);
                due.push((point.clone(), Box::new(question)));
            }
        }
        due
    }

    /// The question for the room of this volume is under way.
    pub fn asked(&mut self, point: &str, now: Moment) {
        if let Some(seen) = self.volumes.get_mut(point) {
            seen.asked = Some(now);
        }
    }

    /// Takes in the room of a volume that is still mounted.
    pub fn take_in(&mut self, point: &str, room: Reading<Room>) {
        if let Some(seen) = self.volumes.get_mut(point) {
            seen.room = room;
        }
    }

    /// The volumes as they stand.
    pub fn as_read(&self) -> Vec<Volume> {
        let volume = |seen: &SeenVolume| Volume {
            mount: seen.mount.point.clone(),
            file_system: seen.mount.file_system.clone(),
            source: seen.mount.source.clone(),
            room: seen.room.clone(),
            writing: seen.mount.writing,
            meant_read_only: self.meant_read_only.contains(&seen.mount.point),
            meant_writable: self.meant_writable.contains(&seen.mount.point),
            stops_at_errors: seen.mount.stops_at_errors(),
            errors: seen.errors,
        };
        self.volumes.values().map(volume).collect()
    }

    /// Mounts that show several folders as one.
    pub fn unions(&self) -> Vec<Union> {
        self.unions.clone()
    }

    /// What should be mounted and is not.
    pub fn unmounted(&self) -> Vec<Unmounted> {
        self.unmounted.clone()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "tests write the files that are read")]
    use super::*;
    use std::fs;

    const ROOT: &str = "27 1 254:0 / / rw - ext4 /dev/vda1 rw\n";
    const ARCHIVE: &str = "30 27 9:0 / /srv/archive rw - xfs /dev/md1 rw\n";

    /// Looks every two seconds at a box where `/srv/archive` is named in `/etc/fstab`, and `/` notes its errors; answers
    /// what was seen at the end of each of these seconds: absent mounts, and errors.
    fn seen(
        seconds: std::ops::RangeInclusive<u64>,
        change: impl Fn(u64, &dyn Fn(&str, &str)),
    ) -> Vec<(usize, Option<u64>)> {
        let folder = tempfile::tempdir().unwrap();
        let host = Host::at(folder.path());
        let write = |file: &str, text: &str| {
            let path = folder.path().join(file);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
        };
        write("proc/self/mountinfo", ROOT);
        write("etc/fstab", "/dev/vda1 / ext4 defaults\n/dev/md1 /srv/archive xfs defaults\n");
        write("sys/dev/block/254:0/size", "100\n");
        write("sys/fs/ext4/254:0/errors_count", "0\n");
        let mut mounts = SeenMounts::default();
        let look = |second| {
            change(second, &write);
            mounts.look(&host, Moment::after_boot(Duration::from_secs(second))).unwrap();
            (mounts.unmounted().len(), mounts.as_read()[0].errors)
        };
        seconds.step_by(2).map(look).collect()
    }

    #[test]
    fn wishes_and_errors_are_looked_at_every_ten_seconds() {
        let looks = seen(0..=12, |second, write| match second {
            2 => write("etc/fstab", "/dev/vda1 / ext4 defaults\n"),
            4 => write("sys/fs/ext4/254:0/errors_count", "3\n"),
            _ => {}
        });
        let (before, after) = ((1, Some(0)), (0, Some(3)));
        assert_eq!(looks, [before, before, before, before, before, after, after]);
    }

    #[test]
    fn when_the_mount_table_has_changed_all_is_looked_at_at_once() {
        let looks = seen(0..=4, |second, write| {
            if second == 2 {
                write("proc/self/mountinfo", &format!("{ROOT}{ARCHIVE}"));
                write("sys/fs/ext4/254:0/errors_count", "3\n");
            }
        });
        assert_eq!(looks, [(1, Some(0)), (0, Some(3)), (0, Some(3))]);
    }
}
