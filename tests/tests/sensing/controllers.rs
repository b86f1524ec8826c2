//! Controllers, the board's supply and the board itself, from the files that the kernel keeps of them.

use super::{heron, rounds, until};
use std::os::unix::fs::PermissionsExt;
use traylight::reading::{Controller, ControllerKind, Nominal, Processor, Reason, Snapshot, SystemDiskKind};
use traylight_tests::pretend_box::PretendBox;
use traylight_tests::pretend_controllers::{CARD, PORT, USB};

fn controller(heron: &PretendBox, key: &str) -> Controller {
    let snapshot = rounds(heron).round();
    snapshot.controllers.into_iter().find(|controller| controller.key == key).expect("the controller is there")
}

#[test]
fn controllers_are_found_by_their_class_and_are_where_drives_say_that_they_are() {
    let snapshot = rounds(&heron()).round();
    let told: Vec<String> = snapshot
        .controllers
        .iter()
        .map(|it| format!("{} {:?} {} {}", it.key, it.kind, it.id, it.driver.as_deref().unwrap_or("no driver")))
        .collect();
    assert_eq!(
        told,
        [
            "0000/14.0 UsbHost 8086:a12f xhci_hcd",
            "0000/1c.0/00.0 Storage 197b:0585 ahci",
            "0000/1f.2 Storage 8086:2922 ahci"
        ]
    );
    let port = snapshot.drives[1].port.as_deref().expect("a SATA drive has a port");
    assert_eq!(port, "0000/1f.2/ata-1", "the controller's key, then the port");
    assert_eq!(snapshot.blind, []);
}

#[test]
fn a_card_tells_its_link_its_errors_and_how_its_ports_save_power() {
    let heron = heron();
    heron.pci_errors(PORT, 480, 1).pci_errors(CARD, 3, 0);
    let card = controller(&heron, "0000/1c.0/00.0");
    let pcie_link = card.pcie_link.get().expect("it has a link");
    assert_eq!((pcie_link.gigatransfers, pcie_link.width), (8.0, 2));
    let errors = card.bus_errors.get().expect("errors are counted");
    assert_eq!((errors.corrected, errors.uncorrected), (483, 1), "those of the port above it count as well");
    assert_eq!(card.answers.get(), Some(&true));
    assert_eq!(card.link_power.as_deref(), Some("med_power_with_dipm"));

    let onboard = controller(&heron, "0000/1f.2");
    assert_eq!(onboard.pcie_link.missing().map(|why| why.reason), Some(Reason::NotAvailable));
    assert_eq!(onboard.bus_errors.missing().map(|why| why.reason), Some(Reason::NotAvailable));
}

#[test]
fn a_controller_that_reads_as_all_ones_does_not_answer() {
    let heron = heron();
    heron.write_raw(&format!("{CARD}/config"), &[0xff; 64]);
    assert_eq!(controller(&heron, "0000/1c.0/00.0").answers.get(), Some(&false));
}

/// Its `config` cannot be opened here: whoever looks at it is found out.
#[test]
fn a_controller_that_sleeps_is_not_woken() {
    let heron = heron();
    heron.write(&format!("{CARD}/power/runtime_status"), "suspended\n");
    let refused = std::fs::Permissions::from_mode(0o000);
    std::fs::set_permissions(heron.path(&format!("{CARD}/config")), refused).expect("the file is ours");
    heron.remove(&format!("{CARD}/current_link_speed"));
    let card = controller(&heron, "0000/1c.0/00.0");
    for why in [card.answers.missing(), card.pcie_link.missing()] {
        assert_eq!(why.map(|why| why.reason), Some(Reason::NotRead), "{why:?}");
    }
    assert!(card.bus_errors.get().is_some(), "the kernel has those in memory");
}

#[test]
fn a_controller_without_a_driver_says_so_and_one_that_is_gone_is_not_there() {
    let heron = heron();
    heron.remove(&format!("{CARD}/driver")).remove("/sys/bus/pci/devices/0000:00:14.0").remove(USB);
    assert_eq!(controller(&heron, "0000/1c.0/00.0").driver, None);
    let kinds: Vec<ControllerKind> = rounds(&heron).round().controllers.iter().map(|it| it.kind).collect();
    assert_eq!(kinds, [ControllerKind::Storage; 2]);
}

#[test]
fn files_of_a_controller_that_make_no_sense_cost_only_what_they_tell() {
    let heron = heron();
    heron
        .write(&format!("{CARD}/current_link_width"), "many\n")
        .write(&format!("{CARD}/aer_dev_correctable"), "RxErr\n")
        .write_raw(&format!("{CARD}/config"), &[0x7b])
        .write("/sys/bus/pci/devices/0000:00:14.0/class", "serial bus\n");
    let card = controller(&heron, "0000/1c.0/00.0");
    let reasons = [card.answers.missing(), card.pcie_link.missing(), card.bus_errors.missing()];
    assert_eq!(reasons.map(|why| why.map(|why| why.reason)), [Some(Reason::Unreadable); 3]);
    let keys: Vec<String> = rounds(&heron).round().controllers.into_iter().map(|it| it.key).collect();
    assert_eq!(keys, ["0000/1c.0/00.0", "0000/1f.2"], "one without a class is none that is known");
    heron.write(&format!("{CARD}/ata22/host22/scsi_host/host22/link_power_management_policy"), "max_performance\n");
    assert_eq!(controller(&heron, "0000/1c.0/00.0").link_power, None, "two ports, two policies");
}

#[test]
fn a_controller_of_a_device_tree_is_known_by_its_node() {
    let heron = heron();
    heron.chip_sata("fc400000.sata", "rockchip,rk3568-dwc-ahci");
    let it = controller(&heron, "fc400000.sata");
    assert_eq!((it.kind, it.id.as_str()), (ControllerKind::Storage, "rockchip,rk3568-dwc-ahci"));
    assert_eq!(it.driver.as_deref(), Some("ahci-dwc"));
    assert_eq!(it.answers.missing().map(|why| why.reason), Some(Reason::NotAvailable));
}

fn supply(snapshot: &Snapshot) -> Option<Snapshot> {
    let answered = snapshot.undervoltages.iter().any(|alarm| alarm.low.get().is_some());
    answered.then(|| snapshot.clone())
}

/// Documentation/hwmon/raspberrypi-hwmon.rst: `in0_lcrit_alarm`, and no voltage.
#[test]
fn an_alarm_of_the_supply_is_read_and_rails_are_named_by_their_labels() {
    let heron = heron();
    let chip = heron.chip_folder("1-002e");
    heron
        .monitor("rpi_volt", &[("in0_lcrit_alarm", "1\n")])
        .write(&format!("{chip}/in1_input"), "11890\n")
        .write(&format!("{chip}/in1_label"), "+12V\n")
        .write(&format!("{chip}/in2_input"), "1210\n")
        .write(&format!("{chip}/in2_label"), "Vcore\n");
    let snapshot = until(&mut rounds(&heron), "an answer of the alarm", supply);
    let alarm = &snapshot.undervoltages[0];
    assert_eq!((alarm.key.as_str(), alarm.low.get()), ("rpi_volt/in0", Some(&true)));
    let rails: Vec<_> = snapshot.rails.iter().map(|rail| (rail.label.as_str(), rail.nominal)).collect();
    assert_eq!(rails, [("+12V", Some(Nominal::Twelve)), ("Vcore", None)]);

    let odd = PretendBox::new();
    odd.monitor("rpi_volt", &[("in0_lcrit_alarm", "low\n")]);
    let refused = |snapshot: &Snapshot| {
        let why = snapshot.undervoltages[0].low.missing()?.clone();
        (why.reason == Reason::Unreadable).then_some(why)
    };
    let why = until(&mut rounds(&odd), "an odd alarm", refused);
    assert!(why.found.as_ref().is_some_and(|found| found.ends_with("expected 0 or 1, found `low`")), "{why:?}");
}

#[test]
fn processors_have_their_ends_from_their_chip_or_their_zone() {
    let heron = heron();
    heron.monitor(
        "coretemp",
        &[("temp1_input", "52000\n"), ("temp1_crit", "100000\n"), ("temp1_label", "Package id 0\n")],
    );
    let zone = heron.real("/sys/class/thermal").to_owned() + "/" + &zone_of(&heron);
    heron
        .write(&format!("{zone}/trip_point_0_type"), "passive\n")
        .write(&format!("{zone}/trip_point_0_temp"), "70000\n")
        .write(&format!("{zone}/trip_point_1_type"), "critical\n")
        .write(&format!("{zone}/trip_point_1_temp"), "105000\n");
    let whole = |snapshot: &Snapshot| (snapshot.temperatures.len() == 3).then(|| snapshot.temperatures.clone());
    let warm = until(&mut rounds(&heron), "all temperatures", whole);
    let told: Vec<_> =
        warm.iter().map(|it| (it.label.as_str(), it.processor, it.critical.map(|limit| limit.0))).collect();
    assert_eq!(
        told,
        [
            ("board", None, None),
            ("Package id 0", Some(Processor::X86), Some(100.0)),
            ("x86_pkg_temp", Some(Processor::X86), Some(105.0))
        ]
    );
}

fn zone_of(heron: &PretendBox) -> String {
    let mut zones = std::fs::read_dir(heron.path("/sys/class/thermal")).expect("there is a zone").flatten();
    zones.next().expect("there is a zone").file_name().to_string_lossy().into_owned()
}

#[test]
fn the_board_tells_what_it_ended_whether_it_slows_down_and_what_the_system_is_on() {
    let heron = heron();
    heron
        .write("/proc/vmstat", "nr_free_pages 4711\noom_kill 2\n")
        .write("/sys/devices/system/cpu/cpu0/thermal_throttle/core_throttle_count", "3\n")
        .write("/sys/devices/system/cpu/cpu1/thermal_throttle/core_throttle_count", "4\n")
        .write("/sys/class/thermal/cooling_device0/type", "cpufreq-cpu0\n")
        .write("/sys/class/thermal/cooling_device0/cur_state", "1\n")
        .write("/sys/class/thermal/cooling_device1/type", "pwm-fan\n")
        .write("/sys/class/thermal/cooling_device1/cur_state", "3\n")
        .card("mmcblk0", "SD", "254:0");
    let board = rounds(&heron).round().board;
    let value = |reading: &Option<traylight::reading::Reading<u64>>| reading.as_ref().and_then(|it| it.get().copied());
    assert_eq!(value(&board.out_of_memory), Some(2));
    let throttling = *board.throttling.as_ref().and_then(|it| it.get()).expect("it tells");
    assert_eq!((throttling.count, throttling.held_back), (Some(7), Some(true)));
    let disk = board.system_disk.as_ref().and_then(|it| it.get()).expect("`/` is on a card");
    assert_eq!((disk.device.as_str(), disk.kind, disk.written.0), ("mmcblk0", SystemDiskKind::SdCard, 56_000 * 512));
}

#[test]
fn a_board_that_does_not_tell_has_reasons() {
    let board = rounds(&PretendBox::new()).round().board;
    let why = |missing: Option<&traylight::reading::Missing>| missing.map(|why| why.reason);
    assert_eq!(why(board.out_of_memory.as_ref().and_then(|it| it.missing())), Some(Reason::NotAvailable));
    assert_eq!(why(board.throttling.as_ref().and_then(|it| it.missing())), Some(Reason::NotAvailable));
    assert_eq!(why(board.system_disk.as_ref().and_then(|it| it.missing())), Some(Reason::NotAvailable));
}
