//! Numbers and text out of bytes, and what a page of a drive must be to count as an answer. No meaning in here, and
//! no indexing: what is not there is an error that says how much was.

use super::plain;

/// A page of an ATA drive. Length and contents were looked at, so it is an answer and not an empty buffer.
///
/// # Errors
/// Fewer than 512 bytes, or 512 bytes that are all 00h or all FFh: what bridges return instead of an answer.
pub fn page(bytes: &[u8]) -> Result<&[u8; 512], String> {
    let page = bytes.first_chunk::<512>().ok_or_else(|| too_short(bytes, 512))?;
    not_blank(page)?;
    Ok(page)
}

/// A page whose last byte makes the sum of all 512 bytes zero (ACS-3 A.14, from memory; HC580 clause 12.55.2).
///
/// # Errors
/// As [`page`], and a sum that is not zero.
pub fn summed_page(bytes: &[u8]) -> Result<&[u8; 512], String> {
    let page = page(bytes)?;
    match sum(page) {
        0 => Ok(page),
        sum => Err(format!("expected a page whose bytes add up to 00h, found {sum:02X}h")),
    }
}

/// The sum of all bytes modulo 256.
pub fn sum(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, &byte| sum.wrapping_add(byte))
}

/// Bytes that are not all 00h and not all FFh.
pub fn not_blank(bytes: &[u8]) -> Result<(), String> {
    for blank in [0x00, 0xFF] {
        if bytes.iter().all(|&byte| byte == blank) {
            return Err(format!("expected an answer, found {} bytes that are all {blank:02X}h", bytes.len()));
        }
    }
    Ok(())
}

/// `N` bytes from `at`.
pub fn array<const N: usize>(bytes: &[u8], at: usize) -> Result<[u8; N], String> {
    let chunk = bytes.get(at..).and_then(|rest| rest.first_chunk::<N>());
    chunk.copied().ok_or_else(|| too_short(bytes, at.saturating_add(N)))
}

/// One byte.
pub fn byte(bytes: &[u8], at: usize) -> Result<u8, String> {
    array::<1>(bytes, at).map(|[byte]| byte)
}

/// Two bytes, least significant first.
pub fn le16(bytes: &[u8], at: usize) -> Result<u16, String> {
    array(bytes, at).map(u16::from_le_bytes)
}

/// Four bytes, least significant first.
pub fn le32(bytes: &[u8], at: usize) -> Result<u32, String> {
    array(bytes, at).map(u32::from_le_bytes)
}

/// Six bytes, least significant first.
pub fn le48(bytes: &[u8], at: usize) -> Result<u64, String> {
    array(bytes, at).map(|[a, b, c, d, e, f]| u64::from_le_bytes([a, b, c, d, e, f, 0, 0]))
}

/// Eight bytes, least significant first.
pub fn le64(bytes: &[u8], at: usize) -> Result<u64, String> {
    array(bytes, at).map(u64::from_le_bytes)
}

/// Sixteen bytes, least significant first.
pub fn le128(bytes: &[u8], at: usize) -> Result<u128, String> {
    array(bytes, at).map(u128::from_le_bytes)
}

/// Two bytes, most significant first.
pub fn be16(bytes: &[u8], at: usize) -> Result<u16, String> {
    array(bytes, at).map(u16::from_be_bytes)
}

/// Four bytes, most significant first.
pub fn be32(bytes: &[u8], at: usize) -> Result<u32, String> {
    array(bytes, at).map(u32::from_be_bytes)
}

/// Eight bytes, most significant first.
pub fn be64(bytes: &[u8], at: usize) -> Result<u64, String> {
    array(bytes, at).map(u64::from_be_bytes)
}

/// A number of one to eight bytes, most significant first: SCSI counters say their own length.
pub fn be_counter(bytes: &[u8]) -> Result<u64, String> {
    match bytes.len() {
        1..=8 => Ok(bytes.iter().fold(0, |sum, &byte| sum << 8 | u64::from(byte))),
        length => Err(format!("expected a counter of 1 to 8 bytes, found {length}")),
    }
}

/// Text in the order of its bytes (NVMe, SCSI), made fit to show; `None` when it is blank.
pub fn text(bytes: &[u8]) -> Option<String> {
    let ascii: String = bytes
        .iter()
        .map(|&byte| if byte.is_ascii() { char::from(byte) } else { char::REPLACEMENT_CHARACTER })
        .collect();
    plain::device_text(&ascii)
}

/// Text of an ATA drive: the two characters of each word are swapped (ACS-3 clause 3.3.10, from memory).
pub fn swapped_text(bytes: &[u8]) -> Option<String> {
    let swapped: Vec<u8> = bytes.chunks(2).flat_map(|word| word.iter().rev().copied()).collect();
    text(&swapped)
}

fn too_short(bytes: &[u8], wanted: usize) -> String {
    format!("expected at least {wanted} bytes, found {}", bytes.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_in_both_orders() {
        let bytes = [0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08];
        assert_eq!(le16(&bytes, 6), Ok(0x0807));
        assert_eq!(le48(&bytes, 0), Ok(0x0605_0403_0201));
        assert_eq!(be32(&bytes, 4), Ok(0x0506_0708));
        assert_eq!(be_counter(&bytes[..3]), Ok(0x01_0203));
        assert_eq!(le64(&bytes, 0), be64(&bytes, 0).map(u64::swap_bytes));
    }

    #[test]
    fn what_is_not_there_is_said() {
        assert_eq!(le16(&[7], 0), Err("expected at least 2 bytes, found 1".into()));
        assert_eq!(byte(&[], usize::MAX), Err(format!("expected at least {} bytes, found 0", usize::MAX)));
        assert_eq!(be_counter(&[0; 9]), Err("expected a counter of 1 to 8 bytes, found 9".into()));
        assert!(be_counter(&[]).is_err());
    }

    #[test]
    fn an_empty_buffer_is_no_page() {
        assert_eq!(page(&[0; 512]).err().as_deref(), Some("expected an answer, found 512 bytes that are all 00h"));
        assert_eq!(page(&[0xFF; 512]).err().as_deref(), Some("expected an answer, found 512 bytes that are all FFh"));
        assert_eq!(page(&[1; 511]).err().as_deref(), Some("expected at least 512 bytes, found 511"));
        // 512 times 1 is 200h, whose low byte is zero.
        assert!(summed_page(&[1; 512]).is_ok());
        let mut bent = [1; 512];
        bent[9] = 3;
        let wanted = "expected a page whose bytes add up to 00h, found 02h";
        assert_eq!(summed_page(&bent).err().as_deref(), Some(wanted));
    }

    #[test]
    fn text_is_swapped_for_ata_only_and_made_fit_to_show() {
        assert_eq!(swapped_text(b"EHOR N 1"), Some("HERON 1".into()));
        assert_eq!(text(b"heron\x1b[2J\xFF  \0\0"), Some("heron [2J\u{FFFD}".into()));
        assert_eq!(text(&[0x20; 40]), None);
    }
}
