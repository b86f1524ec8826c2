//! The survey in words.

use super::item::{Absence, FoundDrive, Limit, Remedy, Survey, Works};
use crate::printout::Printout;
use crate::reading::{Bus, DriveKind};
use crate::tell::words::phrases::{Language, Phrases};
use crate::tell::words::temperature::Temperatures;
use crate::units::Celsius;
use std::fmt::Display;

/// The three lists, for people.
pub fn printed(survey: &Survey, language: Language) -> Printout {
    let mut page = Page { out: Printout::default(), words: Words { language } };
    page.out.line(language.plain("survey.works-title"));
    survey.works.iter().for_each(|item| page.item(page.words.works(item), None, &[]));
    page.title("survey.limited-title", survey.limited.is_empty());
    survey
        .limited
        .iter()
        .for_each(|item| page.item(page.words.limited(&item.what), item.remedy.as_ref(), &item.commands));
    page.title("survey.not-found-title", survey.not_found.is_empty());
    survey
        .not_found
        .iter()
        .for_each(|item| page.item(page.words.not_found(&item.what), item.remedy.as_ref(), &item.commands));
    page.out
}

struct Page {
    out: Printout,
    words: Words,
}

impl Page {
    fn title(&mut self, key: &str, is_empty: bool) {
        let language = self.words.language;
        self.out.heading(language.plain(key));
        if is_empty {
            self.out.line(format_args!("  {}", language.plain("survey.nothing")));
        }
    }

    fn item(&mut self, text: String, remedy: Option<&Remedy>, commands: &[String]) {
        self.out.line(format_args!("  {text}"));
        if let Some(remedy) = remedy {
            self.out.line(format_args!("    {}", self.words.remedy(remedy)));
        }
        commands.iter().for_each(|command| self.out.to_enter(command));
    }
}

struct Words {
    language: Language,
}

impl Words {
    fn works(&self, item: &Works) -> String {
        let say = |key, places: &[(&str, &dyn Display)]| self.language.say(key, places);
        match item {
            Works::Board { model, kernel } if model.is_empty() => say("survey.works.system", &[("kernel", kernel)]),
            Works::Board { model, kernel } => say("survey.works.board", &[("model", model), ("kernel", kernel)]),
            Works::Drive(drive) => self.drive(drive),
            Works::Pool { name, level, members, .. } => {
                let members = self.language.count("survey.members", *members as u64);
                say("survey.works.pool", &[("name", name), ("level", level), ("members", &members)])
            }
            Works::Volume { mount, size_bytes: Some(size) } => {
                say("survey.works.volume", &[("mount", mount), ("size", &self.language.figure(size))])
            }
            Works::Volume { mount, size_bytes: None } => say("survey.works.volume-unsized", &[("mount", mount)]),
            Works::Fan { name, speed_rpm } => say("survey.works.fan", &[("name", name), ("speed", speed_rpm)]),
            Works::Temperature { name, temperature_c } => {
                say("survey.works.temperature", &[("name", name), ("temperature", &self.temperature(*temperature_c))])
            }
            Works::Rail { name, volts } => {
                say("survey.works.rail", &[("name", name), ("volts", &self.language.figure(volts))])
            }
            Works::Port { name, speed: Some(speed), .. } => {
                say("survey.works.port", &[("name", name), ("speed", &self.language.figure(speed))])
            }
            Works::Port { name, is_up: Some(false), .. } => say("survey.works.port-down", &[("name", name)]),
            Works::Port { name, .. } => say("survey.works.port-without-speed", &[("name", name)]),
            Works::Panel { bus, adapter, address } => {
                say("survey.works.panel", &[("bus", bus), ("adapter", adapter), ("address", &written(*address))])
            }
            Works::Trays { count } => self.language.count("survey.works.trays", *count as u64),
            Works::Channels { count } => self.language.count("survey.works.channels", *count as u64),
            Works::Agent => self.language.plain("survey.works.agent").to_owned(),
        }
    }

    fn drive(&self, drive: &FoundDrive) -> String {
        let language = self.language;
        let mut about = vec![format!(
            "{} {}",
            bus_name(drive.bus),
            language.plain(match drive.kind {
                DriveKind::Hdd => "look.hdd",
                DriveKind::Ssd => "look.ssd",
                DriveKind::Unknown => "survey.drive",
            })
        )];
        about.extend(drive.size_bytes.map(|size| language.figure(size)));
        about.extend(drive.model.clone());
        about.extend(drive.serial.as_ref().map(|serial| language.say("survey.serial", &[("serial", serial)])));
        about.extend(drive.temperature_c.map(|temperature| self.temperature(temperature)));
        about.extend(drive.has_health.then(|| language.plain("survey.health").to_owned()));
        about.extend(drive.is_asleep.then(|| language.plain("survey.asleep").to_owned()));
        format!("{}: {}", drive.device, about.join(", "))
    }

    fn limited(&self, limit: &Limit) -> String {
        let say = |key, places: &[(&str, &dyn Display)]| self.language.say(key, places);
        match limit {
            Limit::NoTemperature { drives, why } => say(
                "survey.limited.no-temperature",
                &[("drives", &drives.join(", ")), ("why", &self.language.missing(why))],
            ),
            Limit::NoHealth { drives, why } => {
                say("survey.limited.no-health", &[("drives", &drives.join(", ")), ("why", &self.language.missing(why))])
            }
            Limit::WeakIdentity { drives } => say("survey.limited.weak-identity", &[("drives", &drives.join(", "))]),
            Limit::Pool { name, why } => {
                say("survey.limited.pool", &[("name", name), ("why", &self.language.missing(why))])
            }
            Limit::NoZpool => self.language.plain("survey.limited.no-zpool").to_owned(),
            Limit::UncountedFans { outputs } => {
                say("survey.limited.uncounted-fans", &[("outputs", &outputs.join(", "))])
            }
            Limit::UnlabelledVoltages { inputs } => {
                say("survey.limited.unlabelled-voltages", &[("inputs", &inputs.join(", "))])
            }
            Limit::NoKernelLog { why } => say("survey.limited.no-kernel-log", &[("why", &self.language.missing(why))]),
            Limit::UnusedPanel { bus, adapter, address } => say(
                "survey.limited.unused-panel",
                &[("bus", bus), ("adapter", adapter), ("address", &written(*address))],
            ),
            Limit::TakenAddress { bus, address } => {
                say("survey.limited.taken-address", &[("bus", bus), ("address", &written(*address))])
            }
            Limit::ClosedBus { bus, adapter } => {
                say("survey.limited.closed-bus", &[("bus", bus), ("adapter", adapter)])
            }
            Limit::FailedBus { bus, address, found } => {
                say("survey.limited.failed-bus", &[("bus", bus), ("address", &written(*address)), ("found", found)])
            }
            Limit::UntriedBus { bus, adapter } => {
                say("survey.limited.untried-bus", &[("bus", bus), ("adapter", adapter)])
            }
        }
    }

    fn not_found(&self, absence: &Absence) -> String {
        let key = match absence {
            Absence::Panel { tried } => {
                let tried: Vec<String> =
                    tried.iter().map(|(bus, address)| format!("{bus} {}", written(*address))).collect();
                return self.language.say("survey.not-found.panel", &[("tried", &tried.join(", "))]);
            }
            Absence::Drives => "survey.not-found.drives",
            Absence::Pools => "survey.not-found.pools",
            Absence::Fans => "survey.not-found.fans",
            Absence::TwelveVolts => "survey.not-found.twelve-volts",
            Absence::PanelBus => "survey.not-found.panel-bus",
            Absence::Trays => "survey.not-found.trays",
            Absence::Channels => "survey.not-found.channels",
            Absence::Agent => "survey.not-found.agent",
        };
        self.language.plain(key).to_owned()
    }

    fn remedy(&self, remedy: &Remedy) -> String {
        let key = match remedy {
            Remedy::LoadModule { .. } => "survey.remedy.load-module",
            Remedy::AskDrives => "survey.remedy.ask-drives",
            Remedy::AsRoot => "survey.remedy.as-root",
            Remedy::SataPort => "survey.remedy.sata-port",
            Remedy::InstallZpool => "survey.remedy.install-zpool",
            Remedy::ThirdWire => "survey.remedy.third-wire",
            Remedy::Sensor => "survey.remedy.sensor",
            Remedy::Install => "survey.remedy.install",
            Remedy::Start => "survey.remedy.start",
            Remedy::TurnOnI2c { .. } => "survey.remedy.turn-on-i2c",
            Remedy::UsbAdapter => "survey.remedy.usb-adapter",
            Remedy::JoinGroup { .. } => "survey.remedy.join-group",
            Remedy::OpenBus => "survey.remedy.open-bus",
            Remedy::TryBus { .. } => "survey.remedy.try-bus",
            Remedy::FreeAddress => "survey.remedy.free-address",
            Remedy::CheckWires => "survey.remedy.check-wires",
            Remedy::Configure { .. } => "survey.remedy.configure",
        };
        self.language.plain(key).to_owned()
    }

    fn temperature(&self, temperature: Celsius) -> String {
        self.language.temperature(temperature)
    }
}

/// An address as it is printed on modules and written in the configuration.
fn written(address: u8) -> String {
    format!("0x{address:02X}")
}

fn bus_name(bus: Bus) -> &'static str {
    match bus {
        Bus::Sata => "SATA",
        Bus::Scsi => "SCSI",
        Bus::Usb => "USB",
        Bus::Nvme => "NVMe",
        Bus::Mmc => "MMC",
        Bus::Virtio => "virtio",
        Bus::Other => "",
    }
}
