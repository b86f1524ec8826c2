//! The packets of MQTT 3.1.1 and 5.0 (OASIS standards of 2014 and 2019) that somebody who only publishes needs: plain
//! data in, bytes out, and back. Clauses are those of 5.0, which has kept the order of 3.1.1.

use std::fmt;
use traylight_config::MqttVersion;

/// A longer packet is none that a broker has to send to somebody who subscribes to nothing.
const LONGEST_INCOMING: usize = 64 << 10;
/// A length is written in at most four bytes (1.5.5).
const LONGEST: usize = 268_435_455;

/// "Are you there?" (3.12)
pub const PINGREQ: [u8; 2] = [0xC0, 0];
/// "Goodbye": the broker forgets the last will (3.14).
pub const DISCONNECT: [u8; 2] = [0xE0, 0];

/// What is published.
#[derive(Debug, Clone, Copy)]
pub struct Publish<'a> {
    /// Where.
    pub topic: &'a str,
    /// What.
    pub payload: &'a [u8],
    /// Whether the broker keeps it for those who come later.
    pub retain: bool,
    /// The number by which the broker confirms it; `None` for no confirmation (quality of service 0).
    pub number: Option<u16>,
}

/// How a client introduces itself.
#[derive(Debug, Clone, Copy)]
pub struct Connect<'a> {
    /// Its name; 23 letters and digits are taken by every broker (3.1.3.1).
    pub client: &'a str,
    /// Seconds within which it will be heard from.
    pub keep_alive_s: u16,
    /// User and password.
    pub login: Option<(&'a str, &'a str)>,
    /// What the broker publishes when the client is gone without goodbye.
    pub will: Publish<'a>,
}

/// A packet from the broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Incoming {
    /// We are let in, under these terms.
    Welcome(Terms),
    /// We are not; why.
    NotWelcome(String),
    /// It has what had this number.
    Taken(u16),
    /// It does not want what had this number; why.
    NotTaken(u16, String),
    /// It is there.
    Here,
    /// It says goodbye; why.
    Goodbye(String),
}

/// What a broker of MQTT 5 may ask of its clients (3.2.2.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terms {
    /// Seconds within which it wants to hear from the client, in place of what that said.
    pub keep_alive_s: Option<u16>,
    /// Whether it confirms what it has taken (quality of service 1).
    pub confirms: bool,
    /// Whether it keeps what is to be retained.
    pub retains: bool,
}

impl Default for Terms {
    fn default() -> Self {
        Self { keep_alive_s: None, confirms: true, retains: true }
    }
}

/// Something that is no MQTT, or none that can be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Nonsense(pub String);

impl fmt::Display for Nonsense {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The first packet (3.1). No session is kept: the outbox remembers what has not arrived.
pub fn connect(version: MqttVersion, connect: &Connect) -> Result<Vec<u8>, Nonsense> {
    let Connect { client, keep_alive_s, login, will } = connect;
    let mut body = Vec::new();
    text(&mut body, "MQTT")?;
    body.push(if version == MqttVersion::V5 { 5 } else { 4 });
    const CLEAN: u8 = 0x02;
    const WILL_AT_LEAST_ONCE: u8 = 0x04 | 0x08;
    let mut flags = CLEAN | WILL_AT_LEAST_ONCE;
    if will.retain {
        flags |= 0x20;
    }
    if login.is_some() {
        flags |= 0x80 | 0x40;
    }
    body.push(flags);
    body.extend(keep_alive_s.to_be_bytes());
    let no_properties = |body: &mut Vec<u8>| body.extend((version == MqttVersion::V5).then_some(0));
    no_properties(&mut body);
    text(&mut body, client)?;
    no_properties(&mut body);
    text(&mut body, will.topic)?;
    binary(&mut body, will.payload)?;
    if let Some((user, password)) = login {
        text(&mut body, user)?;
        binary(&mut body, password.as_bytes())?;
    }
    packet(0x10, &body)
}

/// A packet that publishes (3.3).
pub fn publish(version: MqttVersion, publish: &Publish) -> Result<Vec<u8>, Nonsense> {
    let mut body = Vec::new();
    text(&mut body, publish.topic)?;
    if let Some(number) = publish.number {
        body.extend(number.to_be_bytes());
    }
    body.extend((version == MqttVersion::V5).then_some(0));
    body.extend(publish.payload);
    let flags = u8::from(publish.retain) | if publish.number.is_some() { 0x02 } else { 0 };
    packet(0x30 | flags, &body)
}

fn packet(first: u8, body: &[u8]) -> Result<Vec<u8>, Nonsense> {
    if body.len() > LONGEST {
        return Err(Nonsense(format!("found a packet of {} bytes, wanted at most {LONGEST}", body.len())));
    }
    let mut packet = vec![first];
    let mut left = body.len();
    loop {
        let byte = (left % 128) as u8;
        left /= 128;
        packet.push(if left > 0 { byte | 0x80 } else { byte });
        if left == 0 {
            break;
        }
    }
    packet.extend(body);
    Ok(packet)
}

fn text(body: &mut Vec<u8>, text: &str) -> Result<(), Nonsense> {
    binary(body, text.as_bytes())
}

fn binary(body: &mut Vec<u8>, bytes: &[u8]) -> Result<(), Nonsense> {
    let too_long = |_| Nonsense(format!("found a text of {} bytes, wanted at most {}", bytes.len(), u16::MAX));
    body.extend(u16::try_from(bytes.len()).map_err(too_long)?.to_be_bytes());
    body.extend(bytes);
    Ok(())
}

/// A packet as it came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Packet<'a> {
    /// Its first byte: the kind, and flags.
    pub kind: u8,
    /// What follows the length.
    pub body: &'a [u8],
    /// How many bytes all of it takes.
    pub size: usize,
}

/// The first packet of what has come so far; `None` while it is not there yet.
pub fn first(bytes: &[u8]) -> Result<Option<Packet<'_>>, Nonsense> {
    let Some((&kind, rest)) = bytes.split_first() else { return Ok(None) };
    let (mut length, mut factor) = (0, 1);
    for place in 0..4 {
        let Some(&byte) = rest.get(place) else { return Ok(None) };
        length += usize::from(byte & 0x7F) * factor;
        factor *= 128;
        if byte & 0x80 == 0 {
            if length > LONGEST_INCOMING {
                return Err(Nonsense(format!("found a packet of {length} bytes, wanted at most {LONGEST_INCOMING}")));
            }
            let start = place + 1;
            return Ok(rest.get(start..start + length).map(|body| Packet { kind, body, size: 1 + start + length }));
        }
    }
    Err(Nonsense("found a length of more than four bytes, wanted one of MQTT".to_owned()))
}

/// What a packet says.
///
/// # Errors
/// When it is none that a broker may send to somebody who only publishes.
pub fn read(version: MqttVersion, kind: u8, body: &[u8]) -> Result<Incoming, Nonsense> {
    let five = version == MqttVersion::V5;
    match (kind, body) {
        (0x20, [_, 0, rest @ ..]) if five => Ok(Incoming::Welcome(terms(rest)?)),
        (0x20, [_, 0]) => Ok(Incoming::Welcome(Terms::default())),
        (0x20, [_, code, ..]) => Ok(Incoming::NotWelcome(connect_refused(*code).to_owned())),
        // Without a code it is a success (3.4.2.1).
        (0x40, [high, low, rest @ ..]) => {
            let number = u16::from_be_bytes([*high, *low]);
            match rest.first() {
                Some(&code) if code >= 0x80 => Ok(Incoming::NotTaken(number, reason(code).to_owned())),
                _ => Ok(Incoming::Taken(number)),
            }
        }
        (0xD0, []) => Ok(Incoming::Here),
        (0xE0, codes) if five => Ok(Incoming::Goodbye(reason(codes.first().copied().unwrap_or(0)).to_owned())),
        (kind, body) => Err(Nonsense(format!(
            "found a packet 0x{kind:02x} of {} bytes, wanted one that a broker sends to somebody who only publishes",
            body.len()
        ))),
    }
}

/// The codes of 3.1.1, 3.2.2.3, and those of 5.0, 3.2.2.2.
fn connect_refused(code: u8) -> &'static str {
    match code {
        1 => "it does not speak this version of MQTT",
        2 => "it does not take this client's name",
        3 => "the server is not there for us",
        4 => "user or password is wrong",
        5 => "not authorised",
        code => reason(code),
    }
}

/// The codes of 5.0, 2.4.
fn reason(code: u8) -> &'static str {
    match code {
        0x00 => "it says goodbye",
        0x81 => "the packet is malformed",
        0x82 => "an error of the protocol",
        0x83 => "an error that the broker does not explain",
        0x84 => "it does not speak this version of MQTT",
        0x85 => "it does not take this client's name",
        0x86 => "user or password is wrong",
        0x87 => "not authorised",
        0x88 => "the server is not there for us",
        0x89 => "the server is busy",
        0x8A => "we are banned",
        0x8B => "the server shuts down",
        0x8D => "it has not heard from us for too long",
        0x8E => "another client with our name has come",
        0x90 => "it does not take this topic",
        0x95 => "the packet is too large",
        0x97 => "its quota is used up",
        0x99 => "it does not take this payload",
        0x9A => "it does not retain",
        0x9B => "it does not confirm",
        0x9C | 0x9D => "it is to be found elsewhere",
        0x9F => "too many connections",
        _ => "a reason that the standard does not know",
    }
}

/// The properties of a welcome (3.2.2.3). Those that matter to nobody who only publishes are passed over.
fn terms(bytes: &[u8]) -> Result<Terms, Nonsense> {
    let cut = || Nonsense("found a welcome whose properties are cut, wanted all of them".to_owned());
    let mut terms = Terms::default();
    let length = match bytes {
        [] => return Ok(terms),
        [low, ..] if low & 0x80 == 0 => usize::from(*low),
        [low, high, ..] if high & 0x80 == 0 => usize::from(low & 0x7F) + 128 * usize::from(*high),
        _ => return Err(Nonsense("found properties of more than 16383 bytes, wanted fewer".to_owned())),
    };
    let start = if length < 128 { 1 } else { 2 };
    let mut rest = bytes.get(start..start + length).ok_or_else(cut)?;
    while let Some((&name, value)) = rest.split_first() {
        let text = |from: usize| {
            let length = value.get(from..from + 2)?;
            Some(from + 2 + usize::from(u16::from_be_bytes([length[0], length[1]])))
        };
        let size = match name {
            0x24 | 0x25 | 0x28 | 0x29 | 0x2A => Some(1),
            0x13 | 0x21 | 0x22 => Some(2),
            0x11 | 0x27 => Some(4),
            0x12 | 0x15 | 0x16 | 0x1A | 0x1C | 0x1F => text(0),
            0x26 => text(0).and_then(text),
            name => {
                return Err(Nonsense(format!("found the property 0x{name:02x} in a welcome, wanted one of MQTT 5")));
            }
        };
        let (value, after) = size.and_then(|size| value.split_at_checked(size)).ok_or_else(cut)?;
        match (name, value) {
            (0x13, [high, low]) => terms.keep_alive_s = Some(u16::from_be_bytes([*high, *low])),
            (0x24, [most]) => terms.confirms = *most > 0,
            (0x25, [can]) => terms.retains = *can > 0,
            _ => {}
        }
        rest = after;
    }
    Ok(terms)
}

/// A name as one level of a topic (4.7): without separators, wildcards and NUL.
pub fn level(name: &str) -> String {
    let plain = |c: char| if matches!(c, '/' | '+' | '#' | '$') || c.is_control() { '_' } else { c };
    let level: String = name.trim().chars().map(plain).collect();
    if level.is_empty() { "_".to_owned() } else { level }
}

#[cfg(test)]
mod tests {
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
        assert_eq!(welcome(V5, &[0, 0x86, 0]), Ok(Incoming::NotWelcome("user or password is wrong".into())));
        let properties = b"\0\0\x13\x13\0\x1E\x24\0\x25\0\x12\0\x02ab\x26\0\x01k\0\x01v";
        let terms = Terms { keep_alive_s: Some(30), confirms: false, retains: false };
        assert_eq!(welcome(V5, properties), Ok(Incoming::Welcome(terms)));
        assert!(welcome(V5, &[0, 0, 3, 0x13, 0]).is_err(), "cut");
        assert!(welcome(V5, &[0, 0, 1, 0x7E]).is_err(), "unknown");
        assert_eq!(read(V5, 0x40, &[1, 2]), Ok(Incoming::Taken(0x0102)));
        // 0x10: there was nobody to hand it to, which is no fault.
        assert_eq!(read(V5, 0x40, &[1, 2, 0x10, 0]), Ok(Incoming::Taken(0x0102)));
        assert_eq!(read(V5, 0x40, &[1, 2, 0x97, 0]), Ok(Incoming::NotTaken(0x0102, "its quota is used up".into())));
        assert_eq!(read(V5, 0xD0, &[]), Ok(Incoming::Here));
        assert_eq!(read(V5, 0xE0, &[0x8B]), Ok(Incoming::Goodbye("the server shuts down".into())));
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
}
