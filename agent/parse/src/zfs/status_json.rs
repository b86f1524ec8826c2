//! `zpool status -j --json-int -P` (zpool-status(8), since OpenZFS 2.3; keys and words by cmd/zpool/zpool_main.c,
//! which differs from the manual's example). A key that is absent or of another type is a value that is not known.

use super::kstat;
use super::scan::{Scan, ScanKind, ScanState, When, amount};
use super::status::{Class, DEEPEST, Vdev, VdevErrors, VdevKind, VdevState, ZfsStatus, one_line, vdev_state};
use crate::json::Json;
use crate::plain::quoted;
use std::time::Duration;

/// The pools that the document tells of. `now`, in seconds since 1970, makes a speed of what is done since a start;
/// without it there is no speed. Warnings before the document are passed over.
pub fn pools(bytes: &[u8], now: Option<u64>) -> Result<Vec<ZfsStatus>, String> {
    let text = String::from_utf8_lossy(bytes);
    let start = if text.starts_with('{') { Some(0) } else { text.find("\n{").map(|at| at + 1) };
    let start = start.ok_or_else(|| format!("expected JSON, found {}", quoted(text.trim())))?;
    let document = Json::read(&text[start..])?;
    let pools = document.get("pools").ok_or("found JSON without `pools`")?;
    let mut found: Vec<ZfsStatus> = Vec::new();
    for (key, said) in pools.entries() {
        let status = pool(key, said, now).map_err(|what| format!("pool {}: {what}", quoted(key)))?;
        if found.iter().any(|other| other.name == status.name) {
            return Err(format!("expected pools of different names, found two called {}", quoted(&status.name)));
        }
        found.push(status);
    }
    Ok(found)
}

fn pool(key: &str, said: &Json, now: Option<u64>) -> Result<ZfsStatus, String> {
    let name = said.text("name").unwrap_or(key).to_owned();
    let state = kstat::state(said.text("state").ok_or("found no `state`")?)?;
    let scans = scans(said, now);
    // What the tool itself takes for "this device is being filled" in its text.
    let resilver = scans.first().is_some_and(|scan| scan.kind == ScanKind::Resilver && scan.under_way());
    let tree = said.get("vdevs").and_then(|tree| tree.entries().first()).ok_or("found no `vdevs`")?;
    let mut root = vdev(tree, Class::Normal, resilver, 0)?;
    root.kind = VdevKind::Root;
    let beside = [
        ("special", Class::Special),
        ("dedup", Class::Dedup),
        ("logs", Class::Log),
        ("l2cache", Class::Cache),
        ("spares", Class::Spare),
    ];
    for (key, class) in beside {
        for entry in said.get(key).map(Json::entries).unwrap_or_default() {
            root.children.push(vdev(entry, class, resilver, 1)?);
        }
    }
    if root.children.is_empty() {
        return Err("found a pool without devices".to_owned());
    }
    Ok(ZfsStatus {
        name,
        guid: number(said, "pool_guid"),
        state,
        remark: said.text("status").and_then(one_line),
        message_id: said.text("msgid").and_then(one_line),
        scans,
        root,
        data_errors: number(said, "error_count"),
    })
}

/// A number, or text that holds one, as releases and options have it.
fn number(of: &Json, key: &str) -> Option<u64> {
    match of.get(key)? {
        Json::Number(number) => Some(*number),
        Json::Text(text) => amount(text),
        _ => None,
    }
}

fn vdev((key, said): &(String, Json), class: Class, resilver: bool, depth: usize) -> Result<Vdev, String> {
    if depth > DEEPEST {
        return Err(format!("expected a depth of at most {DEEPEST}, found {} at depth {depth}", quoted(key)));
    }
    let parts = said.get("vdevs").map(Json::entries).unwrap_or_default();
    let children = parts.iter().map(|part| vdev(part, class, resilver, depth + 1)).collect::<Result<Vec<_>, _>>()?;
    let name = said.text("name").unwrap_or(key).to_owned();
    let kind = kind(said.text("vdev_type"), &name);
    let is_device = matches!(kind, VdevKind::Disk | VdevKind::File | VdevKind::DraidSpare | VdevKind::Hole);
    if is_device && !children.is_empty() {
        return Err(format!("expected a device without parts, found parts of {}", quoted(&name)));
    }
    if !is_device && children.is_empty() && !matches!(kind, VdevKind::Root | VdevKind::Other) {
        return Err(format!("found {} without parts", quoted(&name)));
    }
    let why = said.text("aux");
    let state = vdev_state(said.text("state").unwrap_or_default(), why);
    let path = said.text("path").or_else(|| said.text("was")).filter(|path| path.starts_with('/'));
    let errors = || {
        Some(VdevErrors {
            read: number(said, "read_errors")?,
            write: number(said, "write_errors")?,
            checksum: number(said, "checksum_errors")?,
        })
    };
    let filled = number(said, "scan_processed").is_some_and(|bytes| bytes > 0);
    let waits = number(said, "resilver_deferred").is_some_and(|flag| flag > 0);
    Ok(Vdev {
        kind,
        class,
        state,
        path: path.filter(|_| children.is_empty()).map(str::to_owned),
        guid: number(said, "guid"),
        errors: errors(),
        note: why.filter(|&why| why != "NONE").and_then(one_line),
        resilvering: children.is_empty() && state == VdevState::Online && resilver && (filled || waits),
        children,
        name,
    })
}

/// The type of groups lacks their parity, which is in the name.
fn kind(said: Option<&str>, name: &str) -> VdevKind {
    match said {
        Some("root") => VdevKind::Root,
        Some("disk" | "l2cache" | "missing") => VdevKind::Disk,
        Some("file") => VdevKind::File,
        Some("dspare") => VdevKind::DraidSpare,
        Some("hole" | "indirect") => VdevKind::Hole,
        Some("mirror") => VdevKind::Mirror,
        Some("spare") => VdevKind::Spare,
        Some("replacing") => VdevKind::Replacing,
        Some("raidz" | "draid") => VdevKind::by_name(name).unwrap_or(VdevKind::Other),
        _ => VdevKind::Other,
    }
}

/// The passes that are told of: the pool's own first, then sequential resilvers, expansion and evacuation.
fn scans(said: &Json, now: Option<u64>) -> Vec<Scan> {
    let own = said.get("scan_stats");
    let rebuilds = own.and_then(|own| own.get("rebuild_stats")).map(Json::entries).unwrap_or_default();
    let mut found: Vec<Scan> = own.and_then(|own| scan(own, now)).into_iter().collect();
    found.extend(rebuilds.iter().filter_map(|(_, said)| begun(said, ScanKind::Resilver)));
    found.extend(said.get("raidz_expand_stats").and_then(|said| {
        let mut scan = begun(said, ScanKind::Expansion)?;
        if scan.under_way() && number(said, "waiting_for_resilver").is_some_and(|flag| flag > 0) {
            scan.state = ScanState::Paused;
        }
        Some(with_amounts(scan, number(said, "reflowed"), number(said, "to_reflow")))
    }));
    found.extend(said.get("removal_stats").and_then(|said| {
        let scan = begun(said, ScanKind::Evacuation)?;
        Some(with_amounts(scan, number(said, "copied"), number(said, "to_copy")))
    }));
    found
}

fn scan(said: &Json, now: Option<u64>) -> Option<Scan> {
    let kind = match said.text("function")? {
        "SCRUB" => ScanKind::Scrub,
        "RESILVER" => ScanKind::Resilver,
        "ERRORSCRUB" => ScanKind::ErrorScrub,
        _ => return None,
    };
    let mut scan = begun(said, kind)?;
    if scan.under_way() && number(said, "scrub_pause").is_some_and(|since| since > 0) {
        scan.state = ScanState::Paused;
    }
    scan.errors = number(said, "errors").filter(|_| !scan.under_way());
    // What was skipped needs no reading: it is no part of what there is to do.
    let total = number(said, "to_examine")
        .zip(number(said, "skipped").or(Some(0)))
        .and_then(|(all, skipped)| all.checked_sub(skipped));
    let mut scan = with_amounts(scan, number(said, "issued"), total);
    if scan.state == ScanState::Running {
        scan.bytes_per_second = speed(said, now);
        scan.left =
            scan.total_bytes.zip(scan.done_bytes).zip(scan.bytes_per_second).and_then(|((total, done), speed)| {
                Some(Duration::from_secs(total.checked_sub(done)?.checked_div(speed)?))
            });
    }
    Some(scan)
}

/// The speed of this pass, as the tool reckons it in its text: what was issued, by the time it was not paused.
fn speed(said: &Json, now: Option<u64>) -> Option<u64> {
    let since_start = now?.checked_sub(number(said, "pass_start").filter(|&start| start > 0)?)?;
    let seconds = since_start.checked_sub(number(said, "scrub_spent_paused").unwrap_or(0))?;
    number(said, "issued_bytes_per_scan")?.checked_div(seconds)
}

fn begun(said: &Json, kind: ScanKind) -> Option<Scan> {
    let state = match said.text("state")? {
        "SCANNING" | "ERRORSCRUBBING" | "ACTIVE" => ScanState::Running,
        "FINISHED" | "COMPLETE" => ScanState::Finished,
        "CANCELED" => ScanState::Canceled,
        _ => return None,
    };
    let mut scan = Scan::new(kind, state);
    if !scan.under_way() {
        scan.ended = match said.get("end_time") {
            Some(Json::Number(seconds)) if *seconds > 0 => Some(When::Epoch(*seconds)),
            Some(Json::Text(text)) if text != "-" => Some(When::Calendar(text.clone())),
            _ => None,
        };
    }
    Some(scan)
}

fn with_amounts(mut scan: Scan, done: Option<u64>, total: Option<u64>) -> Scan {
    (scan.done_bytes, scan.total_bytes) = (done, total);
    let possible = done.zip(total).filter(|&(done, total)| total > 0 && done <= total);
    scan.share = possible.filter(|_| scan.under_way()).map(|(done, total)| done as f64 / total as f64);
    scan
}
