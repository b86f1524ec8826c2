//! The supply and the controllers in the document.

use super::document::Reasons;
use super::parts::value;
use crate::reading::{self, ControllerKind, Nominal, Snapshot};
use serde::{Deserialize, Serialize};

/// The power supply, as far as it is measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Supply {
    /// Voltages with a label.
    pub rails: Vec<Rail>,
    /// The 12 V rail at the drives.
    pub twelve_volt_v: Option<f64>,
    /// True while the board's own input is too low, or was since the look before.
    pub board_undervoltage: Option<bool>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// A voltage with a label.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Rail {
    /// The driver's name for it.
    pub label: String,
    /// What it should be, where the label says so.
    pub nominal_v: Option<f64>,
    /// The value.
    pub potential_v: Option<f64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// What drives are plugged into.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Controller {
    /// Where it is plugged: the start of its drives' ports.
    pub place: String,
    /// What it is: `storage`, `nvme` or `usb`.
    pub kind: String,
    /// Vendor and device by their numbers.
    pub id: String,
    /// The driver that is bound to it.
    pub driver: Option<String>,
    /// False when it is on the list and no longer there.
    pub answers: Option<bool>,
    /// Transfers per second on each lane of its PCIe link, in thousands of millions.
    pub link_gt_per_s: Option<f64>,
    /// Lanes of its PCIe link in use.
    pub link_lanes: Option<u32>,
    /// Errors on its PCIe link since the start of the machine that were corrected.
    pub bus_errors_corrected: Option<u64>,
    /// The same, not corrected.
    pub bus_errors_uncorrected: Option<u64>,
    /// How links may save power, where all its SATA ports agree.
    pub link_power: Option<String>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

pub(super) fn supply(snapshot: &Snapshot) -> Supply {
    let mut missing = Reasons::new();
    let twelve = snapshot.rails.iter().find(|rail| rail.nominal == Some(Nominal::Twelve));
    let twelve_volt_v = match twelve {
        Some(rail) => value(&rail.value, &mut missing, &["twelve_volt_v"], |volts| volts.0),
        None => {
            missing.insert("twelve_volt_v".into(), "12 V not measured: no sensor is labelled so".into());
            None
        }
    };
    let alarms = &snapshot.undervoltages;
    let low = alarms.iter().find(|alarm| alarm.low.get() == Some(&true)).or_else(|| alarms.first());
    let board_undervoltage = match low {
        Some(alarm) => value(&alarm.low, &mut missing, &["board_undervoltage"], |low| *low),
        None => {
            missing.insert("board_undervoltage".into(), "not fitted: the board has no alarm for it".into());
            None
        }
    };
    Supply { rails: snapshot.rails.iter().map(rail).collect(), twelve_volt_v, board_undervoltage, missing }
}

fn rail(rail: &reading::Rail) -> Rail {
    let mut missing = Reasons::new();
    if rail.nominal.is_none() {
        missing.insert("nominal_v".into(), "not fitted: its label names no rail of the supply".into());
    }
    let potential_v = value(&rail.value, &mut missing, &["potential_v"], |volts| volts.0);
    let nominal_v = rail.nominal.map(|nominal| nominal.volts().0);
    Rail { label: rail.label.clone(), nominal_v, potential_v, missing }
}

pub(super) fn controller(controller: &reading::Controller) -> Controller {
    let mut missing = Reasons::new();
    let lane = value(&controller.lane, &mut missing, &["link_gt_per_s", "link_lanes"], |lane| *lane);
    let counted = ["bus_errors_corrected", "bus_errors_uncorrected"];
    let errors = value(&controller.bus_errors, &mut missing, &counted, |errors| *errors);
    if controller.driver.is_none() {
        missing.insert("driver".into(), "not fitted: no driver is bound to it".into());
    }
    if controller.link_power.is_none() {
        missing.insert("link_power".into(), "not fitted: no SATA port tells it, or they differ".into());
    }
    Controller {
        place: controller.key.clone(),
        kind: match controller.kind {
            ControllerKind::Storage => "storage",
            ControllerKind::Nvme => "nvme",
            ControllerKind::UsbHost => "usb",
        }
        .to_owned(),
        id: controller.id.clone(),
        driver: controller.driver.clone(),
        answers: value(&controller.answers, &mut missing, &["answers"], |answers| *answers),
        link_gt_per_s: lane.map(|lane| lane.gigatransfers),
        link_lanes: lane.map(|lane| lane.width),
        bus_errors_corrected: errors.map(|errors| errors.corrected),
        bus_errors_uncorrected: errors.map(|errors| errors.uncorrected),
        link_power: controller.link_power.clone(),
        missing,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{heron, story};
    use crate::reading::{Missing, Reading, Reason, Source, Undervoltage};
    use crate::units::Volts;
    use std::time::Duration;

    fn snapshot() -> Snapshot {
        heron::snapshot(Moment::after_boot(Duration::from_secs(900)), &story::scene(Duration::ZERO))
    }

    #[test]
    fn a_supply_that_is_not_measured_says_so_and_one_that_is_does_not() {
        let mut snapshot = snapshot();
        let bare = supply(&snapshot);
        assert_eq!((bare.twelve_volt_v, bare.board_undervoltage), (None, None));
        assert_eq!(bare.missing["twelve_volt_v"], "12 V not measured: no sensor is labelled so");
        assert_eq!(bare.missing["board_undervoltage"], "not fitted: the board has no alarm for it");
        assert_eq!(bare.rails[0].nominal_v, Some(5.0));
        snapshot.rails[0].nominal = Some(Nominal::Twelve);
        snapshot.rails[0].value = Reading::new(Ok(Volts(11.9)), snapshot.taken, Source::Hwmon);
        let alarm =
            |low| Undervoltage { key: "rpi_volt/in0".into(), low: Reading::new(low, snapshot.taken, Source::Hwmon) };
        snapshot.undervoltages = vec![alarm(Ok(false)), alarm(Ok(true))];
        let measured = supply(&snapshot);
        assert_eq!((measured.twelve_volt_v, measured.board_undervoltage), (Some(11.9), Some(true)));
        assert_eq!(measured.missing.len(), 0);
    }

    #[test]
    fn a_controller_has_values_or_reasons() {
        let mut snapshot = snapshot();
        let card = controller(&snapshot.controllers[0]);
        assert_eq!((card.place.as_str(), card.kind.as_str(), card.link_lanes), ("0000/1c.0/00.0", "storage", Some(2)));
        assert_eq!(card.missing.len(), 0);
        let asleep = Missing::new(Reason::NotAsked, "it sleeps, and would be woken");
        let there = &mut snapshot.controllers[0];
        there.answers = Reading::new(Err(asleep), snapshot.taken, Source::Sysfs);
        there.driver = None;
        let card = controller(there);
        assert_eq!((card.answers, card.driver), (None, None));
        assert_eq!(card.missing["answers"], "not asked: it sleeps, and would be woken");
        assert_eq!(card.missing["driver"], "not fitted: no driver is bound to it");
    }
}
