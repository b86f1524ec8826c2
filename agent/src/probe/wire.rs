//! How snapshots travel from the probe to the core: a header with a mark, a version and a length, then JSON. The core
//! trusts none of it: the other end may be half dead.

use crate::reading::Snapshot;
use std::fmt;
use std::io;

/// Begins every message.
const MARK: [u8; 4] = *b"tray";
/// Goes up with every change of what a snapshot holds.
const VERSION: u16 = 3;
/// Longest message: 512 drives need less than a tenth of it.
const LONGEST: u32 = 8 << 20;
const HEADER: usize = 10;

/// One snapshot as bytes: mark (4), version (2, little endian), length of what follows (4, little endian), JSON.
///
/// # Errors
/// When the snapshot is longer than a message may be.
pub fn encode(snapshot: &Snapshot) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::with_capacity(16 << 10);
    bytes.extend(MARK);
    bytes.extend(VERSION.to_le_bytes());
    bytes.extend([0; 4]);
    serde_json::to_writer(&mut bytes, snapshot)?;
    let length = u32::try_from(bytes.len() - HEADER).unwrap_or(u32::MAX);
    if length > LONGEST {
        let found = format!("found a snapshot of {length} bytes, wanted at most {LONGEST}");
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
    pub fn next_snapshot(&mut self) -> Result<Option<Snapshot>, WireFault> {
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
        let snapshot = serde_json::from_slice(body).map_err(|error| WireFault::NotASnapshot(error.to_string()))?;
        self.bytes.drain(..HEADER + length as usize);
        Ok(Some(snapshot))
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
    /// A body that is no snapshot.
    NotASnapshot(String),
}

impl fmt::Display for WireFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotAMessage => write!(f, "found bytes that begin no message, wanted the mark `tray`"),
            Self::OtherVersion(found) => write!(f, "found a message of version {found}, wanted version {VERSION}"),
            Self::TooLong(found) => write!(f, "found a message of {found} bytes, wanted at most {LONGEST}"),
            Self::NotASnapshot(why) => write!(f, "found a body that is no snapshot: {why}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
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
                while let Some(snapshot) = decoder.next_snapshot().expect("only messages were pushed") {
                    assert_eq!(snapshot, Snapshot::default());
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
            decoder.next_snapshot().expect_err("the message is spoilt").to_string()
        };
        assert_eq!(fault(&|bytes| bytes[0] = b'T'), "found bytes that begin no message, wanted the mark `tray`");
        assert_eq!(fault(&|bytes| bytes[4] = 9), "found a message of version 9, wanted version 3");
        assert_eq!(
            fault(&|bytes| bytes[9] = 0xff),
            "found a message of 4278190151 bytes, wanted at most 8388608".replace(
                "4278190151",
                &format!("{}", u32::from_le_bytes([message()[6], message()[7], message()[8], 0xff]))
            )
        );
        assert!(fault(&|bytes| bytes[10] = b'[').starts_with("found a body that is no snapshot: "));
        assert_eq!(
            fault(&|bytes| *bytes = b"xy".to_vec()),
            "found bytes that begin no message, wanted the mark `tray`"
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
            prop_assert!(!matches!(decoder.next_snapshot(), Ok(Some(_))));
        }
    }
}
