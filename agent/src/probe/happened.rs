//! From the kernel's events to what happened to which part of the box: the kernel's names become drives, controllers and pools,
//! what several tell of one moment becomes one event, and readings add what only they show.

use super::kernel_names::{KernelNames, Marks, NamedDrive};
use super::seen::SeenDrive;
use crate::clock::Moment;
use crate::reading::{Drive, DriveKey, Event, EventKind, EventSource, Part, Power};
use crate::sense::drives::names_of;
use crate::sense::host::{Host, parts};
use crate::sense::parse::named::{KernelName, NamedEvent, disk_of};
use crate::sense::parse::{plain, sysfs};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// What is told of a part again within this time is told of the same: a sector that cannot be read is in the lines of the
/// port, of the drive and of the block layer. A storm of one kind has as many events as times like this.
const SAME: Duration = Duration::from_secs(2);
/// What was told is kept so long, for what arrives late.
const KEPT: Duration = Duration::from_secs(10);
/// So many events go with one snapshot; of more, the newest.
const MOST: usize = 256;
/// The longest line that is handed on, in characters.
const LONGEST_LINE: usize = 240;

/// What is remembered from one round to the next.
#[derive(Debug, Default)]
pub struct Happened {
    pending: Vec<NamedEvent>,
    names: KernelNames,
    /// PCI functions on the way to drives, with the chain of slots that leads to each: for when they are gone.
    slots: BTreeMap<String, String>,
    /// Drives that slept when they last said.
    asleep: BTreeSet<DriveKey>,
    /// When what was last told.
    told: BTreeMap<(Part, EventKind), Moment>,
}

impl Happened {
    /// Keeps events until the round has looked at the drives.
    pub fn add(&mut self, events: Vec<NamedEvent>) {
        self.pending.extend(events);
    }

    /// What happened since the round before, oldest first.
    pub fn events<'a>(
        &mut self,
        host: &Host,
        seen: impl Iterator<Item = &'a SeenDrive>,
        drives: &[Drive],
        now: Moment,
    ) -> Vec<Event> {
        let pending = std::mem::take(&mut self.pending);
        self.look(seen, &pending, now);
        let mut events: Vec<Event> = pending.into_iter().map(|event| self.event(host, event)).collect();
        events.extend(self.woken(drives));
        events.sort_by_key(|event| event.at);
        self.told.retain(|_, at| now.since(*at) <= KEPT);
        events.retain(|event| self.is_new(event));
        newest(events)
    }

    fn look<'a>(&mut self, seen: impl Iterator<Item = &'a SeenDrive>, events: &[NamedEvent], now: Moment) {
        let mut sights = Vec::new();
        for drive in seen {
            let spotted = &drive.spotted;
            let path: Vec<&str> = parts(spotted.path()).collect();
            for (index, part) in path.iter().enumerate().filter(|(_, part)| sysfs::place::is_pci_function(part)) {
                if let Some(chain) = sysfs::place::controller(&path[..=index]) {
                    self.slots.insert((*part).to_owned(), chain);
                }
            }
            let (key, device) = (drive.identity.key.clone(), spotted.device.clone());
            sights.push(NamedDrive { key, device, instance: spotted.instance, names: names_of(spotted) });
        }
        let mut marks = Marks::default();
        for event in events {
            let name = name(&event.part);
            match event.what {
                EventKind::Appeared => name.iter().for_each(|name| marks.came(name, event.at)),
                EventKind::Vanished => name.iter().for_each(|name| marks.went(name, event.at)),
                _ => {}
            }
        }
        self.names.look(&sights, &marks, now);
    }

    fn event(&self, host: &Host, event: NamedEvent) -> Event {
        let NamedEvent { at, part, what, teller, line } = event;
        let line = plain::cleaned(&line, LONGEST_LINE);
        Event { at, part: self.part(host, part, at), what, teller, line }
    }

    fn part(&self, host: &Host, named: KernelName, at: Moment) -> Part {
        let name = name(&named);
        let drive = match &named {
            KernelName::Disk(device, instance) if *instance != 0 => self.names.appearance(device, *instance),
            _ => name.as_ref().and_then(|name| self.names.who(name, at)),
        };
        if let Some(key) = drive {
            return Part::Drive(key.clone());
        }
        match named {
            KernelName::Block(device) if device.starts_with("md") => Part::Pool(disk_of(&device).to_owned()),
            KernelName::Pci(function) => match chain(host, &function).or_else(|| self.slots.get(&function).cloned()) {
                Some(chain) => Part::Controller(chain),
                None => Part::Place(function),
            },
            KernelName::Usb(chain) => Part::Usb(chain),
            KernelName::Pool(pool) => Part::Pool(pool),
            KernelName::Volume(device) => Part::Volume(device.trim_start_matches("/dev/").to_owned()),
            KernelName::Link(port) => Part::Link(port),
            KernelName::Bus(device) => Part::Bus(adapter(host, &device).unwrap_or(device)),
            KernelName::Board => Part::Board,
            KernelName::Ata { port, device: Some(device) } => Part::Place(format!("ata{port}.{device:02}")),
            KernelName::Ata { port, device: None } => Part::Place(format!("ata{port}")),
            KernelName::Block(name) | KernelName::Disk(name, _) | KernelName::Scsi(name) | KernelName::Host(name) => {
                Part::Place(name)
            }
            KernelName::Nvme(name) | KernelName::Card(name) | KernelName::Other(name) => Part::Place(name),
        }
    }

    /// Drives that have slept and do no more: nobody says so, but their readings show it.
    fn woken(&mut self, drives: &[Drive]) -> Vec<Event> {
        let mut woken = Vec::new();
        for drive in drives {
            match drive.power.get() {
                Some(Power::Asleep) => _ = self.asleep.insert(drive.key.clone()),
                Some(Power::Active | Power::Idle) if self.asleep.remove(&drive.key) => woken.push(Event {
                    at: drive.power.taken,
                    part: Part::Drive(drive.key.clone()),
                    what: EventKind::Woke,
                    teller: EventSource::Reading,
                    line: String::new(),
                }),
                _ => {}
            }
        }
        self.asleep.retain(|key| drives.iter().any(|drive| drive.key == *key));
        woken
    }

    /// False for what has just been told, by whomever.
    fn is_new(&mut self, event: &Event) -> bool {
        let last = self.told.get(&(event.part.clone(), event.what));
        let is_same = last.is_some_and(|last| event.at.apart(*last) <= SAME);
        if !is_same {
            self.told.insert((event.part.clone(), event.what), event.at);
        }
        !is_same || matches!(event.what, EventKind::LinesLost(_))
    }
}

/// The name of a drive in [`KernelNames`], where the part may be one.
fn name(part: &KernelName) -> Option<String> {
    Some(match part {
        KernelName::Ata { port, device: Some(device) } => format!("ata{port}.{device}"),
        KernelName::Ata { port, device: None } => format!("ata{port}"),
        KernelName::Block(device) => disk_of(device).to_owned(),
        KernelName::Disk(name, _)
        | KernelName::Scsi(name)
        | KernelName::Host(name)
        | KernelName::Nvme(name)
        | KernelName::Card(name) => name.clone(),
        _ => return None,
    })
}

/// The chain of slots that leads to a PCI function now.
fn chain(host: &Host, function: &str) -> Option<String> {
    let path = host.resolve(&host.path("/sys/bus/pci/devices").join(function)).ok()?;
    sysfs::place::controller(&parts(&path).collect::<Vec<_>>())
}

/// The I2C bus that hangs on this device.
fn adapter(host: &Host, device: &str) -> Option<String> {
    let folder = host.path("/sys/class/i2c-adapter");
    let hangs_on = |name: &String| {
        let path = host.resolve(&folder.join(name));
        path.is_ok_and(|path| parts(&path).any(|part| part == device))
    };
    host.list(&folder).ok()?.into_iter().find(hangs_on)
}

/// The newest, and how many others there were.
fn newest(mut events: Vec<Event>) -> Vec<Event> {
    let surplus = events.len().saturating_sub(MOST);
    if surplus > 0 {
        events.drain(..surplus - 1);
        let what = EventKind::LinesLost(surplus as u64);
        events[0] = Event { at: events[0].at, part: Part::Board, what, teller: EventSource::Log, line: String::new() };
    }
    events
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::{heron, story};
    use crate::reading::{Missing, Reading, Reason, Source};

    fn at(milliseconds: u64) -> Moment {
        Moment::after_boot(Duration::from_millis(milliseconds))
    }

    fn an_event(milliseconds: u64, part: KernelName, what: EventKind) -> NamedEvent {
        NamedEvent { at: at(milliseconds), part, what, teller: EventSource::Log, line: "as told".into() }
    }

    fn events(happened: &mut Happened, all: Vec<NamedEvent>, now: u64) -> Vec<(u64, Part, EventKind)> {
        happened.add(all);
        let nothing = Host::at("/nowhere");
        let events = happened.events(&nothing, std::iter::empty(), &[], at(now));
        events.into_iter().map(|event| (event.at.since_boot().as_millis() as u64, event.part, event.what)).collect()
    }

    #[test]
    fn what_is_told_again_within_two_seconds_is_the_same_whenever_it_arrives() {
        let mut happened = Happened::default();
        let reset = |at| an_event(at, KernelName::Usb("2.1".into()), EventKind::Reset);
        let mut told = |all: &[u64], now| -> Vec<u64> {
            let all = all.iter().map(|at| reset(*at)).collect();
            events(&mut happened, all, now).into_iter().map(|event| event.0).collect()
        };
        assert_eq!(told(&[5_000, 5_400, 7_001, 3_000], 8_000), [3_000, 5_400], "a storm has one every two seconds");
        assert_eq!(told(&[7_300, 7_401], 9_500), [7_401], "7,300 is late, and of 5,400");
        assert_eq!(told(&[6_000], 10_000), [0; 0], "later still");
        let other = an_event(7_402, KernelName::Usb("2.2".into()), EventKind::Reset);
        assert_eq!(events(&mut happened, vec![other], 11_000).len(), 1, "another part");
    }

    #[test]
    fn unknown_parts_are_places_and_the_order_is_that_of_time() {
        let parts = [
            (KernelName::Ata { port: 3, device: Some(1) }, Part::Place("ata3.01".into())),
            (KernelName::Block("sdx1".into()), Part::Place("sdx1".into())),
            (KernelName::Disk("sdx".into(), 9), Part::Place("sdx".into())),
            (KernelName::Pci("0000:00:1f.2".into()), Part::Place("0000:00:1f.2".into())),
            (KernelName::Block("md0p1".into()), Part::Pool("md0".into())),
            (KernelName::Volume("/dev/sda1".into()), Part::Volume("sda1".into())),
            (KernelName::Bus("1f00074000.i2c".into()), Part::Bus("1f00074000.i2c".into())),
            (KernelName::Board, Part::Board),
        ];
        let mut all: Vec<NamedEvent> = (1..)
            .zip(&parts)
            .map(|(time, (named, _))| an_event(time, named.clone(), EventKind::CommandFailed))
            .collect();
        all.reverse();
        let told: Vec<Part> = events(&mut Happened::default(), all, 100).into_iter().map(|(_, part, _)| part).collect();
        assert_eq!(told, parts.map(|(_, part)| part));
    }

    #[test]
    fn of_very_many_the_newest_are_handed_on_and_the_others_counted() {
        let many =
            (0..1_000).map(|number| an_event(number, KernelName::Other(format!("part {number}")), EventKind::Reset));
        let told = events(&mut Happened::default(), many.collect(), 1_000);
        assert_eq!(told.len(), MOST + 1);
        assert_eq!(told[0], (743, Part::Board, EventKind::LinesLost(744)));
        assert_eq!(told[1].1, Part::Place("part 744".into()));
    }

    #[test]
    fn lines_that_were_lost_are_each_time_others() {
        let lost = |at| an_event(at, KernelName::Board, EventKind::LinesLost(5));
        assert_eq!(events(&mut Happened::default(), vec![lost(1), lost(2)], 10).len(), 2);
    }

    #[test]
    fn a_drive_that_slept_and_is_active_has_woken_whatever_it_said_between() {
        let mut happened = Happened::default();
        let mut drives = heron::snapshot(at(0), &story::scene(Duration::ZERO)).drives;
        let mut told = |power: Result<Power, Reason>, second: u64| {
            let power = power.map_err(Missing::of);
            drives[0].power = Reading::new(power, at(second), Source::Drive);
            let nothing = Host::at("/nowhere");
            let events = happened.events(&nothing, std::iter::empty(), &drives, at(second));
            events.into_iter().map(|event| (event.at, event.what, event.teller)).collect::<Vec<_>>()
        };
        assert_eq!(told(Ok(Power::Active), 1), []);
        assert_eq!(told(Ok(Power::Asleep), 2), []);
        assert_eq!(told(Err(Reason::NotRead), 3), []);
        assert_eq!(told(Ok(Power::Idle), 20_000), [(at(20_000), EventKind::Woke, EventSource::Reading)]);
        assert_eq!(told(Ok(Power::Active), 20_001), []);
    }
}
