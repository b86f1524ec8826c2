//! Values that are known by their form alone. The group of each pattern is the value; what is around it stays.

use super::kind::IdentityKind;
use super::known::identifies;
use regex::bytes::Regex;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use std::sync::LazyLock;

/// Forms in the order in which they are looked for: what may hold another comes before it.
const FORMS: [(IdentityKind, &str); 19] = [
    (IdentityKind::Url, r#"\b{start-half}([a-z][a-z0-9+.-]*://[^\s"'<>]*[^\s"'<>.,;:)\]}])"#),
    (IdentityKind::Mail, r"([a-z0-9._%+\x80-\xFF-]+@(?:[a-z0-9\x80-\xFF-]+\.)+[a-z]{2,}(?:-[0-9]+)?)\b{end-half}"),
    (
        IdentityKind::Secret,
        r#"(?:password|passwd|passphrase|secret|token|api_?key|bearer)["']?\s*[=:]\s*["']?([^\s"',;]+)"#,
    ),
    (IdentityKind::Secret, r"\bbearer ([^\s,;]+)"),
    // Linux drivers/nvme/host/core.c, wwid_show: vendor, serial and model in hexadecimal digits, namespace.
    (IdentityKind::Wwn, r"(nvme\.[0-9a-f]{4}-[0-9a-f]+-[0-9a-f]+-[0-9a-f]{8})\b{end-half}"),
    (
        IdentityKind::Uuid,
        r"(?:\b{start-half}|_)([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})\b{end-half}",
    ),
    (IdentityKind::Uuid, r"(?:\b{start-half}|_)([0-9a-f]{8}(?::[0-9a-f]{8}){3})\b{end-half}"),
    (IdentityKind::Uuid, r#"(?:by-(?:part)?uuid/|uuid["']?[=:] ?["']?)([0-9a-z:-]{4,})"#),
    (IdentityKind::Wwn, r"\b{start-half}((?:naa|eui)\.[0-9a-f]{16,32})\b{end-half}"),
    // The first digit is the kind of name (SPC-4, 7.8.6.6); addresses of the kernel begin with others.
    (IdentityKind::Wwn, r"(?:\b{start-half}|_)((?:wwn-)?0x[2356][0-9a-f]{15}(?:[0-9a-f]{16})?)\b{end-half}"),
    (IdentityKind::Uuid, r"(?:\b{start-half}|_)([0-9a-f]{32})\b{end-half}"),
    (IdentityKind::Mac, r"\b{start-half}([0-9a-f]{2}(?::[0-9a-f]{2}){5}|[0-9a-f]{2}(?:-[0-9a-f]{2}){5})\b{end-half}"),
    (IdentityKind::Mac, r"\b{start-half}((?:enx|wlx)[0-9a-f]{12})\b{end-half}"),
    (IdentityKind::Address, r"\b{start-half}([0-9]{1,3}(?:\.[0-9]{1,3}){3})\b{end-half}"),
    (
        IdentityKind::Address,
        r"\b{start-half}([0-9a-f]{0,4}:[0-9a-f:]*:(?:[0-9]+(?:\.[0-9]+){3}|[0-9a-f]*))\b{end-half}",
    ),
    (IdentityKind::Serial, r#"\b{start-half}(?:serial(?: ?(?:number|no\.?))?|s/n)["']? *[:=]+ *["']?([^\r\n"',;]+)"#),
    (IdentityKind::Serial, r"by-id/[^\s/]+_([^\s/_]+?)(?:-part[0-9]+|-[0-9]+:[0-9]+)?(?:[\s/,;:]|$)"),
    (IdentityKind::Share, r#"(?:by-(?:part)?label/|label=["']?)([^\s/"',;]+)"#),
    (IdentityKind::User, r#"(?:/home|/Users|/run/media)/([^\s/:"',;]+)"#),
];

/// The forms, ready to be looked for in any letter case.
pub(super) static PATTERNS: LazyLock<Vec<(IdentityKind, Regex)>> = LazyLock::new(|| {
    // All are tried by the tests, so none is left out here.
    let compiled = |(kind, form): &(_, &str)| Some((*kind, Regex::new(&format!("(?i-u){form}")).ok()?));
    FORMS.iter().filter_map(compiled).collect()
});

/// The end of a serial as this program writes it: behind two dots, or behind the words of an advice.
pub(super) static ENDS: LazyLock<Option<Regex>> = LazyLock::new(|| {
    let advice = "ending in |endet auf |endend auf ";
    Regex::new(&format!(r"(?-u)(\.\.[0-9A-Za-z_-]{{4,}})|(?:{advice})([0-9A-Za-z_-]{{4,}})")).ok()
});

/// The beginning of a value that was cut to fit, before an ellipsis.
pub(super) static BEGINNINGS: LazyLock<Option<Regex>> =
    LazyLock::new(|| Regex::new(r#"(?-u)([^\s/"'(=]{3,})\xE2\x80\xA6"#).ok());

/// False for what only looks like a value of this kind.
pub(super) fn is_one(kind: IdentityKind, value: &str) -> bool {
    match kind {
        IdentityKind::Address => match value.parse() {
            Ok(IpAddr::V4(address)) => {
                !address.is_loopback() && !address.is_unspecified() && !address.is_broadcast() && !is_a_mask(address)
            }
            Ok(IpAddr::V6(address)) => !address.is_loopback() && !address.is_unspecified(),
            Err(_) => false,
        },
        IdentityKind::Uuid => value.bytes().any(|byte| byte.is_ascii_digit()),
        IdentityKind::Serial => identifies(kind, value),
        _ => value.chars().any(char::is_alphanumeric),
    }
}

fn is_a_mask(address: Ipv4Addr) -> bool {
    address.octets()[0] == 255
}

/// What two spellings of one value have in common.
pub(super) fn key(kind: IdentityKind, value: &str) -> String {
    let value = value.trim().to_lowercase();
    match kind {
        IdentityKind::Uuid | IdentityKind::Wwn | IdentityKind::Mac => {
            let name = value.trim_start_matches("wwn-");
            let bare = ["0x", "naa.", "eui.", "enx", "wlx"].iter().find_map(|begin| name.strip_prefix(begin));
            let digits: String = bare.unwrap_or(name).chars().filter(|c| !"-:.".contains(*c)).collect();
            if digits.bytes().all(|byte| byte.is_ascii_hexdigit()) { digits } else { value }
        }
        IdentityKind::Address => value.parse::<Ipv6Addr>().map_or(value, |address| address.to_string()),
        _ => value,
    }
}
