//! What the system's own files know of names: its users, the hosts that it knows by name, and its own numbers.

use super::kind::IdentityKind;
use super::known::Known;
use crate::sense::host::Host;

/// Numbers of users that are persons (login.defs(5), UID_MIN and UID_MAX).
const PERSONS: std::ops::RangeInclusive<u32> = 1000..=60_000;

/// Adds what the system's files name. A file that cannot be read adds nothing.
pub fn known_to_host(host: &Host, known: &mut Known) {
    let text = |path: &str| {
        let bytes = host.table(&host.path(path)).unwrap_or_default();
        String::from_utf8_lossy(&bytes).replace('\0', "")
    };
    for line in text("/etc/passwd").lines() {
        let fields: Vec<&str> = line.split(':').collect();
        if fields.get(2).and_then(|number| number.parse().ok()).is_some_and(|number| PERSONS.contains(&number)) {
            known.add(IdentityKind::User, fields[0]);
            // The first part of the comment is the person's full name (passwd(5)).
            let full_name = fields.get(4).and_then(|comment| comment.split(',').next()).unwrap_or_default();
            known.add(IdentityKind::User, full_name);
        }
    }
    known.add_host(text("/etc/hostname").trim());
    for line in text("/etc/hosts").lines() {
        let entry = line.split('#').next().unwrap_or_default();
        entry.split_whitespace().skip(1).for_each(|name| known.add_host(name));
    }
    let resolver = text("/etc/resolv.conf");
    let domains = resolver.lines().filter(|line| line.starts_with("search ") || line.starts_with("domain "));
    domains.flat_map(|line| line.split_whitespace().skip(1)).for_each(|domain| known.add_host(domain));
    known.add(IdentityKind::Uuid, &text("/etc/machine-id"));
    known.add(IdentityKind::Uuid, &text("/sys/class/dmi/id/product_uuid"));
    ["/proc/device-tree/serial-number", "/sys/class/dmi/id/product_serial", "/sys/class/dmi/id/board_serial"]
        .iter()
        .for_each(|path| known.add(IdentityKind::Serial, &text(path)));
}
