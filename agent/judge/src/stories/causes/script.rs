//! A small language for stories of `heron`: lines of `second verb what`, and the box as they leave it. Trays have the
//! numbers that stand on them; `md0` is on the drives of trays 1 to 5.

use super::going;
use super::recordings;
use super::tray::Tray;
use super::words::{activity, counter, error, event_kind, index, number, plugged};
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{
    ActivityKind, Blind, BusErrors, Controller, ControllerKind, DriveKey, Event, EventKind, EventSource, Fan, Listing,
    Member, MemberErrorKind, MemberErrors, MemberState, Missing, Part, PcieLink, Processor, Reading, Reason, Snapshot,
    Source, Temperature, Traffic, Undervoltage, Volume, Writing,
};
use traylight_data::units::{BytesPerSecond, Celsius, Rpm};
use traylight_heron::{heron, story};
use traylight_parse::md;

/// The controller that all trays are on.
pub const CONTROLLER: &str = "0000/1c.0/00.0";
/// Another, where a story has one.
pub const SECOND_CARD: &str = "0000/1d.0/00.0";

/// One line of a script.
#[derive(Debug, Clone)]
pub struct Step {
    /// When.
    pub second: u64,
    /// What happens, in words.
    pub words: Vec<String>,
}

/// Reads a script: steps are divided by `;`, and one without a second happens with the one before.
pub fn read(script: &str) -> Vec<Step> {
    let mut second = 0;
    let step = |line: &str| {
        let mut words: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
        if let Some(at) = words.first().and_then(|word| word.parse().ok()) {
            second = at;
            words.remove(0);
        }
        going::steps(second, words)
    };
    let mut steps: Vec<Step> = script.split(';').flat_map(step).collect();
    steps.sort_by_key(|step| step.second);
    steps
}

/// How a script has left the box.
#[derive(Debug, Clone, Default)]
pub struct ScriptedBox {
    trays: [Tray; 6],
    /// Members that wait to be filled, or are.
    activity: Option<ActivityKind>,
    level: Option<String>,
    mismatches: Option<u64>,
    board: Option<f64>,
    fan_stands: bool,
    low: bool,
    quiet: bool,
    volume_stops: bool,
    /// A volume is on a partition of the drive in this tray.
    mounted: Option<usize>,
    blind: bool,
    controller: Option<(Plugged, Option<String>)>,
    /// The PCIe link of the controller: corrected errors so far, and whether it has become slower.
    bus_errors: u64,
    is_slow: bool,
    kernel: Option<String>,
    processor: Option<f64>,
    /// What is told in the next snapshot.
    told: Vec<(Part, EventKind)>,
    /// What the kernel's log tells, and when, in milliseconds.
    log: Vec<(u64, Part, EventKind)>,
    /// How long the machine was suspended so far, in seconds.
    pub suspended: u64,
    /// A second card, of which no errors are counted.
    has_second_card: bool,
    /// Errors on PCIe links are not counted here.
    no_bus_errors: bool,
    /// No tachometer is read.
    no_fan: bool,
    /// A second header for a fan, and how fast that turns.
    second_fan: Option<u32>,
}

#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Plugged {
    #[default]
    Works,
    AllOnes,
    NoDriver,
    Gone,
    /// It is gone, and no other is left.
    GoneAlone,
}

impl ScriptedBox {
    /// What a step does to the box.
    pub fn take(&mut self, step: &Step) {
        let words: Vec<&str> = step.words.iter().map(String::as_str).collect();
        match words[..] {
            [] | ["end"] => {}
            ["lose", ..] => self.each(&words[1..], |tray| (tray.is_gone, tray.is_out) = (true, true)),
            ["pull", ..] => self.each(&words[1..], |tray| tray.is_gone = true),
            ["back", ..] => self.each(&words[1..], |tray| (tray.is_gone, tray.stalled_since) = (false, None)),
            ["out", ..] => self.each(&words[1..], |tray| tray.is_out = true),
            ["rejoin", ..] => self.each(&words[1..], |tray| (tray.is_out, tray.is_filled) = (false, false)),
            ["thrown-out", ..] => self.each(&words[1..], |tray| tray.is_faulty = true),
            ["serves", tray, what] => self.each(&[tray], |tray| tray.serves = Some(going::purpose(what))),
            ["twin", tray, other] => {
                let twin = serial(index(other));
                self.each(&[tray], |tray| tray.serial = Some(Some(twin.clone())));
            }
            ["mounted", tray] => self.mounted = Some(index(tray)),
            ["nameless", ..] => self.each(&words[1..], |tray| tray.serial = Some(None)),
            ["elsewhere", ..] => self.each(&words[1..], |tray| tray.serial = Some(Some("HN26-JAYS".to_owned()))),
            ["spare", ..] => self.each(&words[1..], |tray| tray.is_spare = true),
            ["fill", ..] => self.each(&words[1..], |tray| (tray.is_out, tray.is_filled) = (false, true)),
            ["asleep", ..] => self.each(&words[1..], |tray| tray.asleep = true),
            ["awake", ..] => self.each(&words[1..], |tray| tray.asleep = false),
            ["stall", ..] => self.each(&words[1..], |tray| tray.stalled_since = Some(step.second)),
            ["go-on", ..] => self.each(&words[1..], |tray| tray.stalled_since = None),
            ["tries-long", ..] => self.each(&words[1..], |tray| tray.tries_long = true),
            ["failing", ..] => self.each(&words[1..], |tray| tray.fails = true),
            ["unasked", ..] => {
                self.each(&words[1..], |tray| tray.unasked = Some((step.second, tray.counters.clone())));
            }
            ["asked", ..] => self.each(&words[1..], |tray| tray.unasked = None),
            ["log", tray, name] => {
                self.log.extend(recordings::log(name, step.second, Part::Drive(DriveKey(serial(index(tray))))))
            }
            ["timeouts", tray, count] => self.each(&[tray], |tray| tray.timeouts = number(count)),
            ["speed", tray, speed] => self.each(&[tray], |tray| tray.speed = Some(number(speed))),
            ["port", tray, port] => self.each(&[tray], |tray| tray.port = Some(port.to_owned())),
            ["hot", tray, degrees] => self.each(&[tray], |tray| tray.degrees = Some(number(degrees))),
            ["count", tray, name, value] => {
                self.each(&[tray], |tray| {
                    tray.counters.insert(counter(name).to_owned(), number(value));
                });
            }
            ["errors", tray, kind, count] => {
                self.each(&[tray], |tray| tray.errors = vec![(error(kind), number(count))])
            }
            ["pool", what] => self.activity = Some(activity(what)),
            ["level", level] => self.level = Some(level.to_owned()),
            ["mismatches", sectors] => self.mismatches = Some(number(sectors)),
            ["processor", degrees] => self.processor = Some(number(degrees)),
            ["board", degrees] => self.board = Some(number(degrees)),
            ["fan", "stands"] => self.fan_stands = true,
            ["low", is_low] => self.low = is_low == "on",
            ["volume", "stops"] => self.volume_stops = true,
            ["volume", "goes-on"] => self.volume_stops = false,
            ["quiet"] => self.quiet = true,
            ["blind"] => self.blind = true,
            ["seeing"] => self.blind = false,
            ["controller", "uncounted"] => self.no_bus_errors = true,
            ["second-card"] => self.has_second_card = true,
            ["second-fan", does] => self.second_fan = Some(if does == "turns" { 1200 } else { 0 }),
            ["fan", "untold"] => self.no_fan = true,
            ["controller", "errors", count] => self.bus_errors = number(count),
            ["controller", "slow"] => self.is_slow = true,
            ["kernel", release] => self.kernel = Some(release.to_owned()),
            ["controller", "saves", policy] => self.controller = Some((Plugged::Works, Some(policy.to_owned()))),
            ["controller", state] => self.controller = Some((plugged(state), None)),
            ["tell", "drive", tray, ref what @ ..] => {
                self.told.push((Part::Drive(DriveKey(serial(index(tray)))), event_kind(what)));
            }
            ["tell", "controller", ref what @ ..] => {
                self.told.push((Part::Controller(CONTROLLER.to_owned()), event_kind(what)));
            }
            ["tell", "usb", chain, ref what @ ..] => self.told.push((Part::Usb(chain.to_owned()), event_kind(what))),
            ref other => panic!("a story has no {other:?}"),
        }
    }

    fn each(&mut self, trays: &[&str], change: impl Fn(&mut Tray)) {
        for name in trays {
            match *name {
                "all" => self.trays.iter_mut().for_each(&change),
                name => change(&mut self.trays[index(name)]),
            }
        }
    }

    /// The box now; what was told since the snapshot before is in it.
    pub fn snapshot(&mut self, moment: impl Fn(u64) -> Moment, second: u64) -> Snapshot {
        let now = moment(second);
        let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
        snapshot.suspended = Duration::from_secs(self.suspended);
        let event = |at, part, what| Event { at, part, what, teller: EventSource::Log, line: "a line".to_owned() };
        snapshot.events =
            std::mem::take(&mut self.told).into_iter().map(|(part, what)| event(now, part, what)).collect();
        let (due, later) = std::mem::take(&mut self.log).into_iter().partition(|(at, ..)| *at <= second * 1000);
        self.log = later;
        let due: Vec<(u64, Part, EventKind)> = due;
        let logged = due.into_iter().map(|(at, part, what)| {
            let at = moment(at / 1000).plus(Duration::from_millis(at % 1000));
            event(at, part, what)
        });
        snapshot.events.extend(logged);
        snapshot.events.sort_by_key(|event| event.at);
        for (tray, drive) in self.trays.iter().zip(&mut snapshot.drives) {
            tray.fill_in(drive, &moment);
            if self.quiet {
                drive.traffic.value = Ok(Traffic { inward: BytesPerSecond(0.0), outward: BytesPerSecond(0.0) });
            }
        }
        let gone: Vec<String> = self.devices(&snapshot, |tray| tray.is_gone);
        let out: Vec<String> = self.devices(&snapshot, |tray| tray.is_out);
        let filled: Vec<String> = self.devices(&snapshot, |tray| tray.is_filled);
        let faulty: Vec<String> = self.devices(&snapshot, |tray| tray.is_faulty);
        let spares: Vec<String> = self.devices(&snapshot, |tray| tray.is_spare);
        let errors: Vec<_> = snapshot.drives.iter().map(|drive| drive.device.clone()).zip(&self.trays).collect();
        let pool = &mut snapshot.pools[0];
        pool.members.retain(|member| !out.contains(&member.drive_device));
        let model = pool.members.first().cloned();
        let spare = |device: &String| {
            let of = (device.clone(), device.clone());
            Some(Member { device: of.0, drive_device: of.1, state: MemberState::Spare, slot: None, ..model.clone()? })
        };
        pool.members.extend(spares.iter().filter(|spare| !out.contains(spare)).filter_map(spare));
        for member in &mut pool.members {
            member.device_gone = gone.contains(&member.drive_device);
            if filled.contains(&member.drive_device) {
                member.state = MemberState::Rebuilding;
            }
            if faulty.contains(&member.drive_device) {
                (member.state, member.slot) = (MemberState::Faulty, None);
            }
            if let Some((_, tray)) = errors.iter().find(|(device, _)| *device == member.drive_device) {
                member.errors = KINDS.map(|kind| MemberErrors { kind, count: tray.counted(kind) }).to_vec();
            }
        }
        let holds = |member: &&Member| member.state == MemberState::Active;
        pool.missing = Some(pool.wanted - pool.members.iter().filter(holds).count() as u32);
        pool.activity.kind = self.activity.unwrap_or(pool.activity.kind);
        pool.mismatches = self.mismatches;
        if let Some(level) = &self.level {
            pool.level.clone_from(level);
            pool.groups = md::layout::groups(level, pool.wanted, 0x102);
        }
        snapshot.drives.retain(|drive| !gone.contains(&drive.device));
        if self.no_fan {
            snapshot.fans[0].speed.value = Err(Missing::found(Reason::TimedOut, "no answer"));
        }
        if let Some(rpm) = self.second_fan {
            let speed = Reading::new(Ok(Rpm(rpm)), now, Source::Hwmon);
            let duty = Some(if rpm == 0 { 0.0 } else { 0.5 });
            let (key, label) = ("hutfan/fan2".to_owned(), "fan2".to_owned());
            snapshot.fans.push(Fan { key, label, speed, duty, fault: false });
        }
        if self.fan_stands {
            snapshot.fans[0].speed.value = Ok(Rpm(0));
        }
        if let Some(degrees) = self.processor {
            let processor = Some(Processor::SystemOnChip);
            let (key, value) = ("hutboard/temp2".to_owned(), Reading::new(Ok(Celsius(degrees)), now, Source::Hwmon));
            snapshot.temperatures.push(Temperature { label: key.clone(), key, value, critical: None, processor });
        }
        if let Some(degrees) = self.board {
            snapshot.temperatures[0].value.value = Ok(Celsius(degrees));
        }
        snapshot.undervoltages =
            vec![Undervoltage { key: "hutboard/in0".into(), low: Reading::new(Ok(self.low), now, Source::Hwmon) }];
        if let Some((plugged, saves)) = &self.controller {
            snapshot.controllers = controllers(now, *plugged, saves.clone());
        }
        if self.has_second_card {
            let mut other = snapshot.controllers[0].clone();
            other.key = SECOND_CARD.to_owned();
            snapshot.controllers.push(other);
        }
        if self.no_bus_errors {
            let none = || Err(Missing::found(Reason::NotAvailable, "no such file"));
            snapshot.controllers.iter_mut().for_each(|card| card.bus_errors.value = none());
        }
        if self.volume_stops {
            let on_pool = |volume: &&mut Volume| volume.source == "/dev/md0";
            snapshot.volumes.iter_mut().filter(on_pool).for_each(|volume| volume.writing = Writing::StoppedByError);
        }
        if let Some(drive) = self.mounted.and_then(|tray| snapshot.drives.get(tray)) {
            let source = format!("/dev/{}3", drive.device);
            snapshot.volumes.extend(snapshot.volumes.first().cloned().map(|volume| Volume { source, ..volume }));
        }
        if let Some(card) = snapshot.controllers.iter_mut().find(|card| card.key == CONTROLLER) {
            if let Ok(errors) = &mut card.bus_errors.value {
                *errors = BusErrors { corrected: self.bus_errors, uncorrected: 0 };
            }
            if self.is_slow {
                card.pcie_link.value = Ok(PcieLink { gigatransfers: 2.5, width: 1 });
            }
        }
        if let Some(kernel) = &self.kernel {
            snapshot.board.kernel.clone_from(kernel);
        }
        if self.blind {
            blind(&mut snapshot);
        }
        snapshot
    }

    fn devices(&self, snapshot: &Snapshot, of: impl Fn(&Tray) -> bool) -> Vec<String> {
        let pairs = self.trays.iter().zip(&snapshot.drives);
        pairs.filter(|(tray, _)| of(tray)).map(|(_, drive)| drive.device.clone()).collect()
    }
}

/// The kinds of errors that the pool counts.
const KINDS: [MemberErrorKind; 3] = [MemberErrorKind::Read, MemberErrorKind::Write, MemberErrorKind::Checksum];

/// The serial of the drive in a tray, from 0.
pub fn serial(tray: usize) -> String {
    let snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
    snapshot.drives[tray].key.0.clone()
}

fn controllers(now: Moment, plugged: Plugged, link_power: Option<String>) -> Vec<Controller> {
    let read = |value| Reading::new(Ok(value), now, Source::Sysfs);
    let card = |key: &str, kind, plugged, link_power| Controller {
        key: key.to_owned(),
        kind,
        id: "1d5c:0585".to_owned(),
        driver: (plugged != Plugged::NoDriver).then(|| "ahci".to_owned()),
        answers: read(plugged != Plugged::AllOnes),
        pcie_link: Reading::new(Ok(PcieLink { gigatransfers: 8.0, width: 1 }), now, Source::Sysfs),
        bus_errors: Reading::new(Ok(BusErrors::default()), now, Source::Sysfs),
        link_power,
    };
    let host = card("0000/14.0", ControllerKind::UsbHost, Plugged::Works, None);
    let sata = card(CONTROLLER, ControllerKind::Storage, plugged, link_power);
    match plugged {
        Plugged::Gone => vec![host],
        Plugged::GoneAlone => Vec::new(),
        Plugged::Works | Plugged::AllOnes | Plugged::NoDriver => vec![sata, host],
    }
}

/// Nothing could be looked at.
pub fn blind(snapshot: &mut Snapshot) {
    let why = || Missing::found(Reason::TimedOut, "no answer");
    let what = [Listing::Drives, Listing::Pools, Listing::Controllers, Listing::Mounts];
    snapshot.blind = what.into_iter().map(|what| Blind { what, why: why() }).collect();
    snapshot.drives.clear();
    snapshot.pools.clear();
    snapshot.controllers.clear();
    snapshot.volumes.clear();
    snapshot.fans.clear();
    snapshot.temperatures.clear();
    snapshot.undervoltages.clear();
    snapshot.rails.clear();
    snapshot.links.clear();
}
