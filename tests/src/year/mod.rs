//! A year of healthy boxes: seasons, days, starts, monthly checks, suspends, backups and updates, judged as the program would
//! judge them, with time that is only counted. Nothing is wrong with any of them, so whatever is told is told for nothing.

mod boxes;

pub use boxes::{BOXES, Disks, Fans, Kind, Night};
use boxes::{counter, pattern, settings};
use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::time::Duration;
use traylight::clock::Moment;
use traylight::judge::{Memory, judge};
use traylight::reading::{Activity, ActivityKind, Drive, Itself, LastCheck, Power, Reading, Snapshot, Source, Traffic};
use traylight::units::{Bytes, BytesPerSecond, Celsius, Rpm};
use traylight::verdict::{Change, Severity};
use traylight_config::Settings;

const MINUTE: u64 = 60;
const HOUR: u64 = 3600;
const DAY: u64 = 86_400;
/// So long after a change is looked each minute, as the program does; else every ten minutes.
const CLOSELY: u64 = 25 * MINUTE;
const SELDOM: u64 = 10 * MINUTE;

/// What was told of a box in a year: how often each condition opened or got worse, by its id and severity, and when.
#[derive(Debug, Default)]
pub struct Told {
    /// How often.
    pub counts: BTreeMap<(String, Severity), usize>,
    /// Day, time of day and words.
    pub lines: Vec<String>,
    /// How often was looked.
    pub looks: usize,
}

impl Told {
    /// How many were warnings or worse.
    pub fn alerts(&self) -> usize {
        self.counts.iter().filter(|((_, severity), _)| *severity >= Severity::Warning).map(|(_, count)| count).sum()
    }

    /// How many were notices.
    pub fn notices(&self) -> usize {
        self.counts.values().sum::<usize>() - self.alerts()
    }
}

/// Plays a year, of which every so many days are played and the others only pass.
pub fn year(kind: Kind, every: u64) -> Told {
    let mut the_box = Played::new(kind);
    for day in (0..365).step_by(every as usize) {
        the_box.day(day);
        the_box.pass((every - 1) * DAY);
    }
    the_box.told
}

/// What a box does at a time of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Doing {
    off: bool,
    suspended: bool,
    asleep: bool,
    backup: bool,
    checks: bool,
}

struct Played {
    kind: Kind,
    settings: Settings,
    memory: Memory,
    /// What never changes.
    pattern: Snapshot,
    /// Seconds since the machine has started, how many of them it was suspended, and how often it has started.
    up: u64,
    suspended: u64,
    starts: i64,
    boots: u32,
    /// How warm each drive is.
    degrees: Vec<f64>,
    /// Whether the fan turns.
    fan_turns: bool,
    was: Doing,
    closely_until: u64,
    month: u64,
    /// The day of the month's check.
    check_day: u64,
    kernel: u32,
    told: Told,
}

impl Played {
    fn new(kind: Kind) -> Self {
        let (settings, pattern) = (settings(kind), pattern(kind));
        let was = Doing { off: false, suspended: false, asleep: false, backup: false, checks: false };
        let mut memory = Memory::default();
        memory.end();
        let degrees = vec![18.0; kind.drives];
        let (month, check_day, told) = (u64::MAX, 0, Told::default());
        Self {
            kind,
            settings,
            memory,
            pattern,
            up: 20,
            suspended: 0,
            starts: 40,
            boots: 0,
            degrees,
            fan_turns: true,
            was,
            closely_until: CLOSELY,
            month,
            check_day,
            kernel: 48,
            told,
        }
    }

    /// Time in which nothing happens.
    fn pass(&mut self, seconds: u64) {
        self.memory.let_time_pass(Duration::from_secs(seconds));
        self.up += seconds;
        self.closely_until = 0;
    }

    fn day(&mut self, day: u64) {
        if day * 12 / 365 != self.month {
            self.month = day * 12 / 365;
            self.check_day = day;
        }
        let mut second = 0;
        while second < DAY {
            let doing = self.doing(day, second);
            self.change(doing, day, second);
            let step = match self.up {
                ..180 => 10,
                _ if second < self.closely_until => MINUTE,
                _ => SELDOM - second % SELDOM,
            };
            if !(doing.off || doing.suspended) {
                self.look(day, second, doing);
                self.memory.let_time_pass(Duration::from_secs(step.saturating_sub(60)));
            }
            self.warm(day, second, doing, step);
            self.up += if doing.off { 0 } else { step };
            self.suspended += if doing.suspended { step } else { 0 };
            second += step;
        }
        self.closely_until = self.closely_until.saturating_sub(DAY);
    }

    fn doing(&self, day: u64, second: u64) -> Doing {
        let within = |from: u64, to: u64| (from * 600..to * 600).contains(&second);
        let night = self.kind.night;
        let is_awake_at_two = matches!(night, Night::On | Night::Sleeps);
        let checks = day == self.check_day && within(48, 105);
        let backup = if is_awake_at_two { within(12, 19) } else { within(72, 79) };
        let rests = within(0, 12) || within(21, 42) || within(60, 96) || within(138, 144);
        let off = match night {
            Night::Off => within(0, 42) || within(141, 144),
            // It is taken apart for cleaning four times a year.
            _ => day == self.check_day && self.month % 3 == 1 && within(114, 132),
        };
        Doing {
            off,
            suspended: night == Night::Suspends && within(3, 39),
            asleep: night == Night::Sleeps && rests && !backup && !checks,
            backup,
            checks,
        }
    }

    fn change(&mut self, doing: Doing, day: u64, second: u64) {
        if doing == self.was {
            // The kernel is renewed in the evening after the check.
            if day == self.check_day && second == 108 * 600 && !doing.off {
                self.kernel += 1;
                self.memory.end();
                self.start(Duration::ZERO);
                self.closely_until = second + CLOSELY;
            }
            return;
        }
        match (self.was.off, doing.off) {
            (false, true) => self.memory.end(),
            (true, false) => {
                self.starts += 1;
                self.start(Duration::from_secs(3 * HOUR));
            }
            _ => {}
        }
        if self.was.suspended && !doing.suspended && self.kind.disks == Disks::Sata {
            self.starts += 1;
        }
        self.was = doing;
        self.closely_until = second + CLOSELY;
    }

    /// The machine starts after it was off for so long.
    fn start(&mut self, off: Duration) {
        let ended = moment(self.up);
        let back = ended.since_boot() + off;
        let kept = self.memory.ledger().as_kept();
        let Ok(mut ledger) = kept else { unreachable!("a ledger can be written down") };
        ledger.move_back(ended, |at| at.minus(back));
        self.boots += 1;
        ledger.begin(&format!("boot {}", self.boots));
        self.memory = Memory::with_ledger(ledger);
        (self.up, self.suspended) = (20, 0);
    }

    /// How warm the room is.
    fn room(day: u64, second: u64) -> f64 {
        let season = 18.0 + 6.0 * (TAU * (day as f64 - 110.0) / 365.0).sin();
        let heat_wave = if (200..207).contains(&day) { 4.0 } else { 0.0 };
        season + heat_wave + 2.5 * (TAU * (second as f64 - 32_400.0) / DAY as f64).sin()
    }

    fn warm(&mut self, day: u64, second: u64, doing: Doing, step: u64) {
        let room = Self::room(day, second);
        let (rests, works, minutes) = match self.kind.disks {
            Disks::Nvme => (20.0, 16.0, 5.0),
            // The fan of a healthy box copes: at work in a heat wave its disks stay below their limit (common practice, no
            // source: 10 to 15 degrees above the room at rest, some more at work).
            Disks::Sata | Disks::Usb => (12.0, 6.0, 18.0),
        };
        let cooling = if self.fan_turns || self.kind.fans == Fans::None { 0.0 } else { 3.0 };
        for (index, degrees) in self.degrees.iter_mut().enumerate() {
            let of_tray = (index % 5) as f64 * 0.4;
            let above = match doing {
                Doing { off: true, .. } | Doing { suspended: true, .. } => 0.0,
                Doing { asleep: true, .. } => 2.0,
                Doing { backup: true, .. } | Doing { checks: true, .. } => rests + works + cooling + of_tray,
                _ => rests + cooling + of_tray,
            };
            *degrees += (room + above - *degrees) * (1.0 - (-(step as f64) / 60.0 / minutes).exp());
        }
    }

    fn look(&mut self, day: u64, second: u64, doing: Doing) {
        let now = moment(self.up);
        let snapshot = self.snapshot(now, day, second, doing);
        let itself = Itself::default();
        let (_, changes) = judge(&self.settings, &mut self.memory, now, Some(&snapshot), &itself);
        self.told.looks += 1;
        for change in changes {
            let condition = change.condition();
            let is_news = matches!(change, Change::Opened(_) | Change::Worsened(_));
            let (id, severity) = (condition.kind().id().to_owned(), condition.severity);
            let time = format!("day {day} {:02}:{:02}", second / HOUR, second / MINUTE % 60);
            if is_news {
                self.told.lines.push(format!("{time} {id} {severity} {:?}", condition.finding));
                *self.told.counts.entry((id, severity)).or_default() += 1;
            }
        }
    }

    fn snapshot(&mut self, now: Moment, day: u64, second: u64, doing: Doing) -> Snapshot {
        let mut snapshot = self.pattern.clone();
        snapshot.taken = now;
        snapshot.suspended = Duration::from_secs(self.suspended);
        snapshot.board.kernel = format!("6.12.{}", self.kernel);
        let busy = if doing.backup || doing.checks { 120e6 } else { 0.2e6 };
        for (drive, degrees) in snapshot.drives.iter_mut().zip(&self.degrees) {
            self_drive(drive, now, *degrees, doing.asleep, if doing.asleep { 0.0 } else { busy });
            // Asked twice an hour, and not in its sleep.
            let asked = moment(self.up - self.up % 1800);
            if let Ok(health) = &mut drive.health.value {
                drive.health.taken = asked;
                let hours = 9_000 + (day * 24 + second / HOUR) as i64;
                health.counters.push(counter("power_on_hours", hours));
                health.counters.push(counter("power_cycles", self.starts));
            }
        }
        let warmest = self.degrees.iter().copied().fold(0.0, f64::max);
        self.turn_fan(&mut snapshot, now, warmest);
        let room = Self::room(day, second);
        for temperature in &mut snapshot.temperatures {
            let above = if temperature.processor.is_some() { 28.0 } else { 20.0 };
            let work = if busy > 1e6 { 9.0 } else { 0.0 };
            temperature.value = read(now, Celsius((room + above + work).round()));
        }
        for reading in &mut snapshot.undervoltages {
            reading.low = read(now, false);
        }
        let pool = &mut snapshot.pools[0];
        pool.running.taken = now;
        // The check of each month, also of days that only pass.
        let today = 20_000 + day;
        pool.last_check = Some(LastCheck::by((today - day % 30) * DAY, Some(today * DAY)));
        pool.activity = match doing.checks {
            true => Activity {
                kind: ActivityKind::Check,
                done: Some((second - 48 * 600) as f64 / (57.0 * 600.0)),
                left: None,
                speed: Some(BytesPerSecond(110e6)),
            },
            false => Activity::IDLE,
        };
        fill(&mut snapshot, now, day);
        for link in &mut snapshot.links {
            (link.up.taken, link.speed.taken) = (now, now);
        }
        for controller in &mut snapshot.controllers {
            (controller.answers.taken, controller.pcie_link.taken, controller.bus_errors.taken) = (now, now, now);
        }
        snapshot
    }

    fn turn_fan(&mut self, snapshot: &mut Snapshot, now: Moment, warmest: f64) {
        let rests = matches!(self.kind.fans, Fans::Rests | Fans::UnknownRests);
        self.fan_turns = match warmest {
            _ if !rests => true,
            34.0.. => true,
            ..30.0 => false,
            _ => self.fan_turns,
        };
        let level = if self.fan_turns { ((warmest - 20.0) / 25.0).clamp(0.3, 1.0) } else { 0.0 };
        for fan in &mut snapshot.fans {
            fan.speed = read(now, Rpm((1600.0 * level) as u32));
            fan.duty = matches!(self.kind.fans, Fans::Follows | Fans::Rests).then_some(level);
        }
    }
}

fn self_drive(drive: &mut Drive, now: Moment, degrees: f64, asleep: bool, moves: f64) {
    drive.power = read(now, if asleep { Power::Asleep } else { Power::Active });
    let traffic = Traffic { inward: BytesPerSecond(0.0), outward: BytesPerSecond(moves) };
    drive.traffic = read(now, traffic);
    if let (Ok(_), false) = (&drive.temperature.value, asleep) {
        drive.temperature = read(now, Celsius(degrees.floor()));
    }
    drive.attachment.timeouts.taken = now;
    drive.attachment.speed.taken = now;
}

/// Volumes fill by an eighth within a year, with a weekly tidying; images are full.
fn fill(snapshot: &mut Snapshot, now: Moment, day: u64) {
    for volume in &mut snapshot.volumes {
        let full = match volume.mount.as_str() {
            "/" => 0.35 + 0.01 * (day / 30 % 4) as f64,
            "/boot" => 0.45 + 0.1 * (day / 30 % 3) as f64,
            "/media/songs" => 1.0,
            _ => 0.42 + 0.125 * day as f64 / 365.0 + 0.01 * (day % 7) as f64,
        };
        volume.room.taken = now;
        if let Ok(room) = &mut volume.room.value {
            let used = (room.size.0 as f64 * full) as u64;
            (room.used, room.free) = (Bytes(used), Bytes(room.size.0 - used));
        }
    }
}

fn moment(up: u64) -> Moment {
    Moment::after_boot(Duration::from_secs(up))
}

fn read<T>(now: Moment, value: T) -> Reading<T> {
    Reading::new(Ok(value), now, Source::Sysfs)
}

/// A table of what was told of each box: a line a box, and one for each kind of condition.
pub fn table(told: &[(Kind, Told)]) -> String {
    let mut lines = Vec::new();
    for (kind, told) in told {
        let (alerts, notices) = (told.alerts(), told.notices());
        lines.push(format!("{:28} {alerts:4} alerts {notices:4} notices ({} looks)", kind.name, told.looks));
        lines.extend(told.counts.iter().map(|((id, severity), count)| format!("    {count:4} {id} {severity}")));
    }
    lines.join("\n")
}

/// What a box may tell in a year that its owner did not need: alerts, and notices. A check that runs is a notice each month.
pub const MOST: (usize, usize) = (2, 16);
