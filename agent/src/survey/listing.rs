//! From what was read to the three lists. Pure.

use super::input::SurveyInput;
use super::item::{Absence, FoundDrive, FoundPart, Limitation, SCHEMA, Survey};
use super::panel_search::panels;
use super::remedy::Remedy;
use super::surroundings::{KernelModule, Surroundings};
use crate::reading::{Bus, Drive, Missing, Nominal, PoolKind, Reading, Reason, Snapshot, WhyMissing};
use crate::serve::part::{Reasons, known};

/// Puts everything into its list.
pub fn survey(input: &SurveyInput) -> Survey {
    let mut survey = Survey { schema: SCHEMA, found: Vec::new(), limited: Vec::new(), not_found: Vec::new() };
    survey.found.push(board(input.snapshot));
    drives(input, &mut survey);
    pools(input, &mut survey);
    volumes(input.snapshot, &mut survey);
    sensors(input, &mut survey);
    ports(input.snapshot, &mut survey);
    kernel_log(input, &mut survey);
    if !input.snapshot.board.is_recorded {
        panels(input, &mut survey);
    }
    installation(input, &mut survey);
    survey
}

fn board(snapshot: &Snapshot) -> FoundPart {
    let mut missing = Reasons::new();
    let model = known(reported(&snapshot.board.model), "model", &mut missing);
    FoundPart::Board { model, kernel: snapshot.board.kernel.clone(), missing }
}

/// A text that the kernel may not have.
fn reported(text: &str) -> Result<String, WhyMissing> {
    if text.is_empty() { Err(WhyMissing::NotReported) } else { Ok(text.to_owned()) }
}

fn value<T: Clone>(reading: &Reading<T>, key: &str, missing: &mut Reasons) -> Option<T> {
    known(reading.value.clone(), key, missing)
}

fn drives(input: &SurveyInput, survey: &mut Survey) {
    let drives = &input.snapshot.drives;
    survey.found.extend(drives.iter().map(found_drive));
    if drives.is_empty() {
        survey.lacks(Absence::Drives, None);
    }
    for (missing, of) in alike(drives, |drive| drive.temperature.missing()) {
        let remedy = remedy_of_a_drive(input, &missing, &of, true);
        survey.limit(Limitation::NoTemperature { drives: names(&of), missing }, remedy);
    }
    for (missing, of) in alike(drives, |drive| drive.health.missing()) {
        let remedy = remedy_of_a_drive(input, &missing, &of, false);
        survey.limit(Limitation::NoHealth { drives: names(&of), missing }, remedy);
    }
    let weak: Vec<&Drive> = drives.iter().filter(|drive| drive.is_known_by_port()).collect();
    if !weak.is_empty() {
        let remedy = weak.iter().any(|drive| drive.bus == Bus::Usb).then_some(Remedy::SataPort);
        survey.limit(Limitation::WeakIdentity { drives: names(&weak) }, remedy);
    }
}

fn found_drive(drive: &Drive) -> FoundPart {
    let mut missing = Reasons::new();
    let text = |text: &Option<String>| text.clone().ok_or(WhyMissing::NotIdentified);
    FoundPart::Drive(FoundDrive {
        device: drive.device.clone(),
        model: known(text(&drive.model), "model", &mut missing),
        serial: known(text(&drive.serial), "serial", &mut missing),
        bus: drive.bus,
        kind: drive.kind,
        size_bytes: value(&drive.size, "size_bytes", &mut missing),
        power: value(&drive.power, "power", &mut missing),
        temperature_c: value(&drive.temperature, "temperature_c", &mut missing),
        health_readable: known(drive.health.value.as_ref().map(|_| true), "health_readable", &mut missing),
        missing,
    })
}

/// Drives that lack something for the same reason, in their order. What is not read of a drive that sleeps or is idle is no
/// limitation of it.
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

fn remedy_of_a_drive(input: &SurveyInput, missing: &Missing, drives: &[&Drive], by_driver: bool) -> Option<Remedy> {
    let bus = drives.first()?.bus;
    let is_absent = missing.reason == Reason::NotAvailable;
    let is_refused = missing.reason == Reason::Refused;
    let may_ask = input.surroundings.rights.as_ref().is_none_or(|rights| match bus {
        Bus::Nvme => rights.asks_nvme,
        _ => rights.asks_sata,
    });
    match bus {
        Bus::Virtio | Bus::Mmc => None,
        Bus::Sata if by_driver && is_absent && input.surroundings.drivetemp == KernelModule::Available => {
            Some(Remedy::LoadModule { module: "drivetemp" })
        }
        Bus::Usb if missing.why == Some(WhyMissing::AdapterBlocks) => Some(Remedy::SataPort),
        _ if (is_absent || is_refused) && !may_ask => Some(remedy_of_rights(input.surroundings)),
        Bus::Usb if is_absent || is_refused => Some(Remedy::SataPort),
        _ => None,
    }
}

/// What gives the right to query drives: to the service where it is installed without it, else to this command.
fn remedy_of_rights(surroundings: &Surroundings) -> Remedy {
    let service = surroundings.service;
    if service.is_installed && !service.asks_drives { Remedy::AskDrives } else { Remedy::AsRoot }
}

fn pools(input: &SurveyInput, survey: &mut Survey) {
    let mut lacks_zpool = false;
    for pool in &input.snapshot.pools {
        let mut reasons = Reasons::new();
        let level = known(reported(&pool.level), "level", &mut reasons);
        let (name, members) = (pool.name.clone(), pool.members.len());
        survey.found.push(FoundPart::Pool { name, kind: pool.kind, level, members, missing: reasons });
        let Some(missing) = pool.running.missing().or_else(|| pool.size.missing()) else { continue };
        if pool.kind == PoolKind::Zfs && missing.why == Some(WhyMissing::NotInstalled) {
            lacks_zpool = true;
            continue;
        }
        let has_remedy = missing.reason == Reason::Refused && pool.kind != PoolKind::Zfs;
        let remedy = has_remedy.then(|| remedy_of_rights(input.surroundings));
        survey.limit(Limitation::Pool { name: pool.name.clone(), missing: missing.clone() }, remedy);
    }
    if input.snapshot.pools.is_empty() {
        survey.lacks(Absence::Pools, None);
    }
    if lacks_zpool {
        let remedy = if input.surroundings.has_apt { Remedy::InstallZpool } else { Remedy::ZpoolPackage };
        survey.limit(Limitation::NoZpool, Some(remedy));
    }
}

fn volumes(snapshot: &Snapshot, survey: &mut Survey) {
    for volume in &snapshot.volumes {
        let mount = volume.mount.clone();
        match &volume.room.value {
            Ok(room) => survey.found.push(FoundPart::Volume { mount, size_bytes: room.size }),
            Err(missing) => survey.limit(Limitation::Volume { mount, missing: missing.clone() }, None),
        }
    }
}

fn sensors(input: &SurveyInput, survey: &mut Survey) {
    let (snapshot, surroundings) = (input.snapshot, input.surroundings);
    let fans = snapshot.fans.iter().filter_map(|fan| Some((&fan.label, *fan.speed.get()?)));
    survey.found.extend(fans.map(|(name, speed_rpm)| FoundPart::Fan { name: name.clone(), speed_rpm }));
    let temperatures = snapshot.temperatures.iter().filter_map(|one| Some((&one.label, *one.value.get()?)));
    let temperature =
        |(name, temperature_c): (&String, _)| FoundPart::Temperature { name: name.clone(), temperature_c };
    survey.found.extend(temperatures.map(temperature));
    let rails = snapshot.rails.iter().filter_map(|rail| Some((&rail.label, *rail.value.get()?)));
    survey.found.extend(rails.map(|(name, potential_v)| FoundPart::Rail { name: name.clone(), potential_v }));
    if !surroundings.uncounted_fans.is_empty() {
        let outputs = surroundings.uncounted_fans.clone();
        survey.limit(Limitation::UncountedFans { outputs }, Some(Remedy::ThirdWire));
    }
    if snapshot.fans.is_empty() && surroundings.uncounted_fans.is_empty() {
        survey.lacks(Absence::Fans, Some(Remedy::FanSensor));
    }
    if !surroundings.unlabelled_voltages.is_empty() {
        let inputs = surroundings.unlabelled_voltages.clone();
        survey.limit(Limitation::UnlabelledVoltages { inputs }, None);
    }
    if !snapshot.rails.iter().any(|rail| rail.nominal == Some(Nominal::Twelve)) {
        survey.lacks(Absence::TwelveVolts, Some(Remedy::Sensor));
    }
}

fn ports(snapshot: &Snapshot, survey: &mut Survey) {
    for link in &snapshot.links {
        let name = link.name.clone();
        let mut reasons = Reasons::new();
        let speed = value(&link.speed, "speed_mbit_per_s", &mut reasons);
        match (&link.up.value, &link.speed.value) {
            (Err(missing), _) | (Ok(true), Err(missing)) => {
                survey.limit(Limitation::Port { name, missing: missing.clone() }, None);
            }
            (Ok(up), _) => {
                survey.found.push(FoundPart::Port { name, up: *up, speed_mbit_per_s: speed, missing: reasons });
            }
        }
    }
}

fn kernel_log(input: &SurveyInput, survey: &mut Survey) {
    if let Some(missing) = &input.snapshot.kernel_log_unreadable {
        let is_refused = missing.reason == Reason::Refused;
        survey.limit(Limitation::NoKernelLog { missing: missing.clone() }, is_refused.then_some(Remedy::AsRoot));
    }
}

fn installation(input: &SurveyInput, survey: &mut Survey) {
    let (settings, service) = (input.settings, input.surroundings.service);
    match settings.shelves.iter().map(|shelf| shelf.trays.len()).sum() {
        0 => survey.lacks(Absence::Trays, None),
        count => survey.found.push(FoundPart::Trays { count }),
    }
    match settings.alerts.channels.len() {
        0 => survey.lacks(Absence::Channels, None),
        count => survey.found.push(FoundPart::Channels { count }),
    }
    if service.is_running {
        survey.found.push(FoundPart::Agent);
    } else if !input.snapshot.board.is_recorded {
        survey.lacks(Absence::Agent, Some(if service.is_installed { Remedy::Start } else { Remedy::Install }));
    }
}
