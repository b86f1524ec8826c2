//! A tray of a scripted story, as far as its drive is not as on any day.

use super::going::Purpose;
use std::collections::BTreeMap;
use traylight_data::clock::Moment;
use traylight_data::reading::{
    Bus, Counter, Drive, DriveUse, MemberErrorKind, Missing, Power, Reason, RecoveryLimit, SelfAssessment,
};
use traylight_data::units::{Celsius, MegabitsPerSecond};

/// A tray and its drive.
#[derive(Debug, Clone, Default)]
pub struct Tray {
    pub is_gone: bool,
    /// The pool does without it.
    pub is_out: bool,
    pub is_filled: bool,
    /// What else a partition of it serves for.
    pub serves: Option<Purpose>,
    /// The pool holds it ready, though it is none of its members.
    pub is_spare: bool,
    /// The pool has thrown it out and still lists it.
    pub is_faulty: bool,
    /// It does not tell its serial, or the configuration names another.
    pub serial: Option<Option<String>>,
    pub asleep: bool,
    pub stalled_since: Option<u64>,
    pub degrees: Option<f64>,
    pub fails: bool,
    /// It tries a bad sector for as long as it likes, and says so.
    pub tries_long: bool,
    pub timeouts: u64,
    pub speed: Option<u32>,
    pub port: Option<String>,
    pub counters: BTreeMap<String, i64>,
    /// It was last asked then, and that is what it counted.
    pub unasked: Option<(u64, BTreeMap<String, i64>)>,
    pub errors: Vec<(MemberErrorKind, u64)>,
}

impl Tray {
    pub fn counted(&self, kind: MemberErrorKind) -> u64 {
        self.errors.iter().find(|(counted, _)| *counted == kind).map_or(0, |(_, count)| *count)
    }

    pub fn fill_in(&self, drive: &mut Drive, moment: impl Fn(u64) -> Moment) {
        drive.stalled_since = self.stalled_since.map(&moment);
        if let Some((second, _)) = self.unasked {
            drive.health.taken = moment(second);
        }
        if let Some(serial) = &self.serial {
            drive.serial.clone_from(serial);
        }
        if self.asleep {
            drive.power.value = Ok(Power::Asleep);
        }
        if let Some(degrees) = self.degrees {
            drive.temperature.value = Ok(Celsius(degrees));
        }
        if let (Some(purpose), Ok(uses)) = (&self.serves, &mut drive.uses.value) {
            let block = format!("{}2", drive.device);
            match purpose {
                Purpose::Known(by) => uses.push(DriveUse { block, by: by.clone() }),
                Purpose::Unknown => drive.uses.value = Err(Missing::found(Reason::Unreadable, "no table of mounts")),
            }
        }
        if let Some(speed) = self.speed {
            drive.attachment.speed.value = Ok(MegabitsPerSecond(speed));
        }
        drive.attachment.timeouts.value = Ok(self.timeouts);
        if let Some(port) = &self.port {
            drive.port = Some(port.clone());
            drive.bus = if port.contains("/usb-") { Bus::Usb } else { drive.bus };
        }
        if let Ok(health) = &mut drive.health.value {
            if self.tries_long {
                health.recovery_limit = Ok(RecoveryLimit::Off);
            }
            if self.fails {
                health.assessment = Ok(SelfAssessment::Failing);
            }
            for (name, value) in self.unasked.as_ref().map_or(&self.counters, |(_, then)| then) {
                health.counters.retain(|known| known.name != *name);
                health.counters.push(Counter { name: name.clone(), value: *value, origin: "story".into() });
            }
        }
    }
}
