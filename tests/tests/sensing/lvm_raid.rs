//! LVM RAID volumes, from what sysfs says of mapped devices and what they are on.

use std::fs;
use traylight::reading::Reason;
use traylight::sense::dm::{ask, volumes};
use traylight::sense::host::Host;
use traylight::sense::parse::dm::members::{Image, LogicalVolume, members};
use traylight::units::Bytes;
use traylight_tests::pretend_box::PretendBox;

fn songs() -> PretendBox {
    let heron = PretendBox::new();
    heron
        .sata_drive("sda", 1, "WREN-0001", "Warbler 4T")
        .sata_drive("sdb", 2, "WREN-0002", "Warbler 4T")
        .sata_drive("sdc", 3, "WREN-0003", "Warbler 4T")
        .list_drives_by_class(&["sda", "sdb", "sdc"])
        .partition("sda", "sda2")
        .lvm_mirror(["sda2", "sdb"])
        .mapped(5, "swap", "CRYPT-PLAIN-swap", &["sdc"])
        .mapped(6, "vg-plain", "LVM-tcJEPkBc3ANbDoGyEuJfDUYgWno5MwJQbV2Zlkk2cBBQWyKIB5ZrL76qVCw8SeCZ", &["sdc"]);
    heron
}

fn found(heron: &PretendBox) -> Vec<LogicalVolume> {
    volumes(&Host::at(heron.root())).unwrap()
}

fn images(heron: &PretendBox) -> Vec<String> {
    let [volume] = <[LogicalVolume; 1]>::try_from(found(heron)).unwrap();
    let line = |image: &Image| {
        format!(
            "{} {} on {}{}",
            image.number,
            image.name,
            image.drives.join("+"),
            if image.gone { ", gone" } else { "" }
        )
    };
    volume.images.iter().map(line).collect()
}

#[test]
fn a_mirror_is_found_among_other_mapped_devices_with_the_drives_of_its_images() {
    let heron = songs();
    let [volume] = <[LogicalVolume; 1]>::try_from(found(&heron)).unwrap();
    assert_eq!((volume.device.as_str(), volume.name.as_str()), ("dm-4", "vg-lv"));
    assert!(volume.uuid.starts_with("LVM-tcJE"));
    assert_eq!(volume.size, Some(Bytes::from_sectors(409_600)));
    assert_eq!(images(&heron), ["253:1 vg-lv_rimage_0 on sda", "253:3 vg-lv_rimage_1 on sdb"]);
    assert_eq!(members(&volume, None).iter().map(|member| member.place).collect::<Vec<_>>(), [0, 1]);
}

#[test]
fn a_drive_that_is_taken_away_leaves_an_image_on_nothing() {
    let heron = songs();
    heron.remove_drive("sdb");
    assert_eq!(images(&heron), ["253:1 vg-lv_rimage_0 on sda", "253:3 vg-lv_rimage_1 on sdb, gone"]);
}

#[test]
fn an_image_that_stands_for_a_missing_drive_is_gone() {
    let heron = songs();
    heron.remove("/sys/devices/virtual/block/dm-3/slaves/sdb");
    heron.mapped(7, "vg-lv_rimage_1-missing_0_0", "LVM-tcJE-missing_0_0", &[]);
    heron.link("/sys/devices/virtual/block/dm-3/slaves/dm-7", "/sys/devices/virtual/block/dm-7");
    assert_eq!(images(&heron)[1], "253:3 vg-lv_rimage_1 on , gone");
}

#[test]
fn an_image_over_two_drives_needs_both() {
    let heron = songs();
    heron.link("/sys/devices/virtual/block/dm-3/slaves/sdc", &heron.real("/sys/block/sdc"));
    assert_eq!(images(&heron)[1], "253:3 vg-lv_rimage_1 on sdb+sdc");
    heron.remove_drive("sdc");
    assert_eq!(images(&heron)[1], "253:3 vg-lv_rimage_1 on sdb+sdc, gone");
}

#[test]
fn mapped_devices_in_a_circle_come_to_an_end() {
    let heron = songs();
    heron.mapped(7, "circle", "CRYPT-PLAIN-circle", &["dm-5"]);
    heron.link("/sys/devices/virtual/block/dm-5/slaves/dm-7", "/sys/devices/virtual/block/dm-7");
    heron.link("/sys/devices/virtual/block/dm-3/slaves/dm-7", "/sys/devices/virtual/block/dm-7");
    assert_eq!(images(&heron)[1], "253:3 vg-lv_rimage_1 on sdc+sdb");
}

#[test]
fn a_recorded_tree_is_asked_nothing() {
    let asked = ask(&Host::at(songs().root()), "vg-lv");
    assert_eq!(asked.map_err(|why| why.reason), Err(Reason::NotRead));
}

/// Each file and link goes, is empty, or holds no text: the volume is there with what is left, or not at all.
#[test]
fn a_volume_that_is_being_taken_down_is_absent_or_itself() {
    let below = ["dm-1", "dm-3", "dm-4"].map(|name| format!("/sys/devices/virtual/block/{name}"));
    let names: Vec<String> = below
        .iter()
        .flat_map(|block| ["dm/name", "dm/uuid", "dev", "size", "slaves"].map(|file| format!("{block}/{file}")))
        .collect();
    let good = found(&songs()).remove(0);
    let heron = songs();
    for name in names {
        let (file, aside) = (heron.path(&name), heron.path("/aside"));
        let spoils = [None, Some(&b""[..]), Some(b"\xff"), Some(b"99999999999999999999")];
        for how in spoils.into_iter().filter(|how| how.is_none() || file.is_file()) {
            fs::rename(&file, &aside).unwrap();
            if let Some(bytes) = how {
                fs::write(&file, bytes).unwrap();
            }
            for seen in found(&heron) {
                let case = format!("{name} {how:?}: {seen:?}");
                assert_eq!(seen.device, good.device, "{case}");
                assert!(seen.size.is_none() || seen.size == good.size, "{case}");
                let known = |image: &_| good.images.iter().any(|good: &_| is_part_of(image, good));
                assert!(seen.images.iter().all(known), "{case}");
            }
            let _ = fs::remove_file(&file);
            fs::rename(&aside, &file).unwrap();
        }
    }
    assert_eq!(found(&heron), [good]);
}

/// The same image, or one that has lost sight of what it is on.
fn is_part_of(image: &Image, of: &Image) -> bool {
    image.name == of.name && (image.drives == of.drives || image.gone)
}
