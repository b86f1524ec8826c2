//! The supply and the controllers in the document.

use super::part::part;
use crate::reading::{self, ControllerKind, Missing, Snapshot, WhyMissing};

part! {
    /// The power supply, as far as it is measured.
    pub struct Supply of (snapshot: &Snapshot) where {
        let alarms = &snapshot.undervoltages;
        let alarm = alarms.iter().find(|alarm| alarm.low.get() == Some(&true)).or_else(|| alarms.first());
    } {
        /// Labelled voltages. The drives' 12 V has `nominal_v` 12; without such an entry it is not measured.
        rails: is Vec<Rail> = snapshot.rails.iter().map(Rail::of).collect();
        /// True while the board's input voltage is too low, or was since the previous reading.
        board_undervoltage: known bool = alarm
            .ok_or(Missing::from(WhyMissing::NoAlarm))
            .and_then(|alarm| Ok(*alarm.low.value.as_ref()?));
    }
}

part! {
    /// A labelled voltage.
    pub struct Rail of (rail: &reading::Rail) {
        /// The driver's name for it.
        label: is String = rail.label.clone();
        /// Nominal voltage by the label.
        nominal_v: known f64 = rail.nominal.map(|nominal| nominal.volts().0).ok_or(WhyMissing::NoRailLabel);
        /// The value.
        potential_v: known f64 = rail.value.value.as_ref().map(|volts| volts.0);
    }
}

part! {
    /// A controller that drives are attached to.
    pub struct Controller of (controller: &reading::Controller) where {
        let pcie_link = controller.pcie_link.value.as_ref();
        let errors = controller.bus_errors.value.as_ref();
    } {
        /// Its location: the beginning of its drives' ports.
        place: is String = controller.key.clone();
        /// `storage`, `nvme` or `usb`.
        kind: is String = match controller.kind {
            ControllerKind::Storage => "storage",
            ControllerKind::Nvme => "nvme",
            ControllerKind::UsbHost => "usb",
        }
        .to_owned();
        /// PCI vendor and device ID.
        id: is String = controller.id.clone();
        /// Its driver.
        driver: known String = controller.driver.clone().ok_or(WhyMissing::NoBoundDriver);
        /// False when it is listed and no longer responds.
        responds: known bool = controller.answers.value.as_ref().copied();
        /// Speed of each lane of its PCIe link, GT/s.
        link_gt_per_s: known f64 = pcie_link.map(|pcie_link| pcie_link.gigatransfers);
        /// Lanes of its PCIe link in use.
        link_lanes: known u32 = pcie_link.map(|pcie_link| pcie_link.width);
        /// Corrected errors on its PCIe link since boot.
        bus_errors_corrected: known u64 = errors.map(|errors| errors.corrected);
        /// Uncorrected errors on its PCIe link since boot.
        bus_errors_uncorrected: known u64 = errors.map(|errors| errors.uncorrected);
        /// Link power policy, where all of its SATA ports have the same.
        link_power: known String = controller.link_power.clone().ok_or(WhyMissing::NoCommonPolicy);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{heron, story};
    use crate::reading::{Nominal, Reading, Source, Undervoltage};
    use crate::units::Volts;
    use std::time::Duration;

    fn snapshot() -> Snapshot {
        heron::snapshot(Moment::after_boot(Duration::from_secs(900)), &story::scene(Duration::ZERO))
    }

    #[test]
    fn a_supply_that_is_not_measured_says_so_and_one_that_is_does_not() {
        let mut snapshot = snapshot();
        let bare = Supply::of(&snapshot);
        assert_eq!(bare.board_undervoltage, None);
        assert_eq!(bare.missing["board_undervoltage"], WhyMissing::NoAlarm.into());
        assert_eq!(bare.rails[0].nominal_v, Some(5.0));
        snapshot.rails[0].nominal = Some(Nominal::Twelve);
        snapshot.rails[0].value = Reading::new(Ok(Volts(11.9)), snapshot.taken, Source::Hwmon);
        let alarm =
            |low| Undervoltage { key: "rpi_volt/in0".into(), low: Reading::new(low, snapshot.taken, Source::Hwmon) };
        snapshot.undervoltages = vec![alarm(Ok(false)), alarm(Ok(true))];
        let measured = Supply::of(&snapshot);
        let rail = &measured.rails[0];
        assert_eq!(
            (rail.nominal_v, rail.potential_v, measured.board_undervoltage),
            (Some(12.0), Some(11.9), Some(true))
        );
        assert_eq!(measured.missing.len(), 0);
    }

    #[test]
    fn a_controller_has_values_or_reasons() {
        let mut snapshot = snapshot();
        let card = Controller::of(&snapshot.controllers[0]);
        assert_eq!((card.place.as_str(), card.kind.as_str(), card.link_lanes), ("0000/1c.0/00.0", "storage", Some(2)));
        assert_eq!(card.missing.len(), 0);
        let asleep = Missing::from(WhyMissing::ControllerAsleep);
        let there = &mut snapshot.controllers[0];
        there.answers = Reading::new(Err(asleep), snapshot.taken, Source::Sysfs);
        there.driver = None;
        let card = Controller::of(there);
        assert_eq!((card.responds, card.driver), (None, None));
        assert_eq!(card.missing["responds"], WhyMissing::ControllerAsleep.into());
        assert_eq!(card.missing["driver"], WhyMissing::NoBoundDriver.into());
    }
}
