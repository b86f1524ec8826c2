//! `zpool status -P -p` as text (zpool-status(8); the shapes are those of OpenZFS 0.8 to 2.4): lines of `key: value`,
//! with the tree of devices under `config:`. A text that was cut is an error, never a pool that looks whole.

use super::kstat::{self, ZfsPoolState};
use super::scan::{amount, in_words};
use super::status::{Class, DEEPEST, Vdev, VdevErrors, VdevKind, VdevState, ZfsStatus, one_line, vdev_state};
use crate::plain::quoted;

/// The pools that the text tells of, none when it says that there are none. Warnings before the first are passed over.
pub fn pools(bytes: &[u8]) -> Result<Vec<ZfsStatus>, String> {
    let mut blocks: Vec<Vec<Section>> = Vec::new();
    for line in bytes.split(|&byte| byte == b'\n') {
        match key_of(line) {
            Some(("pool", value)) => blocks.push(vec![Section { key: "pool", lines: vec![value] }]),
            Some((key, value)) => {
                if let Some(block) = blocks.last_mut() {
                    block.push(Section { key, lines: vec![value] });
                }
            }
            // What belongs to a key stands below it behind a tab.
            None if line.first() == Some(&b'\t') => {
                if let Some(section) = blocks.last_mut().and_then(|block| block.last_mut()) {
                    section.lines.push(line);
                }
            }
            None => {}
        }
    }
    if blocks.is_empty() {
        let said = String::from_utf8_lossy(bytes);
        let none = said.lines().any(|line| line.trim() == "no pools available");
        return if none { Ok(Vec::new()) } else { Err(format!("expected a pool, found {}", quoted(said.trim()))) };
    }
    let mut found: Vec<ZfsStatus> = Vec::new();
    for block in &blocks {
        let status = pool(block)?;
        if found.iter().any(|other| other.name == status.name) {
            return Err(format!("expected pools of different names, found two called {}", quoted(&status.name)));
        }
        found.push(status);
    }
    Ok(found)
}

struct Section<'a> {
    key: &'static str,
    /// What stands behind the key, then the lines below it, as bytes: columns are counted in bytes.
    lines: Vec<&'a [u8]>,
}

impl Section<'_> {
    fn joined(&self) -> Option<String> {
        one_line(&String::from_utf8_lossy(&self.lines.join(&b' ')))
    }
}

fn key_of(line: &[u8]) -> Option<(&'static str, &[u8])> {
    const KEYS: [&str; 12] = [
        "pool",
        "state",
        "status",
        "action",
        "see",
        "scan",
        "scrub",
        "remove",
        "expand",
        "checkpoint",
        "config",
        "errors",
    ];
    if line.first() == Some(&b'\t') {
        return None;
    }
    let line = line.trim_ascii_start();
    let colon = line.iter().position(|&byte| byte == b':')?;
    let key = KEYS.into_iter().find(|key| key.as_bytes() == &line[..colon])?;
    let value = &line[colon + 1..];
    Some((key, value.strip_prefix(b" ").unwrap_or(value)))
}

fn pool(block: &[Section]) -> Result<ZfsStatus, String> {
    let section = |key: &str| block.iter().find(|section| section.key == key);
    let first_line = |key: &str| section(key).map(|found| String::from_utf8_lossy(found.lines[0]).into_owned());
    let name = first_line("pool").filter(|name| !name.is_empty()).ok_or("found a pool without a name")?;
    let of_pool = |what: String| format!("pool {}: {what}", quoted(&name));

    let state = first_line("state").ok_or_else(|| of_pool("found no line `state:`".to_owned()))?;
    let state = kstat::state(state.trim()).map_err(of_pool)?;
    let config = section("config").ok_or_else(|| of_pool("found no line `config:`".to_owned()))?;
    let root = tree(&name, &config.lines).map_err(of_pool)?;
    let data_errors = match first_line("errors") {
        Some(said) => data_errors(said.trim()).map_err(of_pool)?,
        // A pool that could not be opened has no list of errors.
        None if matches!(state, ZfsPoolState::Faulted | ZfsPoolState::Unavailable) => None,
        None => return Err(of_pool("expected a line `errors:`, found the end".to_owned())),
    };
    let scans = block.iter().filter(|section| matches!(section.key, "scan" | "scrub" | "expand" | "remove"));
    let scans = scans.filter_map(|section| {
        let lines: Vec<_> = section.lines.iter().map(|line| String::from_utf8_lossy(line)).collect();
        in_words(&lines.iter().map(AsRef::as_ref).collect::<Vec<&str>>())
    });
    let message_id = section("see").and_then(Section::joined).and_then(|see| {
        let (_, last) = see.rsplit_once('/')?;
        last.starts_with("ZFS-").then(|| last.to_owned())
    });
    Ok(ZfsStatus {
        guid: None,
        state,
        remark: section("status").and_then(Section::joined),
        message_id,
        scans: scans.collect(),
        root,
        data_errors,
        name,
    })
}

fn data_errors(said: &str) -> Result<Option<u64>, String> {
    if said == "No known data errors" {
        return Ok(Some(0));
    }
    if said.starts_with("List of errors unavailable") || said.starts_with("Permanent errors have been detected") {
        return Ok(None);
    }
    let count = said.strip_suffix(" data errors, use '-v' for a list").and_then(amount);
    count.map(Some).ok_or_else(|| format!("expected a count of data errors, found {}", quoted(said)))
}

/// One line of the tree.
struct TreeRow {
    depth: usize,
    vdev: Vdev,
}

/// The tree under `config:`. Its head line says in which column the states begin.
fn tree(pool: &str, lines: &[&[u8]]) -> Result<Vdev, String> {
    let mut lines = lines.iter().skip(1).filter_map(|line| line.strip_prefix(b"\t"));
    let head = lines.next().ok_or("expected devices under `config:`, found nothing")?;
    let at = head.windows(5).position(|piece| piece == b"STATE").filter(|_| head.starts_with(b"NAME"));
    let at = at.ok_or_else(|| {
        format!("expected NAME and STATE, found {} under `config:`", quoted(&String::from_utf8_lossy(head)))
    })?;
    let mut class = Class::Normal;
    let mut rows: Vec<TreeRow> = Vec::new();
    for line in lines {
        let (name, rest) = line.split_at(at.min(line.len()));
        let (name, rest) = (String::from_utf8_lossy(name), String::from_utf8_lossy(rest));
        let depth = name.len() - name.trim_start_matches(' ').len();
        let (name, rest) = (name.trim(), rest.trim());
        if depth == 0 && rest.is_empty() {
            class = class_of(name);
            continue;
        }
        let wanted = if rows.is_empty() { depth == 0 && name == pool.trim() } else { depth > 0 };
        if !wanted || name.is_empty() || depth % 2 != 0 || depth / 2 > DEEPEST {
            return Err(format!("expected the pool and its devices, found {} at depth {depth}", quoted(name)));
        }
        rows.push(TreeRow { depth: depth / 2, vdev: row(name, rest, class)? });
    }
    let mut rows = rows.into_iter().peekable();
    let TreeRow { vdev: mut root, .. } = rows.next().ok_or("found no line of the pool itself")?;
    root.kind = VdevKind::Root;
    root.path = None;
    root.children = below(0, &mut rows);
    match rows.next() {
        Some(stray) => Err(format!("found {} below nothing", quoted(&stray.vdev.name))),
        None if root.children.is_empty() => Err("found a pool without devices".to_owned()),
        None => whole(&root).map(|()| root),
    }
}

/// The rows that belong below one at `depth`.
fn below(depth: usize, rows: &mut std::iter::Peekable<impl Iterator<Item = TreeRow>>) -> Vec<Vdev> {
    let mut found = Vec::new();
    while let Some(TreeRow { mut vdev, .. }) = rows.next_if(|row| row.depth == depth + 1) {
        vdev.children = below(depth + 1, rows);
        if !vdev.children.is_empty() {
            vdev.path = None;
            vdev.kind = VdevKind::by_name(&vdev.name).unwrap_or(VdevKind::Other);
        }
        found.push(vdev);
    }
    found
}

/// Groups have parts, and devices have none.
fn whole(vdev: &Vdev) -> Result<(), String> {
    let is_device = matches!(vdev.kind, VdevKind::Disk | VdevKind::File | VdevKind::DraidSpare | VdevKind::Hole);
    if vdev.children.is_empty() && !is_device {
        return Err(format!("found {} without parts", quoted(&vdev.name)));
    }
    vdev.children.iter().try_for_each(whole)
}

fn class_of(word: &str) -> Class {
    match word {
        "logs" => Class::Log,
        "cache" => Class::Cache,
        "spares" => Class::Spare,
        "special" => Class::Special,
        "dedup" => Class::Dedup,
        _ => Class::Other,
    }
}

/// State, three counts unless it is a spare, and whatever else there is to say.
fn row(name: &str, rest: &str, class: Class) -> Result<Vdev, String> {
    let mut rest = rest;
    let mut word = || {
        let (word, after) = rest.split_once(char::is_whitespace).unwrap_or((rest, ""));
        rest = after.trim_start();
        word
    };
    let state = vdev_state(word(), None);
    let errors = if matches!(class, Class::Spare | Class::Other) {
        None
    } else {
        let mut count = || {
            let said = word();
            amount(said).ok_or_else(|| format!("expected a count, found {} beside {}", quoted(said), quoted(name)))
        };
        Some(VdevErrors { read: count()?, write: count()?, checksum: count()? })
    };
    let was = rest.strip_prefix("was ").filter(|path| path.starts_with('/'));
    let was = was.map(|path| path.split("  ").next().unwrap_or(path).trim().to_owned());
    let path = was.or_else(|| name.starts_with('/').then(|| name.to_owned()));
    let is_file = path.as_ref().is_some_and(|path| !path.starts_with("/dev/"));
    Ok(Vdev {
        kind: VdevKind::by_name(name).unwrap_or(if is_file { VdevKind::File } else { VdevKind::Disk }),
        class,
        // The tool says so only of devices that are online; one that waits is not filled either.
        resilvering: state == VdevState::Online
            && (rest.contains("(resilvering)") || rest.contains("(awaiting resilver)")),
        state,
        guid: name.parse().ok().filter(|_| path.is_some()),
        path,
        errors,
        note: one_line(rest),
        name: name.to_owned(),
        children: Vec::new(),
    })
}
