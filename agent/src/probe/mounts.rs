//! The volumes as seen: which are mounted, by the mount table in every round, and the room of each, which has to be asked
//! for.

use crate::clock::{Clock, Moment};
use crate::reading::{Missing, Reading, Reason, Room, Source, Union, Unmounted, Volume};
use crate::sense::host::Host;
use crate::sense::parse::mountinfo::Mount;
use crate::sense::volumes;
use std::collections::BTreeMap;
use std::time::Duration;

/// Room is asked for this often.
const ROOM_EVERY: Duration = Duration::from_secs(10);

/// A question for room. It may block.
pub type Question = Box<dyn FnOnce() -> Reading<Room> + Send>;

/// The volumes, by mount point, and what should be there.
#[derive(Default)]
pub struct SeenMounts {
    volumes: BTreeMap<String, SeenVolume>,
    unions: Vec<Union>,
    unmounted: Vec<Unmounted>,
    meant_read_only: Vec<String>,
}

struct SeenVolume {
    mount: Mount,
    room: Reading<Room>,
    asked: Option<Moment>,
}

impl SeenMounts {
    /// Looks at the mount table.
    ///
    /// # Errors
    /// The reason why it cannot be read; what was seen before is kept.
    pub fn look(&mut self, host: &Host, now: Moment) -> Result<(), Missing> {
        let mounts = volumes::mounts(host)?;
        self.unions = mounts.unions;
        self.unmounted = mounts.unmounted;
        self.meant_read_only = mounts.meant_read_only;
        self.volumes.retain(|_, seen| mounts.volumes.iter().any(|mount| mount.is_same(&seen.mount)));
        for mount in mounts.volumes {
            let not_yet =
                || Reading::new(Err(Missing::new(Reason::NotAsked, "not answered yet")), now, Source::Statvfs);
            let room = self.volumes.remove(&mount.point).map(|seen| (seen.room, seen.asked));
            let (room, asked) = room.unwrap_or_else(|| (not_yet(), None));
            self.volumes.insert(mount.point.clone(), SeenVolume { mount, room, asked });
        }
        Ok(())
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
    ) -> Vec<(String, Question)> {
        let mut due: Vec<(String, Question)> = Vec::new();
        for (point, seen) in &mut self.volumes {
            if seen.mount.zfs_pool().is_some_and(&is_suspended) {
                let why = Missing::new(Reason::NotAsked, "its pool is suspended, and who asks may wait for good");
                seen.room = Reading::new(Err(why), now, Source::Statvfs);
            } else if seen.asked.is_none_or(|asked| now.since(asked) >= ROOM_EVERY) {
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
    pub fn as_read(&self, host: &Host) -> Vec<Volume> {
        let volume = |seen: &SeenVolume| Volume {
            mount: seen.mount.point.clone(),
            file_system: seen.mount.file_system.clone(),
            source: seen.mount.source.clone(),
            room: seen.room.clone(),
            writing: seen.mount.writing,
            meant_read_only: self.meant_read_only.contains(&seen.mount.point),
            stops_at_errors: seen.mount.stops_at_errors(),
            errors: volumes::errors(host, &seen.mount),
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
