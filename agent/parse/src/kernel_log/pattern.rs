//! Patterns of kernel lines: literal text with holes such as `<disk>`, each of which says what may stand there and which
//! part of the box it names.

use crate::named::KernelName;

/// What stood in the hole of a pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Capture<'a> {
    /// The hole's name.
    pub hole: &'static str,
    /// What stood there.
    pub text: &'a str,
}

/// What stood in the holes, when the whole of the text is as the pattern says.
///
/// `<*>` takes anything, as little as it can; it may stand at the end, else plain text follows it. `<self>` takes nothing:
/// it stands for the device that the record is about. The other holes take as much as they can of what may stand in them.
pub fn captures<'a>(pattern: &'static str, text: &'a str) -> Option<Vec<Capture<'a>>> {
    let mut found = Vec::new();
    fits(pattern, text, &mut found).then_some(found)
}

fn fits<'a>(pattern: &'static str, text: &'a str, found: &mut Vec<Capture<'a>>) -> bool {
    let (literal, rest) = pattern.split_once('<').unwrap_or((pattern, ""));
    let Some(text) = text.strip_prefix(literal) else { return false };
    let Some((hole, after)) = rest.split_once('>') else { return text.is_empty() };
    if hole != "*" {
        let (taken, left) = text.split_at(length(hole, text));
        let may_stand = hole == "self" || is_named(hole, taken);
        found.push(Capture { hole, text: taken });
        return may_stand && fits(after, left, found);
    }
    if after.is_empty() {
        found.push(Capture { hole, text });
        return true;
    }
    let next = after.split('<').next().unwrap_or_default();
    let so_far = found.len();
    text.match_indices(next).any(|(at, _)| {
        found.truncate(so_far);
        found.push(Capture { hole, text: &text[..at] });
        fits(after, &text[at..], found)
    })
}

/// How much of the text may stand in the hole.
fn length(hole: &str, text: &str) -> usize {
    let may_stand = |c: char| match hole {
        "self" => false,
        "number" => c.is_ascii_digit(),
        "status" => c.is_ascii_hexdigit(),
        "errno" => c.is_ascii_digit() || c == '-',
        "speed" => c.is_ascii_alphanumeric() || c == '.',
        "scsi" | "pci" => c.is_ascii_hexdigit() || matches!(c, ':' | '.'),
        "ata" => c.is_ascii_alphanumeric() || c == '.',
        "usb" | "port" => c.is_ascii_alphanumeric() || matches!(c, '-' | '.'),
        "kind" | "nvme" | "host" | "md" | "card" => c.is_ascii_alphanumeric(),
        "disk" | "device" | "journal" => c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '/'),
        "path" => c != ' ',
        "pool" => c != '\'',
        // A name of an interface, a driver, a bus.
        _ => !matches!(c, ' ' | ',' | ':' | '/' | ']' | ')'),
    };
    let length = text.find(|c| !may_stand(c)).unwrap_or(text.len());
    // A colon after an address is the line's own.
    if matches!(hole, "scsi" | "pci") { text[..length].trim_end_matches([':', '.']).len() } else { length }
}

fn is_named(hole: &str, text: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.len() < 10 && text.bytes().all(|byte| byte.is_ascii_digit());
    let numbered = |prefix: &str| text.strip_prefix(prefix).is_some_and(digits);
    match hole {
        "errno" => text.parse::<i32>().is_ok(),
        "scsi" => text.split(':').count() == 4 && text.split(':').all(digits),
        "pci" => is_pci(text),
        "ata" => ata(text).is_some(),
        "usb" => chain(text).is_some(),
        "port" => port(text).is_some(),
        "nvme" => numbered("nvme"),
        "host" => numbered("host"),
        "card" => numbered("mmc"),
        "md" => text.starts_with("md"),
        _ => !text.is_empty(),
    }
}

/// The part that a hole names, where it names one. `own` is the name of the device that the record is about.
pub fn part(capture: Capture<'_>, own: Option<&str>) -> Option<KernelName> {
    let text = capture.text.to_owned();
    Some(match capture.hole {
        "ata" => return ata(&text),
        "scsi" => KernelName::Scsi(text),
        "host" => KernelName::Host(text),
        "disk" => KernelName::Block(text),
        "nvme" => KernelName::Nvme(text),
        "pci" => KernelName::Pci(text),
        "usb" => KernelName::Usb(chain(&text)?.to_owned()),
        "port" => KernelName::Usb(port(&text)?),
        "md" | "pool" => KernelName::Pool(text),
        "device" => KernelName::Volume(text),
        // jbd2 names a journal after its device and inode: `sda1-8`.
        "journal" => KernelName::Volume(text.rsplit_once('-').map_or(&*text, |(device, _)| device).to_owned()),
        "net" => KernelName::Link(text),
        "bus" => KernelName::Bus(text),
        "card" => KernelName::Card(text),
        "self" => KernelName::Other(own?.to_owned()),
        _ => return None,
    })
}

/// `ata3`, or `ata3.01` for a device on it.
fn ata(text: &str) -> Option<KernelName> {
    let numbers = text.strip_prefix("ata")?;
    let (port, device) = numbers.split_once('.').map_or((numbers, None), |(port, device)| (port, Some(device)));
    let device = device.map(str::parse).transpose().ok()?;
    Some(KernelName::Ata { port: port.parse().ok()?, device })
}

/// `2-1.4` as the chain of ports below the root hub, `1.4`.
fn chain(text: &str) -> Option<&str> {
    let (bus, chain) = text.split_once('-')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    (digits(bus) && chain.split('.').all(digits)).then_some(chain)
}

/// `usb2-port1`, of a root hub, and `2-1-port4`, of another, as chains: `1` and `1.4`.
fn port(text: &str) -> Option<String> {
    let (hub, number) = text.split_once("-port")?;
    let number: u32 = number.parse().ok()?;
    match hub.strip_prefix("usb") {
        Some(bus) => bus.parse::<u32>().ok().map(|_| number.to_string()),
        None => chain(hub).map(|chain| format!("{chain}.{number}")),
    }
}

/// `DDDD:BB:DD.F`.
fn is_pci(text: &str) -> bool {
    let lengths: Vec<usize> = text.split([':', '.']).map(str::len).collect();
    lengths == [4, 2, 2, 1] && text.as_bytes()[7] == b':' && text.as_bytes()[10] == b'.'
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(pattern: &'static str, text: &str) -> Option<Vec<KernelName>> {
        let found = captures(pattern, text)?;
        Some(found.into_iter().filter_map(|capture| part(capture, Some("r8169-0-300:00"))).collect())
    }

    #[test]
    fn every_kind_of_name_is_found_in_its_hole() {
        let named = |pattern, text| parts(pattern, text).map(|parts| format!("{parts:?}")).unwrap_or_default();
        for (pattern, text, wanted) in [
            ("<ata>: x", "ata3: x", "[Ata { port: 3, device: None }]"),
            ("<ata>: x", "ata12.01: x", "[Ata { port: 12, device: Some(1) }]"),
            ("sd <scsi>: [<word>] x", "sd 9:0:0:0: [sdf] x", r#"[Scsi("9:0:0:0")]"#),
            ("ahci <pci>: x", "ahci 0000:00:1f.2: x", r#"[Pci("0000:00:1f.2")]"#),
            ("from <pci>", "from 0001:01:00.0", r#"[Pci("0001:01:00.0")]"#),
            ("usb <usb>: x", "usb 2-1.4: x", r#"[Usb("1.4")]"#),
            ("usb <port>: x", "usb usb2-port1: x", r#"[Usb("1")]"#),
            ("usb <port>: x", "usb 2-1.4-port3: x", r#"[Usb("1.4.3")]"#),
            ("on <disk>, on <md>.", "on sda1, on md127.", r#"[Block("sda1"), Pool("md127")]"#),
            ("on device <journal>.", "on device dm-0-8.", r#"[Volume("dm-0")]"#),
            ("'<pool>' is", "'tank two' is", r#"[Pool("tank two")]"#),
            ("<self><*>: x", "PHY r8169: x", r#"[Other("r8169-0-300:00")]"#),
            ("<word> <path> <net>: up", "r8152 2-1:1.0 eth0: up", r#"[Link("eth0")]"#),
        ] {
            assert_eq!(named(pattern, text), wanted, "{pattern}");
        }
    }

    #[test]
    fn what_only_looks_like_a_name_does_not_fit() {
        for (pattern, text) in [
            ("<ata>: x", "ata: x"),
            ("<ata>: x", "ata3.: x"),
            ("<ata>: x", "atari3: x"),
            ("<ata>: x", "ata99999999999: x"),
            ("sd <scsi>: x", "sd 9:0:0: x"),
            ("sd <scsi>: x", "sd 9:0:0:a: x"),
            ("ahci <pci>: x", "ahci 0000:00:1f: x"),
            ("ahci <pci>: x", "ahci 00:00:001f.2: x"),
            ("usb <usb>: x", "usb usb2: x"),
            ("usb <port>: x", "usb usb2-portal: x"),
            ("on <md>.", "on sda."),
            ("a <*> b", "a b"),
            ("a <*>b", "a "),
            ("a", "ab"),
        ] {
            assert_eq!(captures(pattern, text), None, "{pattern} and {text}");
        }
    }

    #[test]
    fn anything_is_as_little_as_can_be_and_as_much_as_must_be() {
        let taken = |pattern, text| -> Option<Vec<&str>> {
            Some(captures(pattern, text)?.into_iter().map(|capture| capture.text).collect())
        };
        assert_eq!(taken("<*>: x<*>", "a: b: x: x"), Some(vec!["a: b", ": x"]));
        assert_eq!(taken("<*>on <disk>", "on a day on sda"), Some(vec!["on a day ", "sda"]));
        assert_eq!(taken("<*>", ""), Some(vec![""]));
    }
}
