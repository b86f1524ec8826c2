//! One drive's asker: which way leads to it, and what was learned on it before.

use super::ata::AtaDrive;
use super::nvme::NvmeDrive;
use super::nvme_admin::NvmeAdmin;
use super::scsi::ScsiDrive;
use super::scsi_generic::ScsiGeneric;
use super::{DriveAnswers, DriveQuestions};
use crate::reading::{Bus, DriveKind, Missing, Power, Reason, WhyMissing};
use crate::sense::drives::{self, DriveIdentity};
use crate::sense::host::Host;
use crate::sense::parse::quirks::{Bridge, quirks};
use crate::sense::parse::scsi;
use crate::sense::parse::scsi::sense_data::Answering;
use crate::units::Celsius;
use std::path::PathBuf;

/// Asks one drive, for as long as it stays.
#[derive(Debug)]
pub struct Asker {
    device: PathBuf,
    thermometer: Option<PathBuf>,
    /// The temperature that the drive calls critical, by the kernel.
    critical: Option<Celsius>,
    /// Flash has nothing to spin up, so a file that asks it does no harm.
    has_disks: bool,
    session: DriveSession,
}

#[derive(Debug)]
enum DriveSession {
    Ata(AtaDrive, Answering),
    Scsi(ScsiDrive),
    Nvme(NvmeDrive),
    /// No command leads to it.
    None(Missing),
}

impl Asker {
    /// The asker of a drive of the running machine.
    pub fn new(host: &Host, device: &str, identity: &DriveIdentity, bridge: Option<Bridge>) -> Self {
        let folder = host.path("/sys/block").join(device);
        let kept =
            || host.table(&folder.join("device/vpd_pg89")).ok().and_then(|page| scsi::vpd::ata_drive(&page).ok());
        let serial = identity.serial.clone().filter(|_| identity.serial_is_its_own);
        let quirks = quirks(identity.model.as_deref().unwrap_or_default(), bridge);
        let session = match identity.bus {
            Bus::Sata => DriveSession::Ata(AtaDrive::new(kept(), quirks).known_as(serial), Answering::Kernel),
            Bus::Usb if quirks.blocks_ata => DriveSession::None(Missing::from(WhyMissing::AdapterBlocks)),
            Bus::Usb => DriveSession::Ata(AtaDrive::new(kept(), quirks).known_as(serial), Answering::Bridge),
            Bus::Scsi => DriveSession::Scsi(ScsiDrive::default()),
            Bus::Nvme => DriveSession::Nvme(NvmeDrive::default().known_as(serial)),
            Bus::Mmc | Bus::Virtio | Bus::Other => DriveSession::None(Missing::from(WhyMissing::NoHealthCommands)),
        };
        Self {
            device: host.path("/dev").join(device),
            thermometer: identity.thermometer.clone(),
            critical: identity.own_limits.critical,
            has_disks: identity.kind != DriveKind::Ssd,
            session,
        }
    }

    /// One session. It takes as long as the drive does: ask from a thread that may be lost.
    pub fn ask(&mut self, host: &Host, mut wanted: DriveQuestions) -> DriveAnswers {
        // The kernel's own file for the temperature is another command to the same drive, so it waits for the same
        // answer: whether it sleeps. An NVMe drive states it in the log that is read anyway.
        let in_passing = matches!(self.session, DriveSession::Nvme(_));
        wanted.temperature &= self.thermometer.is_none() || in_passing;
        let mut told = self.session(wanted);
        let is_told = matches!(told.temperature, Some(Ok(_)));
        if let Some(thermometer) = self.thermometer.as_ref().filter(|_| !is_told) {
            let awake = match &told.power {
                Ok(power) => *power != Power::Asleep,
                // Another drive may have answered in its place, and would answer this too.
                Err(why) if why.reason == Reason::Unreadable => false,
                Err(_) => wanted.in_use || !self.has_disks,
            };
            told.temperature = match &told.broke_off {
                Some(why) => Some(Err(why.clone())),
                None => awake.then(|| drives::temperature(host, thermometer, self.critical)),
            };
        }
        told
    }

    fn session(&mut self, wanted: DriveQuestions) -> DriveAnswers {
        let scsi = |answering| ScsiGeneric::open(&self.device, answering);
        let told = match &mut self.session {
            DriveSession::None(why) => Err(why.clone()),
            DriveSession::Ata(drive, answering) => scsi(*answering).map(|mut way| drive.ask(&mut way, wanted)),
            DriveSession::Scsi(drive) => scsi(Answering::Scsi).map(|mut way| drive.ask(&mut way, wanted)),
            DriveSession::Nvme(drive) => NvmeAdmin::open(&self.device).map(|mut way| drive.ask(&mut way, wanted)),
        };
        told.unwrap_or_else(|why| DriveAnswers::only(Err(why)))
    }
}
