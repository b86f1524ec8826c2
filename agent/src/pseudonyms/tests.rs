//! What is replaced, what is left, and that the same value has the same pseudonym wherever it is.

use super::patterns::{BEGINNINGS, ENDS, PATTERNS};
use super::{IdentityKind, Known, Pseudonyms};
use proptest::prelude::*;

fn pseudonyms(values: &[(IdentityKind, &str)]) -> Pseudonyms {
    let mut known = Known::default();
    values.iter().for_each(|(kind, value)| known.add(*kind, value));
    Pseudonyms::new(&known).expect("there are few values")
}

fn replaced(values: &[(IdentityKind, &str)], text: &str) -> String {
    pseudonyms(values).text(text)
}

const DRIVES: [(IdentityKind, &str); 4] = [
    (IdentityKind::Serial, "HN24-0417"),
    (IdentityKind::Serial, "HN31-9982"),
    (IdentityKind::Wwn, "5000c500aabbccdd"),
    (IdentityKind::Share, "birdsong"),
];

#[test]
fn all_forms_are_looked_for() {
    assert_eq!(PATTERNS.len(), 19, "a form that is no pattern is looked for nowhere");
    assert!(ENDS.is_some() && BEGINNINGS.is_some());
}

#[test]
fn two_drives_stay_two_in_every_spelling() {
    for (text, wanted) in [
        ("HN24-0417 and hn31-9982, HN24-0417", "serial-1 and serial-2, serial-1"),
        ("the drive in tray 3 (serial ..9982) and ..0417", "the drive in tray 3 (serial serial-1) and serial-2"),
        (
            "compare the labels with the serial ending in 0417.",
            "compare the labels with the serial ending in serial-1.",
        ),
        ("ata-Warbler_4T_HN24-0417-part1", "ata-Warbler_4T_serial-1-part1"),
        ("WarblerHN24-0417x", "Warblerserial-1x"),
        ("wwn-0x5000c500aabbccdd naa.5000C500AABBCCDD 0x5000c500aabbccdd 5000c500aabbccdd", "wwn-1 wwn-1 wwn-1 wwn-1"),
        ("/srv/birdsong/BIRDSONG birdsongs", "/srv/share-1/share-1 birdsongs"),
        ("/SRV/BIRDS\u{2026} full", "/SRV/share-1\u{2026} full"),
    ] {
        assert_eq!(replaced(&DRIVES, text), wanted, "{text}");
    }
}

/// By their last four characters the two are one, so these have a pseudonym of their own.
#[test]
fn an_end_that_two_serials_have_belongs_to_neither() {
    let alike = [(IdentityKind::Serial, "HN24-0417"), (IdentityKind::Serial, "HN31-0417")];
    let text = replaced(&alike, "HN24-0417 HN31-0417 ..0417");
    assert_eq!(text, "serial-1 serial-2 serial-3");
}

#[test]
fn what_was_not_known_is_found_by_its_form() {
    for (text, wanted) in [
        ("eth0: link up, 02:42:AC:11:00:02", "eth0: link up, mac-1"),
        ("02-42-ac-11-00-02 enx0242ac110002 02:42:ac:11:00:02", "mac-1 mac-1 mac-1"),
        ("usb 1-1: SerialNumber: 0123 QX77\nusb", "usb 1-1: SerialNumber: serial-1\nusb"),
        ("\"serial\": \"QX7-1\", 'Serial Number: QX7-1'", "\"serial\": \"serial-1\", 'Serial Number: serial-1'"),
        ("from 192.0.2.20 to 2001:DB8::17, 2001:db8:0:0::17", "from address-1 to address-2, address-2"),
        ("mail to Keeper.A@reed.example.org.", "mail to mail-1."),
        ("<https://hooks.example.org/T0/x?token=abc> (http://h/x).", "<url-1> (url-2)."),
        ("UUID=\"0c1f9b4e-7a55-4c0e-9d3c-6a1f00aa11bb\"", "UUID=\"uuid-1\""),
        ("0c1f9b4e:7a554c0e:9d3c6a1f:00aa11bb 0c1f9b4e7a554c0e9d3c6a1f00aa11bb", "uuid-1 uuid-1"),
        ("/dev/disk/by-uuid/7C3E-22F0", "/dev/disk/by-uuid/uuid-1"),
        ("/dev/disk/by-id/ata-Warbler_4T_QX77-1-part2 gone", "/dev/disk/by-id/ata-Warbler_4T_serial-1-part2 gone"),
        ("/dev/disk/by-label/nestbox", "/dev/disk/by-label/share-1"),
        ("naa.5000c500aabbccde eui.0025385b71b04f3a 0x50014ee2b1c3d4e5", "wwn-1 wwn-2 wwn-3"),
        ("nvme.1b36-514558373731-5765-00000001", "wwn-1"),
        ("/home/ada/x /run/media/ada/y", "/home/user-1/x /run/media/user-1/y"),
        (
            "password = 'hunter2'; Authorization: Bearer abc.def",
            "password = 'secret-1'; Authorization: Bearer secret-2",
        ),
    ] {
        assert_eq!(replaced(&[], text), wanted, "{text}");
        let upper =
            replaced(&[], &text.to_uppercase().replace("/HOME/", "/home/").replace("/RUN/MEDIA/", "/run/media/"));
        assert_eq!(upper.to_uppercase(), wanted.to_uppercase(), "in upper case: {text}");
    }
}

/// Short and common values, names of the kernel, and what only looks like an address, a serial or a name.
#[test]
fn what_identifies_nobody_is_left() {
    use IdentityKind::{Host, Pool, Serial, Share, User};
    let common = [
        (Serial, "a"),
        (Serial, "12"),
        (Serial, "0417"),
        (Serial, "00000000"),
        (User, "root"),
        (Pool, "md0"),
        (Pool, "sda"),
        (Pool, "nvme0n1p2"),
        (Share, "media"),
        (Host, "localhost"),
        (Share, "drive"),
        (Host, "Tray"),
        (Pool, "12"),
    ];
    for text in [
        "the drive a in tray 12 of md0 is 0417 h old; root, media, localhost, sda1, nvme0n1p2",
        "New USB device strings: Mfr=1, Product=2, SerialNumber=3",
        "ata3.00: cmd 60/08:98:40:05:44/00:00:00:00:00/40 tag 19 ncq dma 4096 in",
        "pcieport 0000:00:1c.0: AER, 12:34:56, sd 2:0:0:0: [sda] at 127.0.0.1, ::1, 0.0.0.0/0 and 255.255.255.0",
        "mmc@7e300000, i2c@7e804000, fe80 is no address, 20.00.07.00 is firmware",
        "2026-11-30T19:52:52+01:00 0xffffffffc0a01234 SControl 300",
        "password_file = ***",
        "/home, /root and /dev/disk/by-id are folders",
    ] {
        assert_eq!(replaced(&common, text), text);
    }
}

/// A host that is called as a pseudonym is would stand for two hosts.
#[test]
fn a_pseudonym_is_nobodys_own_name() {
    let hosts = [(IdentityKind::Host, "reed-hut"), (IdentityKind::Host, "host-1")];
    assert_eq!(replaced(&hosts, "reed-hut host-1"), "host-2 host-3");
}

#[test]
fn where_two_values_overlap_nothing_of_either_is_left() {
    let values = [(IdentityKind::Share, "reed birds"), (IdentityKind::Share, "birds-2024-north")];
    assert_eq!(replaced(&values, "/srv/reed birds-2024-north/x"), "/srv/share-1/x");
    assert_eq!(replaced(&values, "/srv/reed\\040birds"), "/srv/share-1");
}

#[test]
fn bytes_that_are_no_text_stay_what_they_are() {
    let mut pseudonyms = pseudonyms(&DRIVES);
    assert_eq!(pseudonyms.bytes(b"\xff\x00HN24-0417\x00\xfe"), b"\xff\x00serial-1\x00\xfe");
    assert_eq!(pseudonyms.bytes(b"\x80HN31-9982\r\n"), b"\x80serial-2\r\n", "it goes on with the next bytes");
    assert_eq!(pseudonyms.counts().collect::<Vec<_>>(), [(IdentityKind::Serial, 2)]);
}

proptest! {
    #[test]
    fn no_known_value_survives_in_either_letter_case(
        values in prop::collection::vec(("[a-zA-Z0-9äÖ]{1,4}[a-zA-Z0-9 ._-]{3,12}[a-z0-9]", 0..IdentityKind::ALL.len()), 1..8),
        between in prop::collection::vec("[ /:,=()\"\n_.-]| the drive |/ata-", 9..16),
    ) {
        let mut known = Known::default();
        values.iter().for_each(|(value, kind)| known.add(IdentityKind::ALL[*kind], value));
        let kept: Vec<String> = known.values().iter().map(|(_, value)| value.to_lowercase()).collect();
        let mut text = String::new();
        for (value, between) in kept.iter().flat_map(|value| [value.clone(), value.to_uppercase()]).zip(between.iter().cycle()) {
            text += between;
            text += &value;
        }
        let masked = Pseudonyms::new(&known).expect("there are few values").text(&text).to_lowercase();
        for value in kept {
            prop_assert!(!masked.contains(&value), "{value:?} is in {masked:?}, of {text:?}");
        }
    }

    #[test]
    fn any_bytes_have_an_end(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let masked = pseudonyms(&DRIVES).bytes(&bytes);
        prop_assert!(masked.len() <= 20 * bytes.len());
    }
}
