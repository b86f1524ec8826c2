//! One record of the kernel's log as `/dev/kmsg` gives it (Documentation/ABI/testing/dev-kmsg):
//! `priority,sequence,microseconds,flags[,more];text`, then lines ` KEY=value` that say which device it is about.

use crate::plain::{cleaned, quoted, whole};
use std::time::Duration;

/// The longest text that is kept, in characters; the kernel's own limit is about a thousand (PRINTKRB_RECORD_MAX).
const LONGEST_TEXT: usize = 2048;

/// One record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// How urgent: 0 is an emergency, 3 an error, 6 a piece of information, 7 for developers.
    pub level: u8,
    /// Who wrote it: 0 is the kernel. Whatever a process writes to the log has another number (devkmsg_write in
    /// kernel/printk/printk.c), so the kernel's lines cannot be forged.
    pub facility: u64,
    /// Counts records from the start of the machine; none is left out.
    pub sequence: u64,
    /// When it was written, by the clock of the log, which stands still while the machine is suspended.
    pub since_boot: Duration,
    /// True for a piece of a line that an earlier record began.
    pub is_fragment: bool,
    /// The text: escapes undone, control characters turned to spaces, runs of white space to one.
    pub text: String,
    /// `SUBSYSTEM=` of the device that it is about.
    pub subsystem: Option<String>,
    /// `DEVICE=` of it: `b8:0` and `c189:1` are numbers of nodes, `n2` of a network port, `+scsi:0:0:0:0` a name.
    pub device: Option<String>,
}

/// True for a record that may be the kernel's own, by its first bytes alone: a level and no facility.
pub fn may_be_the_kernels(record: &[u8]) -> bool {
    matches!(record, [b'0'..=b'7', b',', ..])
}

/// Takes one record apart.
pub fn record(bytes: &[u8]) -> Result<Record, String> {
    let end = bytes.iter().position(|byte| *byte == b'\n').unwrap_or(bytes.len());
    let (line, dictionary) = bytes.split_at(end);
    let semicolon = line.iter().position(|byte| *byte == b';').ok_or("expected `;` before the text, found none")?;
    let head =
        std::str::from_utf8(&line[..semicolon]).map_err(|_| "expected numbers, found bytes that are not text")?;
    let mut fields = head.split(',');
    let mut number = |what: &str| -> Result<u64, String> {
        let field = fields.next().ok_or_else(|| format!("found no {what}"))?;
        whole(field).map_err(|found| format!("{what}: {found}"))
    };
    let (priority, sequence, microseconds) = (number("priority")?, number("sequence")?, number("time")?);
    // `c` has always begun or gone on with a line in pieces; kernels up to 4.9 wrote `+` for the later ones.
    let is_fragment = match fields.next() {
        Some(flags) if !flags.is_empty() => flags.contains(['c', '+']),
        found => return Err(format!("flags: expected `-` or letters, found {}", quoted(found.unwrap_or_default()))),
    };
    let property = |key: &str| {
        let mut lines = dictionary.split(|byte| *byte == b'\n').filter_map(|line| line.strip_prefix(b" "));
        let value = lines.find_map(|line| line.strip_prefix(key.as_bytes())?.strip_prefix(b"="))?;
        Some(text(value)).filter(|value| !value.is_empty())
    };
    Ok(Record {
        level: (priority & 7) as u8,
        facility: priority >> 3,
        sequence,
        since_boot: Duration::from_micros(microseconds),
        is_fragment,
        text: text(&line[semicolon + 1..]),
        subsystem: property("SUBSYSTEM"),
        device: property("DEVICE"),
    })
}

/// `\xNN` stands for a byte that is no printable ASCII, and for the backslash (record_print_text escapes them).
fn text(escaped: &[u8]) -> String {
    let mut bytes = Vec::with_capacity(escaped.len());
    let mut rest = escaped;
    while let Some((&byte, after)) = rest.split_first() {
        let code = rest.get(..4).filter(|escape| escape.starts_with(b"\\x")).and_then(|escape| hex(&escape[2..]));
        bytes.push(code.unwrap_or(byte));
        rest = if code.is_some() { &rest[4..] } else { after };
    }
    cleaned(&String::from_utf8_lossy(&bytes), LONGEST_TEXT)
}

fn hex(digits: &[u8]) -> Option<u8> {
    let both = digits.iter().all(u8::is_ascii_hexdigit);
    both.then(|| u8::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// As Linux 6.12 wrote them.
    const OF_SCSI: &str = "6,607,18907575,-;sd 9:0:0:0: [sdf] tag#93 Sense Key : Medium Error [current] \n SUBSYSTEM=scsi\n DEVICE=+scsi:9:0:0:0\n";
    const TWO_LINES: &str = "3,488,8316442,-;ata2.00: cmd 60/20:d0:f8:03:00/00:00:00:00:00/40 tag 26 ncq dma 16384 in\\x0a         res 50/00:00:00:00:00/00:00:00:00:00/a0 Emask 0x1 (device error)\n";

    #[test]
    fn a_record_has_its_numbers_its_text_and_its_device() {
        let read = record(OF_SCSI.as_bytes()).unwrap();
        assert_eq!((read.level, read.facility, read.sequence), (6, 0, 607));
        assert_eq!(read.since_boot, Duration::from_micros(18_907_575));
        assert_eq!(read.text, "sd 9:0:0:0: [sdf] tag#93 Sense Key : Medium Error [current]");
        assert_eq!((read.subsystem.as_deref(), read.device.as_deref()), (Some("scsi"), Some("+scsi:9:0:0:0")));
        assert!(!read.is_fragment);
    }

    #[test]
    fn a_line_break_inside_the_text_is_a_space() {
        let read = record(TWO_LINES.as_bytes()).unwrap();
        assert!(read.text.contains("16384 in res 50/00"), "{}", read.text);
        assert_eq!((read.subsystem, read.device), (None, None));
    }

    /// The document names the priority's two parts, the flags, and says that more fields may be added before the `;`.
    #[test]
    fn who_wrote_it_the_pieces_and_fields_to_come() {
        let read = |line: &str| record(line.as_bytes()).unwrap();
        assert_eq!(read("30,8,1,-;systemd[1]: ata3: EH complete").facility, 3);
        assert_eq!(read("14,8,1,-;said by a process").facility, 1);
        assert!(read("4,9,1,c;and more").is_fragment && read("4,9,1,+;and more").is_fragment);
        assert_eq!(read("4,9,1,-,caller=T123,more=;text; with; semicolons").text, "text; with; semicolons");
        assert_eq!(read("4,9,1,-;").text, "");
        for (line, kernels) in [("4,9,1,-;x", true), ("7,9,1,-;x", true), ("8,9,1,-;x", false), ("14,9,1,-;x", false)] {
            assert_eq!(may_be_the_kernels(line.as_bytes()), kernels, "{line}");
            assert_eq!(read(line).facility == 0, kernels, "{line}");
        }
    }

    #[test]
    fn escapes_are_undone_and_what_could_steer_a_terminal_is_gone() {
        let read = |text: &str| record(format!("6,1,2,-;{text}").as_bytes()).unwrap().text;
        assert_eq!(read(r"Songbird\x5c4T \x1b[2J\xe2\x80\xae!"), r"Songbird\4T [2J!");
        assert_eq!(read(r"gr\xc3\xbcn"), "grün");
        assert_eq!(read(r"\xff\xfe"), "\u{fffd}\u{fffd}");
        assert_eq!(read(r"\x4 \xzz \x+1 \"), r"\x4 \xzz \x+1 \");
    }

    #[test]
    fn what_is_no_record_says_what_was_found() {
        let wrong = |bytes: &str| record(bytes.as_bytes()).unwrap_err();
        assert_eq!(wrong(""), "expected `;` before the text, found none");
        assert_eq!(wrong("6,1,2,-\n;text"), "expected `;` before the text, found none");
        assert_eq!(wrong("six,1,2,-;text"), "priority: expected a whole number, found `six`");
        assert_eq!(wrong("6;text"), "found no sequence");
        assert_eq!(wrong("6,1,-2,-;text"), "time: expected a whole number, found `-2`");
        assert_eq!(wrong("6,1,2;text"), "flags: expected `-` or letters, found nothing");
        assert_eq!(
            wrong("6,18446744073709551616,2,-;"),
            "sequence: expected a whole number, found `18446744073709551616`"
        );
    }

    #[test]
    fn cut_at_any_byte_it_is_an_error_or_a_shorter_text() {
        let whole = record(OF_SCSI.as_bytes()).unwrap();
        let begins = OF_SCSI.find(';').unwrap();
        for length in 0..OF_SCSI.len() {
            let read = record(&OF_SCSI.as_bytes()[..length]);
            assert_eq!(read.is_ok(), length > begins, "{length} bytes");
            assert!(read.is_ok_and(|read| whole.text.starts_with(&read.text)) || length <= begins);
        }
    }

    proptest! {
        #[test]
        fn whatever_comes_no_control_character_is_left(
            bytes in prop::collection::vec(any::<u8>(), 0..300),
            head in prop_oneof![Just(""), Just("6,1,2,-;"), Just("6,1,2,c,x;a\n SUBSYSTEM=")],
        ) {
            if let Ok(read) = record(&[head.as_bytes(), &bytes].concat()) {
                let texts = [Some(read.text), read.subsystem, read.device];
                prop_assert!(texts.iter().flatten().all(|text| !text.chars().any(char::is_control)));
            }
        }
    }
}
