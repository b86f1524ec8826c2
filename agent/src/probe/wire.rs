//! How snapshots travel from the probe to the core, and orders back: a header with a mark, a version and a length, then
//! JSON. Neither trusts the other: that end may be half dead.

use serde::Serialize;
use serde::de::DeserializeOwned;
use std::fmt;
use std::io;

/// Begins every message.
const MARK: [u8; 4] = *b"tray";
/// Goes up with every change of what a message holds.
const VERSION: u16 = 5;
/// Longest message: 512 drives need less than a tenth of it.
const LONGEST: u32 = 8 << 20;
const HEADER: usize = 10;

/// One message as bytes: mark (4), version (2, little endian), length of what follows (4, little endian), JSON.
pub fn encode(message: &impl Serialize) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::with_capacity(16 << 10);
    bytes.extend(MARK);
    bytes.extend(VERSION.to_le_bytes());
    bytes.extend([0; 4]);
    serde_json::to_writer(&mut bytes, message)?;
    let length = u32::try_from(bytes.len() - HEADER).unwrap_or(u32::MAX);
    if length > LONGEST {
        let found = format!("expected a message of at most {LONGEST} bytes, found {length}");
        return Err(io::Error::new(io::ErrorKind::InvalidData, found));
    }
    bytes[6..HEADER].copy_from_slice(&length.to_le_bytes());
    Ok(bytes)
}

/// Puts messages together from the pieces that a socket hands out.
#[derive(Debug, Default)]
pub struct Decoder {
    bytes: Vec<u8>,
}

impl Decoder {
    /// Takes in a piece.
    pub fn push(&mut self, piece: &[u8]) {
        self.bytes.extend_from_slice(piece);
    }

    /// The next whole message, or `None` until more comes.
    ///
    /// # Errors
    /// What was found instead of a message. Nothing can be decoded after that: where the next begins is unknown.
    pub fn next_message<T: DeserializeOwned>(&mut self) -> Result<Option<T>, WireFault> {
        let Some((header, rest)) = self.bytes.split_first_chunk::<HEADER>() else {
            return match MARK.starts_with(&self.bytes) || self.bytes.starts_with(&MARK) {
                true => Ok(None),
                false => Err(WireFault::NotAMessage),
            };
        };
        let [a, b, c, d, version @ .., l0, l1, l2, l3] = *header;
        if [a, b, c, d] != MARK {
            return Err(WireFault::NotAMessage);
        }
        let version = u16::from_le_bytes(version);
        if version != VERSION {
            return Err(WireFault::OtherVersion(version));
        }
        let length = u32::from_le_bytes([l0, l1, l2, l3]);
        if length > LONGEST {
            return Err(WireFault::TooLong(length));
        }
        let Some(body) = rest.get(..length as usize) else { return Ok(None) };
        let message = serde_json::from_slice(body).map_err(|error| WireFault::NotWanted(error.to_string()))?;
        self.bytes.drain(..HEADER + length as usize);
        Ok(Some(message))
    }
}

/// What came instead of a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WireFault {
    /// Bytes without the mark.
    NotAMessage,
    /// A message of another version.
    OtherVersion(u16),
    /// A message that claims to be longer than any.
    TooLong(u32),
    /// A body that is not what this end is told.
    NotWanted(String),
}

impl std::error::Error for WireFault {}

impl fmt::Display for WireFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotAMessage => write!(f, "expected a message that starts with `tray`, found other bytes"),
            Self::OtherVersion(found) => write!(f, "expected a message of version {VERSION}, found version {found}"),
            Self::TooLong(found) => write!(f, "expected a message of at most {LONGEST} bytes, found {found}"),
            Self::NotWanted(why) => write!(f, "found a body that means nothing here: {why}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Snapshot;
    use proptest::prelude::*;

    fn message() -> Vec<u8> {
        encode(&Snapshot::default()).expect("an empty snapshot is short")
    }

    #[test]
    fn messages_come_through_in_any_pieces() {
        let two = [message(), message()].concat();
        for size in 1..two.len() {
            let mut decoder = Decoder::default();
            let mut found = 0;
            for piece in two.chunks(size) {
                decoder.push(piece);
                while let Some(found_one) = decoder.next_message::<Snapshot>().expect("only messages were pushed") {
                    assert_eq!(found_one, Snapshot::default());
                    found += 1;
                }
            }
            assert_eq!(found, 2, "in pieces of {size}");
        }
    }

    #[test]
    fn each_fault_is_told_apart() {
        let fault = |change: &dyn Fn(&mut Vec<u8>)| {
            let mut bytes = message();
            change(&mut bytes);
            let mut decoder = Decoder::default();
            decoder.push(&bytes);
            decoder.next_message::<Snapshot>().expect_err("the message is spoilt").to_string()
        };
        assert_eq!(fault(&|bytes| bytes[0] = b'T'), "expected a message that starts with `tray`, found other bytes");
        assert_eq!(fault(&|bytes| bytes[4] = 9), "expected a message of version 5, found version 9");
        assert_eq!(
            fault(&|bytes| bytes[9] = 0xff),
            "expected a message of at most 8388608 bytes, found 4278190151".replace(
                "4278190151",
                &format!("{}", u32::from_le_bytes([message()[6], message()[7], message()[8], 0xff]))
            )
        );
        assert!(fault(&|bytes| bytes[10] = b'[').starts_with("found a body that means nothing here: "));
        assert_eq!(
            fault(&|bytes| *bytes = b"xy".to_vec()),
            "expected a message that starts with `tray`, found other bytes"
        );
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), with_mark in any::<bool>()) {
            let mut decoder = Decoder::default();
            if with_mark {
                decoder.push(&message()[..6]);
            }
            decoder.push(&bytes);
            prop_assert!(!matches!(decoder.next_message::<Snapshot>(), Ok(Some(_))));
        }
    }
}
