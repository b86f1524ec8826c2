//! How the kernel gets on with drives, from the files that it keeps for each.

use super::{drive, heron, rounds, said, why};
use traylight::reading::Attachment;
use traylight_tests::pretend_box::PretendBox;

fn attachment(heron: &PretendBox, device: &str) -> Attachment {
    drive(&rounds(heron).round(), device).attachment.clone()
}

fn words(heron: &PretendBox, device: &str) -> [String; 3] {
    let Attachment { speed, timeouts, patience } = attachment(heron, device);
    let patience = patience.value.map_or_else(|missing| why(&missing), |patience| format!("{} s", patience.as_secs()));
    [said(&speed), said(&timeouts), patience]
}

#[test]
fn a_sata_drive_has_a_link_speed_a_count_of_time_outs_and_a_patience() {
    assert_eq!(words(&heron(), "sda"), ["6 Gb/s", "0", "30 s"]);
}

#[test]
fn other_drives_have_no_sata_link_and_that_is_the_reason() {
    let heron = heron();
    heron.usb_drive("sdc", "2-2.1", "NEST-0001", "Nest 2T");
    assert_eq!(words(&heron, "sdc"), ["no such file (2-2.1/speed)", "0", "30 s"]);
    let of_nvme = attachment(&heron, "nvme0n1");
    assert_eq!(said(&of_nvme.speed), "not on a SATA link of its own");
    assert!(said(&of_nvme.timeouts).starts_with("no such file"), "{}", said(&of_nvme.timeouts));
}

#[test]
fn behind_a_port_multiplier_every_port_has_its_own_link() {
    let heron = heron();
    heron.write("/sys/class/ata_link/link1.0/sata_spd", "3.0 Gbps\n");
    assert_eq!(words(&heron, "sda")[0], "3 Gb/s");
}

#[test]
fn what_the_kernel_does_not_know_and_what_nobody_can_read_are_told_apart() {
    let heron = heron();
    heron.write("/sys/class/ata_link/link1/sata_spd", "<unknown>\n").write("/sys/block/sda/device/iotmo_cnt", "many\n");
    heron.remove("/sys/block/sda/device/timeout");
    let [speed, timeouts, patience] = words(&heron, "sda");
    assert_eq!(speed, "the driver does not report it");
    assert!(timeouts.starts_with("unreadable") && timeouts.contains("found `many`"), "{timeouts}");
    assert!(patience.starts_with("no such file"), "{patience}");
}

/// A disk of a SAS host, with these folders between the host and the disk.
fn behind(heron: &PretendBox, device: &str, folders: &str, target: u64, serial: &str) -> Option<String> {
    let block = format!(
        "/sys/devices/pci0000:00/0000:00:01.0/0000:01:00.0/host6/{folders}/target6:0:{target}/6:0:{target}:0/block/{device}"
    );
    heron.write(&format!("{block}/size"), "1953525168\n").write(&format!("{block}/removable"), "0\n");
    heron.write(&format!("{block}/diskseq"), &format!("{}\n", 90 + target));
    heron.write(&format!("{block}/device/vendor"), "HUT\n");
    heron.write(&format!("{block}/serial"), &format!("{serial}\n")).link(&format!("/sys/block/{device}"), &block);
    drive(&rounds(heron).round(), device).port.clone()
}

#[test]
fn a_drive_behind_an_expander_names_it_in_its_place_and_one_beside_it_does_not() {
    let heron = heron();
    let through = "port-6:0/expander-6:1/port-6:1:3/end_device-6:1:3";
    assert_eq!(behind(&heron, "sdp", through, 9, "WREN-0009").as_deref(), Some("0000/01.0/00.0/exp-1.0:9:0"));
    let beside = "port-6:2/end_device-6:2";
    assert_eq!(behind(&heron, "sdq", beside, 2, "WREN-0010").as_deref(), Some("0000/01.0/00.0/scsi-0:2:0"));
}

#[test]
fn a_drive_behind_a_port_multiplier_names_the_port_that_it_shares() {
    let heron = heron();
    heron.write("/sys/class/ata_port/ata1/nr_pmp_links", "5\n");
    assert_eq!(drive(&rounds(&heron).round(), "sda").port.as_deref(), Some("0000/1f.2/ata-1.0"));
}
