//! One LVM RAID volume as a pool: its images from sysfs and what the RAID target says, put together to members.
//!
//! The names are LVM's (lvmraid(7)): a volume `vg-lv` has its data in images `vg-lv_rimage_0`, `vg-lv_rimage_1` and so on,
//! each mapped to one drive or several.

use super::raid::{self, RaidMemberHealth, RaidStatus, RaidTable};
use traylight_data::units::Bytes;

/// A RAID volume, from `/sys/block/dm-N`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogicalVolume {
    /// The kernel's name, such as `dm-4`.
    pub device: String,
    /// The device mapper's name, such as `vg-lv`.
    pub name: String,
    /// The device mapper's UUID: `LVM-` and the UUIDs of group and volume.
    pub uuid: String,
    /// Its usable size.
    pub size: Option<Bytes>,
    /// The images that are below it now.
    pub images: Vec<Image>,
}

/// One image of a RAID volume.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Image {
    /// The device mapper's name, such as `vg-lv_rimage_0`.
    pub name: String,
    /// Its block device's number, `MAJOR:MINOR`.
    pub number: String,
    /// The drives that it is on, by the kernel's names.
    pub drives: Vec<String>,
    /// One of these drives is gone, or it stands for a drive that is missing.
    pub gone: bool,
}

/// What the device mapper answered.
#[derive(Debug, Clone, PartialEq)]
pub struct RaidReport {
    /// How it stands.
    pub status: RaidStatus,
    /// How it was put together.
    pub table: RaidTable,
}

impl RaidReport {
    /// How many members it can lose, whichever they are; `None` for a layout that is not known.
    pub fn tolerates(&self) -> Option<u32> {
        raid::tolerates(&self.status.layout, self.status.health.len(), self.table.copies)
    }
}

/// One member of a RAID volume.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RaidMember {
    /// Its place in the layout.
    pub place: usize,
    /// The image there, if there is one.
    pub image: Option<Image>,
    /// What the RAID thinks of it; `None` until it has answered.
    pub health: Option<RaidMemberHealth>,
}

/// The place that an image's name says; `None` for what is no image. A missing drive's stand-in is none.
pub fn place(name: &str) -> Option<usize> {
    let (_, digits) = name.rsplit_once("_rimage_")?;
    digits.bytes().all(|byte| byte.is_ascii_digit()).then(|| digits.parse().ok()).flatten()
}

/// Whether a mapped device with this UUID and these names below it is a RAID volume of LVM.
pub fn is_raid<'a>(uuid: &str, mut below: impl Iterator<Item = &'a str>) -> bool {
    uuid.starts_with("LVM-") && below.any(|name| place(name).is_some())
}

/// The members in the order of their places. The table says which image is where; before it was heard, names do.
pub fn members(of: &LogicalVolume, told: Option<&RaidReport>) -> Vec<RaidMember> {
    let Some(told) = told else {
        let named = of.images.iter().filter_map(|image| Some((place(&image.name)?, image)));
        let mut members: Vec<RaidMember> =
            named.map(|(place, image)| RaidMember { place, image: Some(image.clone()), health: None }).collect();
        members.sort_by_key(|member| member.place);
        return members;
    };
    let image_at = |place: usize| {
        let number = told.table.devices.get(place)?.as_ref()?;
        of.images.iter().find(|image| image.number == *number).cloned()
    };
    let health = told.status.health.iter().enumerate();
    health.map(|(place, &health)| RaidMember { place, image: image_at(place), health: Some(health) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn image(place: usize, drive: &str) -> Image {
        let number = format!("253:{}", 2 * place + 1);
        Image { name: format!("vg-lv_rimage_{place}"), number, drives: vec![drive.to_owned()], gone: false }
    }

    fn songs() -> LogicalVolume {
        LogicalVolume {
            device: "dm-4".into(),
            name: "vg-lv".into(),
            uuid: "LVM-tcJEPkBc3ANbDoGyEuJfDUYgWno5MwJQtWMNmujkHU7Tba2nVc0EigC5uRwmNN3L".into(),
            size: Some(Bytes::from_sectors(409_600)),
            images: vec![image(1, "sdb"), image(0, "sda")],
        }
    }

    fn listed(of: &LogicalVolume, told: Option<&RaidReport>) -> Vec<String> {
        let drives = |image: Option<Image>| image.map_or("-".into(), |image| image.drives.join("+"));
        let line = |member: RaidMember| format!("{} {} {:?}", member.place, drives(member.image), member.health);
        members(of, told).into_iter().map(line).collect()
    }

    fn told(status: &str, table: &str) -> RaidReport {
        RaidReport { status: raid::status(status).unwrap(), table: raid::table(table).unwrap() }
    }

    /// The UUIDs and names that LVM 2.03.31 gave to one mirror and its parts.
    #[test]
    fn a_raid_volume_is_known_by_the_images_below_it() {
        assert!(is_raid("LVM-tcJE", ["vg-lv_rmeta_0", "vg-lv_rimage_0"].into_iter()));
        assert!(!is_raid("LVM-tcJE", ["sda"].into_iter()), "an image itself");
        assert!(!is_raid("LVM-tcJE", ["vg-lv_rimage_1-missing_0_0"].into_iter()), "an image on a missing drive");
        assert!(!is_raid("LVM-tcJE", ["vg-lv_rimage_0_iorig", "vg-lv_rimage_0_imeta"].into_iter()));
        assert!(!is_raid("CRYPT-LUKS2", ["vg-lv_rimage_0"].into_iter()));
        assert_eq!(place("vg-lv_rimage_12"), Some(12));
        assert_eq!(["lv_rimage_", "lv_rimage_99999999999999999999", "lv_rmeta_0"].map(place), [None; 3]);
    }

    #[test]
    fn members_are_in_the_order_of_the_table_and_have_the_health_of_the_status() {
        let table = "raid1 3 0 region_size 4096 2 253:0 253:1 253:2 253:3";
        let told_now = told("raid1 2 AD 409600/409600 idle 0 0 -", table);
        assert_eq!(listed(&songs(), Some(&told_now)), ["0 sda Some(Active)", "1 sdb Some(Faulty)"]);
        assert_eq!(told_now.tolerates(), Some(1));
        assert_eq!(listed(&songs(), None), ["0 sda None", "1 sdb None"]);
        // After a replacement the places and the names may differ: the table is right.
        let swapped = told("raid1 2 Aa 0/409600 recover 0 0 -", "raid1 3 0 region_size 4096 2 253:2 253:3 253:0 253:1");
        assert_eq!(listed(&songs(), Some(&swapped)), ["0 sdb Some(Active)", "1 sda Some(Rebuilding)"]);
    }

    #[test]
    fn an_empty_place_is_a_member_without_an_image() {
        let told = told("raid5_ls 3 AA- 409600/409600 idle 0 0 -", "raid5_ls 1 128 3 253:0 253:1 253:2 253:3 - -");
        assert_eq!(listed(&songs(), Some(&told)), ["0 sda Some(Active)", "1 sdb Some(Active)", "2 - Some(Gone)"]);
    }

    proptest! {
        #[test]
        fn any_name_and_any_two_answers_go_together(name in ".*", letters in "[AaD-]{1,5}", places in 1_usize..6) {
            let _ = (place(&name), is_raid(&name, [name.as_str()].into_iter()));
            let pairs = "253:0 253:1 ".repeat(places);
            let told = told(&format!("raid6_zr 2 {letters} 1/2 idle 0"), &format!("raid6_zr 1 8 {places} {pairs}"));
            prop_assert_eq!(members(&songs(), Some(&told)).len(), letters.len());
        }
    }
}
