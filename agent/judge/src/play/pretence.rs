//! The box as it is pretended at one moment, with a handle for everything that a fault changes.

use super::box_parts;
use super::calm::Calm;
use crate::heat_limits::heat_limits;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::port::controller_of;
use traylight_data::reading::{
    Activity, ActivityKind, Blind, BusErrors, Drive, DriveKey, Event, EventKind, EventSource, Fan, Health, Link,
    Listing, MemberErrorKind, MemberErrors, MemberState, Missing, Nominal, Part, Pool, Power, Rail, Reason, Room,
    Snapshot, Undervoltage, Unmounted, Volume,
};
use traylight_data::units::{Bytes, BytesPerSecond, Celsius, Volts};

/// Whom a fault happens to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// The drive that the rehearsal is about.
    One,
    /// Another one.
    Other,
    /// All drives on the controller of the first.
    Neighbours,
    /// The same but for the first.
    Rest,
    /// All drives.
    All,
}

/// The box at one moment.
pub struct Pretence<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// The box.
    pub snapshot: Snapshot,
    /// What it is about.
    pub calm: &'a Calm,
}

impl Pretence<'_> {
    fn keys(&self, who: Who) -> Vec<DriveKey> {
        let calm = &self.calm.snapshot;
        let controller = |drive: &Drive| drive.port.as_deref().and_then(controller_of).map(str::to_owned);
        match who {
            Who::One => vec![self.calm.one.clone()],
            Who::Other => vec![self.calm.other.clone()],
            Who::All => calm.drives.iter().map(|drive| drive.key.clone()).collect(),
            Who::Rest => {
                let mut keys = self.keys(Who::Neighbours);
                keys.retain(|key| *key != self.calm.one);
                keys
            }
            Who::Neighbours => {
                let own = calm.drives.iter().find(|drive| drive.key == self.calm.one).and_then(controller);
                let same = calm.drives.iter().filter(|drive| controller(drive) == own);
                same.map(|drive| drive.key.clone()).collect()
            }
        }
    }

    /// Changes drives.
    pub fn each(&mut self, who: Who, change: impl Fn(&mut Drive)) {
        let keys = self.keys(who);
        self.snapshot.drives.iter_mut().filter(|drive| keys.contains(&drive.key)).for_each(change);
    }

    /// The drives are no longer seen; their pools have not noticed yet.
    pub fn pull(&mut self, who: Who) {
        let keys = self.keys(who);
        let (gone, there): (Vec<Drive>, Vec<Drive>) =
            std::mem::take(&mut self.snapshot.drives).into_iter().partition(|drive| keys.contains(&drive.key));
        self.snapshot.drives = there;
        for member in self.snapshot.pools.iter_mut().flat_map(|pool| &mut pool.members) {
            member.device_gone |= gone.iter().any(|drive| drive.device == member.drive_device);
        }
    }

    /// The drives are no longer seen, and their pools do without them.
    pub fn lose(&mut self, who: Who) {
        self.pull(who);
        for pool in &mut self.snapshot.pools {
            let before = pool.members.len();
            pool.members.retain(|member| !member.device_gone);
            pool.missing = pool.missing.map(|missing| missing + (before - pool.members.len()) as u32);
        }
    }

    /// The drives are there, and their pools do without them.
    pub fn put_out(&mut self, who: Who) {
        let keys = self.keys(who);
        let drives = self.snapshot.drives.iter().filter(|drive| keys.contains(&drive.key));
        let devices: Vec<String> = drives.map(|drive| drive.device.clone()).collect();
        for pool in &mut self.snapshot.pools {
            let before = pool.members.len();
            pool.members.retain(|member| !devices.contains(&member.drive_device));
            pool.missing = pool.missing.map(|missing| missing + (before - pool.members.len()) as u32);
        }
    }

    /// The drives count so much more than before.
    pub fn grow(&mut self, who: Who, counter: &str, by: i64) {
        self.healthy(who, |health| match health.counters.iter_mut().find(|known| known.name == counter) {
            Some(known) => known.value += by,
            None => health.counters.push(box_parts::counter(counter, by)),
        });
    }

    /// The drives are so many degrees from the limit at which they are critical.
    pub fn degrees_from_limit(&mut self, who: Who, by: f64) {
        let settings = self.settings;
        self.each(who, |drive| {
            let limit = heat_limits(settings, drive).critical;
            drive.temperature.value = Ok(Celsius(limit + by));
        });
    }

    /// The drives have this temperature.
    pub fn degrees(&mut self, who: Who, degrees: f64) {
        self.each(who, |drive| drive.temperature.value = Ok(Celsius(degrees)));
    }

    /// The first drive is so much warmer than the warmest other one of its kind.
    pub fn above_peers(&mut self, by: f64) {
        let kind = self.snapshot.drives.iter().find(|drive| drive.key == self.calm.one).map(|drive| drive.kind);
        let peers = self.snapshot.drives.iter().filter(|drive| drive.key != self.calm.one && Some(drive.kind) == kind);
        let warmest = peers.filter_map(|drive| Some(drive.temperature.get()?.0)).reduce(f64::max);
        self.degrees(Who::One, warmest.unwrap_or(30.0) + by);
    }

    /// The drives tell their temperature no more.
    pub fn silent_thermometer(&mut self, who: Who) {
        let why = || Missing::of(Reason::Unreadable);
        self.each(who, |drive| drive.temperature.value = Err(why()));
    }

    /// The drives have work and have finished none for so long.
    pub fn stand_still(&mut self, who: Who, seconds: u64) {
        let since = self.snapshot.taken.minus(Duration::from_secs(seconds));
        self.each(who, |drive| drive.stalled_since = Some(since));
    }

    /// What the drives tell of their health is changed.
    pub fn healthy(&mut self, who: Who, change: impl Fn(&mut Health)) {
        self.each(who, |drive| {
            if let Ok(health) = &mut drive.health.value {
                change(health);
            }
        });
    }

    /// The kernel has given up waiting for so many more commands.
    pub fn time_out(&mut self, who: Who, by: u64) {
        self.each(who, |drive| {
            if let Ok(count) = &mut drive.attachment.timeouts.value {
                *count += by;
            }
        });
    }

    /// The drives move no data.
    pub fn idle(&mut self, who: Who) {
        self.each(who, |drive| {
            if let Ok(traffic) = &mut drive.traffic.value {
                (traffic.inward, traffic.outward) = (BytesPerSecond(0.0), BytesPerSecond(0.0));
            }
            drive.power.value = Ok(Power::Idle);
        });
    }

    /// The two drives have changed places.
    pub fn swap_places(&mut self) {
        let port = |key: &DriveKey| {
            let drive = self.calm.snapshot.drives.iter().find(|drive| drive.key == *key);
            drive.and_then(|drive| drive.port.clone())
        };
        let (one, other) = (port(&self.calm.one), port(&self.calm.other));
        self.each(Who::One, |drive| drive.port.clone_from(&other));
        self.each(Who::Other, |drive| drive.port.clone_from(&one));
    }

    /// The kernel's log tells something of drives.
    pub fn tell(&mut self, who: Who, what: EventKind) {
        for key in self.keys(who) {
            self.tell_of(Part::Drive(key), what);
        }
    }

    /// The kernel's log tells something of a part.
    pub fn tell_of(&mut self, part: Part, what: EventKind) {
        let line = "rehearsal: not a line of the kernel".to_owned();
        self.snapshot.events.push(Event { at: self.snapshot.taken, part, what, teller: EventSource::Log, line });
    }

    /// The controller of the first drive, by its key.
    pub fn controller(&self) -> String {
        let one = self.calm.snapshot.drives.iter().find(|drive| drive.key == self.calm.one);
        one.and_then(|drive| controller_of(drive.port.as_deref()?)).unwrap_or_default().to_owned()
    }

    /// The controller of the first drive is on the list and no longer there.
    pub fn stop_controller(&mut self) {
        let key = self.controller();
        let own = self.snapshot.controllers.iter_mut().filter(|controller| controller.key == key);
        own.for_each(|controller| controller.answers.value = Ok(false));
    }

    /// No driver has started the first drive's controller.
    pub fn without_driver(&mut self) {
        let key = self.controller();
        let own = self.snapshot.controllers.iter_mut().filter(|controller| controller.key == key);
        own.for_each(|controller| controller.driver = None);
    }

    /// So many errors were corrected on the PCIe link of the first drive's controller.
    pub fn bus_errors(&mut self, corrected: u64) {
        let key = self.controller();
        let own = self.snapshot.controllers.iter_mut().filter(|controller| controller.key == key);
        own.for_each(|controller| controller.bus_errors = box_parts::read(BusErrors { corrected, uncorrected: 0 }));
    }

    /// The machine runs this kernel.
    pub fn kernel(&mut self, release: &str) {
        self.snapshot.board.kernel = release.to_owned();
    }

    /// The links of the first drive's controller may save power.
    pub fn save_link_power(&mut self) {
        let key = self.controller();
        let own = self.snapshot.controllers.iter_mut().filter(|controller| controller.key == key);
        own.for_each(|controller| controller.link_power = Some("med_power_with_dipm".to_owned()));
    }

    /// The board is so much warmer.
    pub fn board_warmer(&mut self, by: f64) {
        for thermometer in &mut self.snapshot.temperatures {
            if let Ok(degrees) = &mut thermometer.value.value {
                degrees.0 += by;
            }
        }
    }

    /// The processor is this warm.
    pub fn processor(&mut self, degrees: f64) {
        let sensors = self.snapshot.temperatures.iter_mut().filter(|sensor| sensor.processor.is_some());
        sensors.for_each(|sensor| sensor.value.value = Ok(Celsius(degrees)));
    }

    /// The board's own alarm says that its supply is too low.
    pub fn starve_board(&mut self) {
        let low = box_parts::read(true);
        self.snapshot.undervoltages = vec![Undervoltage { key: format!("{} supply", box_parts::TEST), low }];
    }

    /// A sensor on the 12 V says this much.
    pub fn rail(&mut self, volts: f64) {
        let name = || format!("{} 12V", box_parts::TEST);
        let value = box_parts::read(Volts(volts));
        self.snapshot.rails = vec![Rail { key: name(), label: name(), nominal: Some(Nominal::Twelve), value }];
    }

    /// The links cannot be looked at.
    pub fn unseen(&mut self) {
        let why = Missing::of(Reason::TimedOut);
        self.snapshot.blind.push(Blind { what: Listing::Links, why });
    }

    /// The kernel has ended so many processes for want of memory.
    pub fn out_of_memory(&mut self, more: u64) {
        let before = self.calm.snapshot.board.out_of_memory.as_ref().and_then(|count| count.get().copied());
        self.snapshot.board.out_of_memory = Some(box_parts::read(before.unwrap_or(0) + more));
    }

    /// Changes the pool.
    pub fn pool(&mut self, change: impl Fn(&mut Pool)) {
        self.snapshot.pools.iter_mut().filter(|pool| Some(&pool.key) == self.calm.pool.as_ref()).for_each(change);
    }

    /// The pool is at work; what it fills is a member that it has lost, but for a comparison.
    pub fn work(&mut self, kind: ActivityKind, done: f64) {
        self.pool(|pool| {
            pool.activity = Activity { kind, done: Some(done), left: None, speed: None };
            if let (ActivityKind::Rebuild, Some(member)) = (kind, pool.members.first_mut()) {
                member.state = MemberState::Rebuilding;
                pool.missing = pool.missing.map(|missing| missing + 1);
            }
        });
    }

    /// The pool counts so many more errors of this kind on the drives.
    pub fn member_errors(&mut self, who: Who, kind: MemberErrorKind, by: u64) {
        let keys = self.keys(who);
        let drives = self.snapshot.drives.iter().filter(|drive| keys.contains(&drive.key));
        let devices: Vec<String> = drives.map(|drive| drive.device.clone()).collect();
        self.pool(|pool| {
            for member in pool.members.iter_mut().filter(|member| devices.contains(&member.drive_device)) {
                match member.errors.iter_mut().find(|errors| errors.kind == kind) {
                    Some(errors) => errors.count += by,
                    None => member.errors.push(MemberErrors { kind, count: by }),
                }
            }
        });
    }

    /// The volume is not mounted, though it should be.
    pub fn unmount(&mut self) {
        let meant = |volume: &Volume| Some(&volume.mount) == self.calm.volume.as_ref();
        let (gone, there) = std::mem::take(&mut self.snapshot.volumes).into_iter().partition(meant);
        self.snapshot.volumes = there;
        let wanted = |volume: Volume| Unmounted { mount: volume.mount, source: volume.source };
        let gone: Vec<Volume> = gone;
        self.snapshot.unmounted.extend(gone.into_iter().map(wanted));
    }

    /// The volume can hold only this share of its files as new ones.
    pub fn leave_files(&mut self, share: f64) {
        self.volume(|volume| {
            if let Ok(Room { files: Some(files), .. }) = &mut volume.room.value {
                files.free = (files.total as f64 * share) as u64;
            }
        });
    }

    /// Changes the volume.
    pub fn volume(&mut self, change: impl Fn(&mut Volume)) {
        let meant = |volume: &&mut Volume| Some(&volume.mount) == self.calm.volume.as_ref();
        self.snapshot.volumes.iter_mut().filter(meant).for_each(change);
    }

    /// The volume's room is filled but for this share.
    pub fn fill(&mut self, left: f64) {
        self.volume(|volume| {
            if let Ok(room) = &mut volume.room.value {
                let free = (room.size.0 as f64 * left) as u64;
                (room.free, room.used) = (Bytes(free), Bytes(room.size.0 - free));
            }
        });
    }

    /// Changes the fan.
    pub fn fan(&mut self, change: impl Fn(&mut Fan)) {
        self.snapshot.fans.iter_mut().filter(|fan| Some(&fan.key) == self.calm.fan.as_ref()).for_each(change);
    }

    /// Changes the network port.
    pub fn link(&mut self, change: impl Fn(&mut Link)) {
        self.snapshot.links.iter_mut().filter(|link| Some(&link.name) == self.calm.link.as_ref()).for_each(change);
    }
}
