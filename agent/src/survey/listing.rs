//! From what was read to the three lists. Pure.

use super::buses::BusUse;
use super::item::{Absence, FoundDrive, Limit, Limited, NotFound, Remedy, Survey, Works};
use super::panels::{Answer, Trial};
use super::surroundings::{I2cBus, Module, Surroundings};
use crate::reading::{Bus, Drive, Missing, Nominal, PoolKind, Power, Reason, Snapshot};
use traylight_config::Settings;

/// Everything that the survey goes by.
#[derive(Debug, Clone, Copy)]
pub struct Found<'a> {
    /// The readings.
    pub snapshot: &'a Snapshot,
    /// The configuration.
    pub settings: &'a Settings,
    /// The system around.
    pub surroundings: &'a Surroundings,
    /// Where panels were looked for.
    pub trials: &'a [Trial],
}

/// Puts everything into its list.
pub fn survey(found: &Found) -> Survey {
    let mut survey = Survey { works: works(found), ..Survey::default() };
    drives(found, &mut survey);
    pools(found, &mut survey);
    sensors(found, &mut survey);
    kernel_log(found, &mut survey);
    panel(found, &mut survey);
    installation(found, &mut survey);
    survey
}

impl Survey {
    fn limit(&mut self, what: Limit, remedy: Option<Remedy>) {
        let commands = commands(remedy.as_ref());
        self.limited.push(Limited { what, remedy, commands });
    }

    fn lacks(&mut self, what: Absence, remedy: Option<Remedy>) {
        let commands = commands(remedy.as_ref());
        self.not_found.push(NotFound { what, remedy, commands });
    }
}

fn commands(remedy: Option<&Remedy>) -> Vec<String> {
    remedy.map(Remedy::commands).unwrap_or_default()
}

fn works(found: &Found) -> Vec<Works> {
    let snapshot = found.snapshot;
    let board = Works::Board { model: snapshot.board.model.clone(), kernel: snapshot.board.kernel.clone() };
    let mut works = vec![board];
    works.extend(snapshot.drives.iter().map(|drive| {
        Works::Drive(FoundDrive {
            device: drive.device.clone(),
            model: drive.model.clone(),
            serial: drive.serial.clone(),
            bus: drive.bus,
            kind: drive.kind,
            size_bytes: drive.size.get().copied(),
            temperature_c: drive.temperature.get().copied(),
            has_health: drive.health.get().is_some(),
            is_asleep: drive.power.get() == Some(&Power::Asleep),
        })
    }));
    works.extend(snapshot.pools.iter().map(|pool| Works::Pool {
        name: pool.name.clone(),
        kind: pool.kind,
        level: pool.level.clone(),
        members: pool.members.len(),
    }));
    works.extend(snapshot.volumes.iter().map(|volume| Works::Volume {
        mount: volume.mount.clone(),
        size_bytes: volume.room.get().map(|room| room.size),
    }));
    let fans = snapshot.fans.iter().filter_map(|fan| Some((&fan.label, *fan.speed.get()?)));
    works.extend(fans.map(|(name, speed_rpm)| Works::Fan { name: name.clone(), speed_rpm }));
    let temperatures = snapshot.temperatures.iter().filter_map(|one| Some((&one.label, *one.value.get()?)));
    works.extend(temperatures.map(|(name, temperature_c)| Works::Temperature { name: name.clone(), temperature_c }));
    let rails = snapshot.rails.iter().filter_map(|rail| Some((&rail.label, *rail.value.get()?)));
    works.extend(rails.map(|(name, volts)| Works::Rail { name: name.clone(), volts }));
    works.extend(snapshot.links.iter().map(|link| Works::Port {
        name: link.name.clone(),
        is_up: link.up.get().copied(),
        speed: link.speed.get().copied(),
    }));
    works
}

fn drives(found: &Found, survey: &mut Survey) {
    let drives = &found.snapshot.drives;
    if drives.is_empty() {
        survey.lacks(Absence::Drives, None);
    }
    for (why, of) in alike(drives, |drive| drive.temperature.missing()) {
        let remedy = remedy_of_a_drive(found, &why, &of, true);
        survey.limit(Limit::NoTemperature { drives: names(&of), why }, remedy);
    }
    for (why, of) in alike(drives, |drive| drive.health.missing()) {
        let remedy = remedy_of_a_drive(found, &why, &of, false);
        survey.limit(Limit::NoHealth { drives: names(&of), why }, remedy);
    }
    let is_weak = |drive: &&Drive| ![&drive.serial, &drive.wwn].contains(&&Some(drive.key.0.clone()));
    let weak: Vec<&Drive> = drives.iter().filter(is_weak).collect();
    if !weak.is_empty() {
        let remedy = weak.iter().any(|drive| drive.bus == Bus::Usb).then_some(Remedy::SataPort);
        survey.limit(Limit::WeakIdentity { drives: names(&weak) }, remedy);
    }
}

/// Drives that miss something for the same reason, in their order. What sleeps or is left alone misses nothing.
fn alike<'a>(
    drives: &'a [Drive],
    missing: impl Fn(&'a Drive) -> Option<&'a Missing>,
) -> Vec<(Missing, Vec<&'a Drive>)> {
    let mut groups: Vec<(Missing, Vec<&Drive>)> = Vec::new();
    for drive in drives {
        let Some(why) = missing(drive).filter(|why| !matches!(why.reason, Reason::Asleep | Reason::NotRead)) else {
            continue;
        };
        match groups.iter_mut().find(|(known, of)| known == why && of[0].bus == drive.bus) {
            Some((_, of)) => of.push(drive),
            None => groups.push((why.clone(), vec![drive])),
        }
    }
    groups
}

fn names(drives: &[&Drive]) -> Vec<String> {
    drives.iter().map(|drive| drive.device.clone()).collect()
}

fn remedy_of_a_drive(found: &Found, why: &Missing, drives: &[&Drive], by_driver: bool) -> Option<Remedy> {
    let bus = drives.first()?.bus;
    match (bus, why.reason) {
        (Bus::Sata, Reason::NotAvailable) if by_driver && found.surroundings.drivetemp == Module::Available => {
            Some(Remedy::LoadModule { module: "drivetemp" })
        }
        (Bus::Usb, Reason::Refused | Reason::NotAvailable) if may_ask(found, bus) => Some(Remedy::SataPort),
        (Bus::Virtio | Bus::Mmc, _) => None,
        (_, Reason::Refused | Reason::NotAvailable) if !may_ask(found, bus) => Some(remedy_of_rights(found)),
        _ => None,
    }
}

fn may_ask(found: &Found, bus: Bus) -> bool {
    let rights = found.surroundings.rights.as_ref();
    rights.is_none_or(|rights| if bus == Bus::Nvme { rights.asks_nvme } else { rights.asks_sata })
}

/// What gives the right to ask drives: to the service where it is installed without it, else to this command.
fn remedy_of_rights(found: &Found) -> Remedy {
    let service = found.surroundings.service;
    if service.is_installed && !service.asks_drives { Remedy::AskDrives } else { Remedy::AsRoot }
}

fn pools(found: &Found, survey: &mut Survey) {
    if found.snapshot.pools.is_empty() {
        survey.lacks(Absence::Pools, None);
    }
    if found.surroundings.lacks_zpool {
        survey.limit(Limit::NoZpool, Some(Remedy::InstallZpool));
    }
    for pool in &found.snapshot.pools {
        let Some(why) = pool.running.missing().or_else(|| pool.size.missing()) else { continue };
        let has_remedy = why.reason == Reason::Refused && pool.kind != PoolKind::Zfs;
        let remedy = has_remedy.then(|| remedy_of_rights(found));
        survey.limit(Limit::Pool { name: pool.name.clone(), why: why.clone() }, remedy);
    }
}

fn sensors(found: &Found, survey: &mut Survey) {
    let (snapshot, surroundings) = (found.snapshot, found.surroundings);
    if !surroundings.uncounted_fans.is_empty() {
        let outputs = surroundings.uncounted_fans.clone();
        survey.limit(Limit::UncountedFans { outputs }, Some(Remedy::ThirdWire));
    }
    if snapshot.fans.is_empty() && surroundings.uncounted_fans.is_empty() {
        survey.lacks(Absence::Fans, Some(Remedy::ThirdWire));
    }
    if !surroundings.unlabelled_voltages.is_empty() {
        let inputs = surroundings.unlabelled_voltages.clone();
        survey.limit(Limit::UnlabelledVoltages { inputs }, None);
    }
    if !snapshot.rails.iter().any(|rail| rail.nominal == Some(Nominal::Twelve)) {
        survey.lacks(Absence::TwelveVolts, Some(Remedy::Sensor));
    }
}

fn kernel_log(found: &Found, survey: &mut Survey) {
    if let Some(why) = &found.snapshot.kernel_log_unreadable {
        let is_refused = why.reason == Reason::Refused;
        survey.limit(Limit::NoKernelLog { why: why.clone() }, is_refused.then_some(Remedy::AsRoot));
    }
}

fn panel(found: &Found, survey: &mut Survey) {
    let surroundings = found.surroundings;
    let bus_of = |device: &str| surroundings.buses.iter().find(|bus| bus.device == device);
    let adapter = |device: &str| bus_of(device).map(|bus| bus.adapter.clone()).unwrap_or_default();
    for Trial { bus, address, answer } in found.trials {
        let (bus, address) = (bus.clone(), *address);
        match answer {
            Answer::Acknowledged => {
                let adapter = adapter(&bus);
                if is_configured(found.settings, &bus, &adapter, address) {
                    survey.works.push(Works::Panel { bus, adapter, address });
                } else {
                    let remedy = Remedy::Configure { lines: panel_lines(surroundings, &bus, &adapter, address) };
                    survey.limit(Limit::UnusedPanel { bus, adapter, address }, Some(remedy));
                }
            }
            Answer::Nothing => {}
            Answer::Taken => survey.limit(Limit::TakenAddress { bus, address }, Some(Remedy::FreeAddress)),
            Answer::Failed(fault) => {
                let found = fault.to_string();
                survey.limit(Limit::FailedBus { bus, address, found }, Some(Remedy::CheckWires));
            }
        }
    }
    let is_panel = |trial: &Trial| matches!(trial.answer, Answer::Acknowledged | Answer::Taken);
    let closed = surroundings.buses.iter().filter(|bus| bus.access.is_err());
    closed.for_each(|bus| closed_bus(found, bus, survey));
    if found.trials.iter().any(is_panel) {
        return;
    }
    let untried = |bus: &&I2cBus| bus.access.is_ok() && !found.trials.iter().any(|trial| trial.bus == bus.device);
    let may_ask = |bus: &&I2cBus| bus.leads_to != BusUse::Display;
    for bus in surroundings.buses.iter().filter(untried).filter(may_ask) {
        let (device, adapter) = (bus.device.clone(), bus.adapter.clone());
        survey.limit(Limit::UntriedBus { bus: device.clone(), adapter }, Some(Remedy::TryBus { bus: device }));
    }
    match found.trials {
        [] if surroundings.buses.iter().all(|bus| bus.leads_to == BusUse::Display) => {
            survey.lacks(Absence::PanelBus, Some(remedy_of_no_bus(surroundings)));
        }
        [] => {}
        tried => {
            let tried = tried.iter().map(|trial| (trial.bus.clone(), trial.address)).collect();
            survey.lacks(Absence::Panel { tried }, Some(Remedy::CheckWires));
        }
    }
}

fn closed_bus(found: &Found, bus: &I2cBus, survey: &mut Survey) {
    if bus.leads_to == BusUse::Display {
        return;
    }
    let user = found.surroundings.rights.as_ref().map(|rights| rights.user.clone()).unwrap_or_default();
    let remedy = match &bus.access {
        Err(Some(group)) => Remedy::JoinGroup { group: group.clone(), user },
        _ => Remedy::OpenBus,
    };
    survey.limit(Limit::ClosedBus { bus: bus.device.clone(), adapter: bus.adapter.clone() }, Some(remedy));
}

fn remedy_of_no_bus(surroundings: &Surroundings) -> Remedy {
    match (&surroundings.boot_file, surroundings.i2c_dev) {
        (_, Module::Available) => Remedy::LoadModule { module: "i2c-dev" },
        (Some(file), _) => Remedy::TurnOnI2c { file: file.clone() },
        (None, _) => Remedy::UsbAdapter,
    }
}

fn is_configured(settings: &Settings, device: &str, adapter: &str, address: u8) -> bool {
    settings.panel.panels.iter().any(|panel| {
        let is_bus = match &panel.bus {
            traylight_config::Bus::Path(path) => path.strip_prefix("/dev/") == Some(device),
            traylight_config::Bus::AdapterName(name) => name == adapter,
        };
        is_bus && panel.address == address
    })
}

/// Names the bus by its adapter where no other has that name: numbers of buses change between starts.
fn panel_lines(surroundings: &Surroundings, device: &str, adapter: &str, address: u8) -> String {
    let is_alone = surroundings.buses.iter().filter(|bus| bus.adapter == adapter).count() == 1;
    let bus = if is_alone && !adapter.is_empty() { adapter.to_owned() } else { format!("/dev/{device}") };
    format!("[panel]\nbus = {}\naddress = 0x{address:02X}", toml_text(&bus))
}

fn toml_text(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

fn installation(found: &Found, survey: &mut Survey) {
    let (settings, service) = (found.settings, found.surroundings.service);
    let trays: usize = settings.shelves.iter().map(|shelf| shelf.trays.len()).sum();
    match trays {
        0 => survey.lacks(Absence::Trays, None),
        count => survey.works.push(Works::Trays { count }),
    }
    match settings.alerts.channels.len() {
        0 => survey.lacks(Absence::Channels, None),
        count => survey.works.push(Works::Channels { count }),
    }
    match service.is_running {
        true => survey.works.push(Works::Agent),
        false => {
            let remedy = if service.is_installed { Remedy::Start } else { Remedy::Install };
            survey.lacks(Absence::Agent, Some(remedy));
        }
    }
}
