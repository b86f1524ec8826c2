//! Packets as the standards lay them out, and whatever a broker may send.

use super::*;
use MqttVersion::{V5, V311};
use proptest::prelude::*;

const WILL: Publish<'static> = Publish { topic: "t", payload: b"gone", retain: true, number: None };

/// By hand after 3.1.1, figures 3.2 to 3.6 and 5.0, 3.1.2 and 3.1.3 (from memory).
#[test]
fn a_connect_is_laid_out_by_the_standard() {
    let asked = Connect { client: "heron", keep_alive_s: 60, login: Some(("u", "pw")), will: WILL };
    let three = b"\x10\x21\0\x04MQTT\x04\xEE\0\x3C\0\x05heron\0\x01t\0\x04gone\0\x01u\0\x02pw";
    assert_eq!(connect(V311, &asked).unwrap(), three);
    let five = b"\x10\x23\0\x04MQTT\x05\xEE\0\x3C\0\0\x05heron\0\0\x01t\0\x04gone\0\x01u\0\x02pw";
    assert_eq!(connect(V5, &asked).unwrap(), five);
    let alone = Connect { login: None, ..asked };
    assert_eq!(connect(V311, &alone).unwrap()[9], 0x2E);
}

#[test]
fn a_publish_is_laid_out_by_the_standard() {
    let confirmed = Publish { topic: "a/b", payload: b"hi", retain: false, number: Some(0x0102) };
    assert_eq!(publish(V311, &confirmed).unwrap(), b"\x32\x09\0\x03a/b\x01\x02hi");
    assert_eq!(publish(V5, &confirmed).unwrap(), b"\x32\x0A\0\x03a/b\x01\x02\0hi");
    let kept = Publish { retain: true, number: None, ..confirmed };
    assert_eq!(publish(V311, &kept).unwrap(), b"\x31\x07\0\x03a/bhi");
}

/// The limits of each number of bytes (5.0, table 1-1; 3.1.1, table 2.4).
#[test]
fn lengths_are_those_of_the_table() {
    for (length, written) in [
        (0, &[0x00][..]),
        (127, &[0x7F]),
        (128, &[0x80, 0x01]),
        (16_383, &[0xFF, 0x7F]),
        (16_384, &[0x80, 0x80, 0x01]),
        (2_097_151, &[0xFF, 0xFF, 0x7F]),
        (2_097_152, &[0x80, 0x80, 0x80, 0x01]),
    ] {
        let packet = packet(0x30, &vec![0; length]).unwrap();
        assert_eq!(&packet[1..packet.len() - length], written);
        if length <= LONGEST_INCOMING {
            assert_eq!(
                first(&packet).unwrap().map(|found| (found.body.len(), found.size)),
                Some((length, packet.len()))
            );
        }
    }
    assert!(first(&[0x30, 0xFF, 0xFF, 0xFF, 0xFF, 0x01]).is_err());
    assert!(first(&[0x30, 0x81, 0x80, 0x04]).is_err(), "65537 bytes");
    for cut in [&[][..], &[0x30], &[0x30, 0x80], &[0x30, 0x02, 0x00]] {
        assert_eq!(first(cut), Ok(None));
    }
}

#[test]
fn what_a_broker_says_is_understood() {
    let welcome = |version, body: &[u8]| read(version, 0x20, body);
    assert_eq!(welcome(V311, &[0, 0]), Ok(Incoming::Welcome(Terms::default())));
    assert_eq!(welcome(V311, &[0, 5]), Ok(Incoming::NotWelcome("not authorised".into())));
    assert_eq!(welcome(V5, &[0, 0x86, 0]), Ok(Incoming::NotWelcome("wrong user or password".into())));
    let properties = b"\0\0\x13\x13\0\x1E\x24\0\x25\0\x12\0\x02ab\x26\0\x01k\0\x01v";
    let terms = Terms { keep_alive_s: Some(30), confirms: false, retains: false };
    assert_eq!(welcome(V5, properties), Ok(Incoming::Welcome(terms)));
    assert!(welcome(V5, &[0, 0, 3, 0x13, 0]).is_err(), "cut");
    assert!(welcome(V5, &[0, 0, 1, 0x7E]).is_err(), "unknown");
    assert_eq!(read(V5, 0x40, &[1, 2]), Ok(Incoming::Taken(0x0102)));
    // 0x10: there was nobody to hand it to, which is no fault.
    assert_eq!(read(V5, 0x40, &[1, 2, 0x10, 0]), Ok(Incoming::Taken(0x0102)));
    assert_eq!(read(V5, 0x40, &[1, 2, 0x97, 0]), Ok(Incoming::NotTaken(0x0102, "quota exceeded".into())));
    assert_eq!(read(V5, 0xD0, &[]), Ok(Incoming::Here));
    assert_eq!(read(V5, 0xE0, &[0x8B]), Ok(Incoming::Goodbye("server shutting down".into())));
    assert!(read(V311, 0xE0, &[]).is_err(), "a broker of 3.1.1 closes without a word");
    assert!(read(V5, 0x30, b"\0\x01thi").is_err());
}

#[test]
fn a_name_is_one_level_of_a_topic() {
    assert_eq!(level("heron"), "heron");
    assert_eq!(level("a/b+c#d\0"), "a_b_c_d_");
    assert_eq!(level(" "), "_");
}

#[test]
fn a_text_that_does_not_fit_is_told() {
    let long = "x".repeat(65_536);
    assert!(publish(V5, &Publish { topic: &long, ..WILL }).is_err());
}

proptest! {
    #[test]
    fn nothing_that_a_broker_sends_is_too_much(bytes in prop::collection::vec(any::<u8>(), 0..60)) {
        let mut rest = bytes.as_slice();
        while let Ok(Some(Packet { kind, body, size })) = first(rest) {
            prop_assert!(size >= 2 && size <= rest.len());
            let _ = read(V311, kind, body);
            let _ = read(V5, kind, body);
            rest = &rest[size..];
        }
        let _ = terms(&bytes);
    }
}
