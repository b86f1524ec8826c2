//! For the tests of the decoders: bytes from hexadecimal, pages with the right sum, and pages bent at random.

#![allow(clippy::expect_used, reason = "for tests only")]

use proptest::collection::vec;
use proptest::prelude::*;

/// Bytes from hexadecimal pairs.
pub fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace().map(|pair| u8::from_str_radix(pair, 16).expect("a hexadecimal pair")).collect()
}

/// A page of 512 bytes holding these pieces at these offsets.
pub fn page(pieces: &[(usize, &[u8])]) -> Vec<u8> {
    let mut page = vec![0; 512];
    for &(at, piece) in pieces {
        page[at..at + piece.len()].copy_from_slice(piece);
    }
    page
}

/// Sets the last byte so that the sum of all is zero.
pub fn summed(mut page: Vec<u8>) -> Vec<u8> {
    if let Some((last, rest)) = page.split_last_mut() {
        *last = super::bytes::sum(rest).wrapping_neg();
    }
    page
}

/// A good page with up to twelve bytes changed, perhaps cut, perhaps with its sum made right again.
pub fn bent(good: Vec<u8>) -> impl Strategy<Value = Vec<u8>> {
    let changes = vec((0..good.len(), any::<u8>()), 0..12);
    (changes, any::<bool>(), prop_oneof![4 => Just(good.len()), 1 => 0..good.len()]).prop_map(
        move |(changes, sum_again, length)| {
            let mut page = good.clone();
            for (at, byte) in changes {
                page[at] = byte;
            }
            page.truncate(length);
            if sum_again { summed(page) } else { page }
        },
    )
}

/// Anything at all.
pub fn any_bytes(longest: usize) -> impl Strategy<Value = Vec<u8>> {
    vec(any::<u8>(), 0..=longest)
}
