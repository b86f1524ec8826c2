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
        return Err(Nonsense(format!("expected a packet of at most {LONGEST} bytes, found {}", body.len())));
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
    let too_long = |_| Nonsense(format!("expected a text of at most {} bytes, found {}", u16::MAX, bytes.len()));
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
                return Err(Nonsense(format!("expected a packet of at most {LONGEST_INCOMING} bytes, found {length}")));
            }
            let start = place + 1;
            return Ok(rest.get(start..start + length).map(|body| Packet { kind, body, size: 1 + start + length }));
        }
    }
    Err(Nonsense("expected a length of at most four bytes, found more".to_owned()))
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
            "expected a packet that a broker sends to a publisher, found 0x{kind:02x} of {} bytes",
            body.len()
        ))),
    }
}

/// The codes of 3.1.1, 3.2.2.3, and those of 5.0, 3.2.2.2.
fn connect_refused(code: u8) -> &'static str {
    match code {
        1 => "MQTT version not supported",
        2 => "client id rejected",
        3 => "server unavailable",
        4 => "wrong user or password",
        5 => "not authorised",
        code => reason(code),
    }
}

/// The codes of 5.0, 2.4.
fn reason(code: u8) -> &'static str {
    match code {
        0x00 => "disconnected by the broker",
        0x81 => "malformed packet",
        0x82 => "protocol error",
        0x83 => "unspecified error",
        0x84 => "MQTT version not supported",
        0x85 => "client id rejected",
        0x86 => "wrong user or password",
        0x87 => "not authorised",
        0x88 => "server unavailable",
        0x89 => "server busy",
        0x8A => "client banned",
        0x8B => "server shutting down",
        0x8D => "keep-alive timeout",
        0x8E => "session taken over by another client with the same id",
        0x90 => "topic name invalid",
        0x95 => "packet too large",
        0x97 => "quota exceeded",
        0x99 => "payload format invalid",
        0x9A => "retain not supported",
        0x9B => "QoS not supported",
        0x9C | 0x9D => "use another server",
        0x9F => "too many connections",
        _ => "unknown reason code",
    }
}

/// The properties of a welcome (3.2.2.3). Those that matter to nobody who only publishes are passed over.
fn terms(bytes: &[u8]) -> Result<Terms, Nonsense> {
    let cut = || Nonsense("expected whole properties in the answer to CONNECT, found them cut off".to_owned());
    let mut terms = Terms::default();
    let length = match bytes {
        [] => return Ok(terms),
        [low, ..] if low & 0x80 == 0 => usize::from(*low),
        [low, high, ..] if high & 0x80 == 0 => usize::from(low & 0x7F) + 128 * usize::from(*high),
        _ => return Err(Nonsense("expected properties of at most 16383 bytes, found more".to_owned())),
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
                return Err(Nonsense(format!(
                    "expected a property of MQTT 5 in the answer to CONNECT, found 0x{name:02x}"
                )));
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
mod tests;
