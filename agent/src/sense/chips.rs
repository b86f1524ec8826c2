//! Hardware monitoring chips and thermal zones: fans, temperatures and voltages that belong to no drive
//! (Documentation/hwmon/sysfs-interface.rst, Documentation/ABI/testing/sysfs-class-thermal).

use super::host::{Host, parts};
use super::parse::{plain, sysfs};
use crate::clock::{Clock, Moment};
use crate::reading::{Fan, Missing, Rail, Reading, Reason, Source, Temperature, Undervoltage, WhyMissing};
use crate::units::Celsius;
use std::path::{Path, PathBuf};

/// A chip and the channels it has.
#[derive(Debug, Clone, PartialEq)]
pub struct Chip {
    /// The driver's name for it, with its address where two chips share a name: stable over restarts.
    pub key: String,
    folder: PathBuf,
    fans: Vec<ChipChannel>,
    temperatures: Vec<ChipChannel>,
    rails: Vec<ChipChannel>,
    alarms: Vec<ChipChannel>,
}

#[derive(Debug, Clone, PartialEq)]
struct ChipChannel {
    number: u32,
    label: Option<String>,
    critical: Option<Celsius>,
}

/// What a chip answered.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answers {
    /// Fans.
    pub fans: Vec<Fan>,
    /// Temperatures.
    pub temperatures: Vec<Temperature>,
    /// Voltages with a label.
    pub rails: Vec<Rail>,
    /// Alarms of a supply that is too low.
    pub undervoltages: Vec<Undervoltage>,
}

/// The chips of the box, without those that stand for a drive.
///
/// # Errors
/// The reason why `/sys/class/hwmon` cannot be listed; a box without the folder has no chips.
pub fn chips(host: &Host) -> Result<Vec<Chip>, Missing> {
    let folder = host.path("/sys/class/hwmon");
    if !host.exists(&folder) {
        return Ok(Vec::new());
    }
    let mut found: Vec<(Chip, String)> =
        host.list(&folder)?.into_iter().filter_map(|name| chip(host, &folder.join(name))).collect();
    let names: Vec<String> = found.iter().map(|(chip, _)| chip.key.clone()).collect();
    for (chip, address) in &mut found {
        if names.iter().filter(|&name| *name == chip.key).count() > 1 {
            chip.key = format!("{}@{address}", chip.key);
        }
    }
    Ok(found.into_iter().map(|(chip, _)| chip).collect())
}

/// One chip and the last name of the device behind it.
fn chip(host: &Host, folder: &Path) -> Option<(Chip, String)> {
    let name = host.device_text(&folder.join("name"))?;
    if matches!(name.as_str(), "drivetemp" | "nvme") {
        return None;
    }
    let files = host.list(folder).ok()?;
    let label = |channel: &str| host.device_text(&folder.join(format!("{channel}_label")));
    // Only temperatures are asked for it: what other limits are set to is often nobody's choice.
    let critical = |channel: &str| match channel.starts_with("temp") {
        true => host.ask(&folder.join(format!("{channel}_crit")), sysfs::hwmon::board_limit).ok(),
        false => None,
    };
    let channels = |kind: &str, what: &str| -> Vec<ChipChannel> {
        let named = |number: u32| (number, format!("{kind}{number}"));
        sysfs::hwmon::channels(&files, kind, what)
            .map(named)
            .map(|(number, name)| ChipChannel { number, label: label(&name), critical: critical(&name) })
            .collect()
    };
    let address = host
        .resolve(&folder.join("device"))
        .ok()
        .and_then(|device| parts(&device).next_back().map(str::to_owned))
        .unwrap_or_else(|| parts(folder).next_back().unwrap_or_default().to_owned());
    let mut rails = channels("in", "_input");
    // Without a label nobody knows which rail a pin is on, nor how it was divided down.
    rails.retain(|rail| rail.label.is_some());
    let chip = Chip {
        key: name,
        fans: channels("fan", "_input"),
        temperatures: channels("temp", "_input"),
        rails,
        alarms: channels("in", "_lcrit_alarm"),
        folder: folder.to_owned(),
    };
    Some((chip, address))
}

impl Chip {
    /// Asks the chip for all its values. It may sit on a slow or stuck bus: ask from a thread that may be lost.
    pub fn ask(&self, host: &Host, clock: &Clock) -> Answers {
        let file = |channel: &str, what: &str| self.folder.join(format!("{channel}{what}"));
        let faulty = |channel: &str| host.ask(&file(channel, "_fault"), plain::switch).unwrap_or(false);
        let now = clock.now();
        let mut answers = self.without_answers(&Missing::of(Reason::NotRead), now);
        for (fan, ChipChannel { number, .. }) in answers.fans.iter_mut().zip(&self.fans) {
            let channel = format!("fan{number}");
            fan.duty = host.ask(&self.folder.join(format!("pwm{number}")), sysfs::hwmon::duty).ok();
            fan.speed =
                Reading::new(host.ask(&file(&channel, "_input"), sysfs::hwmon::speed), clock.now(), Source::Hwmon);
            fan.fault = faulty(&channel);
        }
        for (sensor, ChipChannel { number, .. }) in answers.temperatures.iter_mut().zip(&self.temperatures) {
            let channel = format!("temp{number}");
            let value = match faulty(&channel) {
                true => Err(Missing::from(WhyMissing::SensorFaulty)),
                false => host.ask(&file(&channel, "_input"), sysfs::hwmon::board_temperature),
            };
            sensor.value = Reading::new(value, clock.now(), Source::Hwmon);
        }
        for (rail, ChipChannel { number, .. }) in answers.rails.iter_mut().zip(&self.rails) {
            let value = host.ask(&file(&format!("in{number}"), "_input"), sysfs::hwmon::potential);
            rail.value = Reading::new(value, clock.now(), Source::Hwmon);
        }
        for (alarm, ChipChannel { number, .. }) in answers.undervoltages.iter_mut().zip(&self.alarms) {
            let low = host.ask(&file(&format!("in{number}"), "_lcrit_alarm"), plain::switch);
            alarm.low = Reading::new(low, clock.now(), Source::Hwmon);
        }
        answers
    }

    /// All its channels, and why none has a value.
    pub fn without_answers(&self, why: &Missing, now: Moment) -> Answers {
        let named = |kind: &str, of: &ChipChannel| {
            let key = format!("{}/{kind}{}", self.key, of.number);
            (key.clone(), of.label.clone().unwrap_or(key))
        };
        let fans = self.fans.iter().map(|of| {
            let (key, label) = named("fan", of);
            Fan { key, label, speed: Reading::new(Err(why.clone()), now, Source::Hwmon), duty: None, fault: false }
        });
        let temperatures = self.temperatures.iter().map(|of| {
            let (key, label) = named("temp", of);
            let value = Reading::new(Err(why.clone()), now, Source::Hwmon);
            Temperature { key, label, value, critical: of.critical, processor: sysfs::hwmon::processor(self.name()) }
        });
        let rails = self.rails.iter().map(|of| {
            let (key, label) = named("in", of);
            let nominal = sysfs::hwmon::nominal(&label);
            Rail { key, label, nominal, value: Reading::new(Err(why.clone()), now, Source::Hwmon) }
        });
        let alarms = self.alarms.iter().map(|of| {
            let key = named("in", of).0;
            Undervoltage { key, low: Reading::new(Err(why.clone()), now, Source::Hwmon) }
        });
        Answers {
            fans: fans.collect(),
            temperatures: temperatures.collect(),
            rails: rails.collect(),
            undervoltages: alarms.collect(),
        }
    }

    /// The driver's name for it, without the address.
    fn name(&self) -> &str {
        self.key.split_once('@').map_or(&self.key, |(name, _)| name)
    }
}

/// True when there is anything to ask [`zones`] for.
pub fn has_zones(host: &Host) -> bool {
    host.list(&host.path("/sys/class/thermal"))
        .is_ok_and(|names| names.iter().any(|name| name.starts_with("thermal_zone")))
}

/// Thermal zones that no monitoring chip already stands for.
pub fn zones(host: &Host, clock: &Clock) -> Vec<Temperature> {
    let folder = host.path("/sys/class/thermal");
    let names = host.list(&folder).unwrap_or_default();
    let zone = |name: String| {
        let zone = folder.join(name.strip_prefix("thermal_zone").map(|_| &name)?);
        // The kernel offers most zones as a chip too, in a folder below the zone.
        let doubled = host.list(&zone).is_ok_and(|files| files.iter().any(|file| file.starts_with("hwmon")));
        let kind = host.device_text(&zone.join("type"))?;
        (!doubled).then(|| Temperature {
            key: name,
            value: Reading::new(
                host.ask(&zone.join("temp"), sysfs::hwmon::board_temperature),
                clock.now(),
                Source::ThermalZone,
            ),
            critical: critical_trip(host, &zone),
            processor: sysfs::hwmon::processor(&kind),
            label: kind,
        })
    };
    names.into_iter().filter_map(zone).collect()
}

/// The temperature at which the kernel would switch the machine off.
fn critical_trip(host: &Host, zone: &Path) -> Option<Celsius> {
    let is_critical = |trip: &String| host.attribute(&zone.join(trip)).is_ok_and(|text| text.trim() == "critical");
    let files = host.list(zone).ok()?;
    let types = files.into_iter().filter(|file| file.starts_with("trip_point_") && file.ends_with("_type"));
    let trip = types.filter(is_critical).find_map(|trip| trip.strip_suffix("_type").map(str::to_owned))?;
    host.ask(&zone.join(format!("{trip}_temp")), sysfs::hwmon::board_limit).ok()
}

/// True while a thermal zone holds a processor back; `None` when no zone could.
pub fn holds_back(host: &Host) -> Option<bool> {
    let folder = host.path("/sys/class/thermal");
    let names = host.list(&folder).unwrap_or_default().into_iter().filter(|name| name.starts_with("cooling_device"));
    let of_processor = names.map(|name| folder.join(name)).filter(|device| {
        host.attribute(&device.join("type"))
            .is_ok_and(|text| text.trim() == "Processor" || text.starts_with("cpufreq-"))
    });
    let states: Vec<u64> = of_processor.filter_map(|it| host.ask(&it.join("cur_state"), plain::whole).ok()).collect();
    (!states.is_empty()).then(|| states.iter().any(|state| *state > 0))
}
