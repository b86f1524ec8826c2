//! The house rules of DEVELOPERS.md that no lint can keep: the table of folders, the directions between modules, the size of files
//! and their first lines. Sources are read as text; nothing here is a parser of Rust.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failing step fails the test")]
#![allow(clippy::disallowed_methods, reason = "the sources are read as files")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// What opens, sends, waits or starts: not for code that is a function of data.
const THE_WORLD: [&str; 9] =
    ["std::fs", "std::net", "std::os", "std::process", "std::thread", "std::env", "tokio", "rustix", "libc"];

/// About 400 lines a file, tests included; this is where "about" ends.
const LONGEST: usize = 450;

/// Who must not name what. A place is a module with all that is below it.
fn directions() -> Vec<(&'static str, Vec<&'static str>)> {
    let later =
        ["traylight::judge", "traylight::tell", "traylight::show", "traylight::serve", "traylight::run"].as_slice();
    let (sense, probe, world) =
        (["traylight::sense"].as_slice(), ["traylight::probe"].as_slice(), THE_WORLD.as_slice());
    let judge = ["traylight::judge"].as_slice();
    let words_and_drawing = [world, sense, probe].concat();
    let mut directions = rooms_of_the_judge();
    directions.extend([
        ("agent/src/sense", [later, probe].concat()),
        ("agent/src/probe", later.to_vec()),
        // What is played is a function of data as well.
        (
            "agent/src/rehearse",
            [sense, probe, world, &["traylight::show", "traylight::serve", "traylight::run"]].concat(),
        ),
        // Of the crates below the program Cargo says whom they know; the standard library is open to all.
        ("agent/data/src", world.to_vec()),
        ("agent/parse/src", world.to_vec()),
        ("agent/heron/src", world.to_vec()),
        ("agent/judge/src", world.to_vec()),
        (
            "agent/src/tell",
            [
                &words_and_drawing,
                &["traylight::judge", "traylight::keep", "traylight::send", "traylight::show", "traylight::serve"][..],
            ]
            .concat(),
        ),
        ("agent/src/keep", vec!["traylight::send", "traylight::show", "traylight::serve", "traylight::run"]),
        ("agent/src/send", [sense, &["traylight::show", "traylight::serve", "traylight::run"]].concat()),
        ("agent/src/send/channels/mqtt_packet", world.to_vec()),
        // When a drive may be asked what is a function of data too.
        ("agent/src/probe/schedule", world.to_vec()),
        ("agent/src/probe/polling", world.to_vec()),
        ("agent/src/show/pages", words_and_drawing.clone()),
        ("agent/src/setup/candidates", words_and_drawing.clone()),
        ("agent/src/setup/walk", words_and_drawing.clone()),
        ("agent/src/setup/step", words_and_drawing.clone()),
        ("agent/src/setup/document", words_and_drawing.clone()),
        ("agent/src/setup/sheet", words_and_drawing.clone()),
        ("agent/src/setup/sheet_svg", words_and_drawing.clone()),
        ("agent/src/serve/document", words_and_drawing.clone()),
        ("agent/src/serve/parts", words_and_drawing.clone()),
        ("agent/src/serve/alerts", words_and_drawing.clone()),
        ("agent/src/serve/table", words_and_drawing),
        // Only the probe touches the hardware.
        ("agent/src/run", sense.to_vec()),
        // All that pages, messages and documents say of what is judged is in the verdict.
        ("agent/src/show", [sense, judge].concat()),
        ("agent/src/serve", [sense, judge].concat()),
        ("config/src", [world, &["traylight", "traylight_display"]].concat()),
        ("display/src", [world, &["traylight", "traylight_config"]].concat()),
    ]);
    directions
}

/// The rooms of the judge, each of which names no later one; and conditions and causes do not name each other.
fn rooms_of_the_judge() -> Vec<(&'static str, Vec<&'static str>)> {
    let [forecast, memory, conditions, causes, incidents] = [
        "traylight_judge::forecast",
        "traylight_judge::memory",
        "traylight_judge::conditions",
        "traylight_judge::causes",
        "traylight_judge::incidents",
    ];
    let rooms = vec![forecast, memory, conditions, causes, incidents];
    vec![
        ("agent/judge/src/heat_limits", rooms.clone()),
        ("agent/judge/src/kinds", rooms.clone()),
        ("agent/judge/src/limit", rooms.clone()),
        ("agent/judge/src/order", rooms.clone()),
        ("agent/judge/src/play", rooms.clone()),
        ("agent/judge/src/redundancy", rooms.clone()),
        ("agent/judge/src/track", rooms),
        ("agent/judge/src/forecast", vec![memory, conditions, causes, incidents]),
        ("agent/judge/src/memory", vec![conditions, causes, incidents]),
        ("agent/judge/src/conditions", vec![causes, incidents]),
        ("agent/judge/src/causes", vec![conditions, incidents]),
        ("agent/judge/src/incidents", vec![conditions]),
        ("agent/judge/src/shelves", vec![conditions, causes, incidents]),
    ]
}

#[test]
fn no_files_of_a_crate_name_each_other_in_a_circle() {
    // `main.rs` names the commands, and no path leads to it.
    let is_looked_at = |source: &Source| !source.path.ends_with("/main.rs");
    let sources: Vec<Source> = sources().into_iter().filter(is_looked_at).collect();
    // The file that a path leads into is its longest beginning that is a module.
    let file_of = |path: &str| {
        let is_beginning =
            |source: &&Source| format!("{path}::").starts_with(&format!("{}::", source.module.join("::")));
        sources.iter().filter(is_beginning).max_by_key(|source| source.module.len()).map(|source| source.path.clone())
    };
    let leads_to = |from: &Source, path: &String| {
        // A module below is named without more.
        let below = file_of(&format!("{}::{path}", from.module.join("::"))).filter(|file| *file != from.path);
        below.or_else(|| file_of(path)).filter(|file| *file != from.path)
    };
    let mut names: BTreeMap<String, BTreeSet<String>> = sources
        .iter()
        .map(|source| (source.path.clone(), source.names().iter().filter_map(|path| leads_to(source, path)).collect()))
        .collect();
    // What names nothing that is left, or is named by nothing that is left, is in no circle, and is left no more.
    loop {
        let named: BTreeSet<String> = names.values().flatten().cloned().collect();
        let is_free = |(file, names): &(&String, &BTreeSet<String>)| names.is_empty() || !named.contains(*file);
        let Some(free) = names.iter().find(is_free).map(|(file, _)| file.clone()) else { break };
        names.remove(&free);
        names.values_mut().for_each(|named| named.retain(|file| *file != free));
    }
    assert!(names.is_empty(), "these name each other in a circle: {names:#?}");
}

#[test]
fn imports_follow_the_directions() {
    let mut wrong = Vec::new();
    for (place, forbidden) in directions() {
        let there: Vec<Source> = sources().into_iter().filter(|source| source.is_in(place)).collect();
        assert!(!there.is_empty(), "{place} is nowhere");
        for source in there {
            for path in source.names() {
                let breaks = |not: &&str| path == *not || path.starts_with(&format!("{not}::"));
                if forbidden.iter().any(breaks) {
                    wrong.push(format!("{} names {path}", source.path));
                }
            }
        }
    }
    assert_eq!(wrong, [""; 0]);
}

#[test]
fn only_one_file_asks_for_the_time() {
    let asks = |path: &String| path.ends_with("::now") || path.ends_with("clock_gettime");
    let asking: BTreeSet<String> =
        sources().iter().filter(|source| source.names().iter().any(asks)).map(|source| source.path.clone()).collect();
    assert_eq!(asking, BTreeSet::from(["agent/src/clock.rs".to_owned()]));
}

/// `a/{b,c}` is `a/b` and `a/c`.
fn folders_of(row: &str) -> Vec<String> {
    match row.split_once('{') {
        Some((above, several)) => several.trim_end_matches('}').split(',').map(|one| format!("{above}{one}")).collect(),
        None => vec![row.to_owned()],
    }
}

#[test]
fn every_folder_is_in_the_table() {
    let text = fs::read_to_string(top().join("DEVELOPERS.md")).unwrap();
    let table = text.split_once("\n## Folders\n").unwrap().1;
    assert!(text.len() <= 12 << 10, "DEVELOPERS.md has {} bytes: nobody reads more in ten minutes", text.len());
    let listed: Vec<String> = table
        .lines()
        .filter_map(|line| Some(line.strip_prefix("| `")?.split_once('`')?.0))
        .flat_map(folders_of)
        .collect();
    let files = all_files();
    let absent: Vec<&String> = listed.iter().filter(|folder| !top().join(folder).is_dir()).collect();
    assert!(absent.is_empty(), "in the table, not in the tree: {absent:?}");
    // A file with its tests needs no line: its first lines speak for it.
    let is_one_file = |folder: &Path| {
        let mut inside = files.iter().filter(|file| Path::new(file).starts_with(folder));
        inside.all(|file| file.ends_with("/mod.rs") || file.ends_with("tests.rs") || file.contains("/tests/"))
    };
    let has_line = |folder: &Path| {
        let name = folder.to_str().unwrap();
        listed.iter().any(|listed| listed == name) || name.contains("/tests") || is_one_file(folder)
    };
    let folders: BTreeSet<PathBuf> = files.iter().map(|file| Path::new(file).parent().unwrap().to_owned()).collect();
    let without: Vec<&PathBuf> = folders.iter().filter(|folder| !has_line(folder)).collect();
    assert!(without.is_empty(), "in the tree, not in the table of DEVELOPERS.md: {without:?}");
}

#[test]
fn a_module_with_parts_is_the_mod_rs_of_its_folder() {
    let beside: Vec<String> =
        all_files().into_iter().filter(|file| top().join(file).with_extension("").is_dir()).collect();
    assert_eq!(beside, [""; 0], "these stand beside the folder of their parts");
}

#[test]
fn no_file_is_too_long_and_each_begins_with_its_job() {
    let mut wrong = Vec::new();
    for path in all_files() {
        let text = fs::read_to_string(top().join(&path)).unwrap();
        if text.lines().count() > LONGEST {
            wrong.push(format!("{path}: expected at most {LONGEST} lines, found {}", text.lines().count()));
        }
        if !text.starts_with("//! ") {
            wrong.push(format!("{path}: expected `//!` and its job, found {:?}", text.lines().next()));
        }
    }
    assert_eq!(wrong, [""; 0]);
}

/// A source file of the program, the configuration or the display, without its tests.
struct Source {
    /// From the top of the workspace.
    path: String,
    /// What the file is called in paths, such as `traylight::sense::md`.
    module: Vec<String>,
    /// Its text, without comments and tests.
    code: String,
}

impl Source {
    fn read(path: String) -> Self {
        let text = fs::read_to_string(top().join(&path)).unwrap();
        let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
        let code = code.lines().map(|line| line.split("//").next().unwrap_or_default()).collect::<Vec<_>>().join("\n");
        let (crate_folder, inside) = path.split_once("/src/").unwrap();
        let name = match crate_folder {
            "agent" => "traylight".to_owned(),
            other => format!("traylight_{}", other.trim_start_matches("agent/")),
        };
        let inside = inside.trim_end_matches(".rs").split('/').filter(|part| !["mod", "lib", "main"].contains(part));
        Self { module: std::iter::once(name).chain(inside.map(str::to_owned)).collect(), code, path }
    }

    fn is_in(&self, place: &str) -> bool {
        self.path.strip_prefix(place).is_some_and(|rest| rest.starts_with(['/', '.']))
    }

    /// Every path the code names, from its crate on: `use` groups taken apart, `crate`, `self` and `super` resolved.
    fn names(&self) -> BTreeSet<String> {
        let mut found = Vec::new();
        let mut rest = self.code.as_str();
        while let Some(start) = rest.find(is_in_name) {
            rest = take_paths(&rest[start..], "", &mut found);
        }
        found.iter().filter(|path| path.contains("::")).map(|path| self.resolve(path)).collect()
    }

    fn resolve(&self, path: &str) -> String {
        let mut parts = path.split("::").filter(|part| *part != "self").peekable();
        let ups = std::iter::from_fn(|| parts.next_if_eq(&"super")).count();
        let base = match (parts.next_if_eq(&"crate").is_some(), ups, path.starts_with("self::")) {
            (true, ..) => &self.module[..1],
            (_, 0, false) => &[],
            _ => &self.module[..self.module.len() - ups],
        };
        base.iter().map(String::as_str).chain(parts).collect::<Vec<_>>().join("::")
    }
}

fn is_in_name(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// Takes the path that the text begins with, and all paths of its group if it ends in one; answers the rest of the text.
fn take_paths<'a>(text: &'a str, before: &str, found: &mut Vec<String>) -> &'a str {
    let (name, rest) = text.split_at(text.find(|c| !is_in_name(c)).unwrap_or(text.len()));
    let path = format!("{before}{name}");
    match rest.strip_prefix("::") {
        Some(more) if more.starts_with(is_in_name) => take_paths(more, &format!("{path}::"), found),
        Some(group) if group.starts_with('{') => {
            let mut rest = &group[1..];
            // Members end at a comma; what follows a name, such as `as other`, is passed over.
            while let Some(start) = rest.find(|c| is_in_name(c) || c == '}') {
                if rest[start..].starts_with('}') {
                    return &rest[start + 1..];
                }
                rest = take_paths(&rest[start..], &format!("{path}::"), found);
                rest = &rest[rest.find([',', '}']).unwrap_or(rest.len())..];
            }
            rest
        }
        _ => {
            found.push(path);
            rest
        }
    }
}

/// The sources of the crates that an owner runs, without files that only tests are made of.
fn sources() -> Vec<Source> {
    let files: Vec<String> = all_files().into_iter().filter(|path| !path.starts_with("tests/")).collect();
    let tests: Vec<String> = files.iter().flat_map(|path| test_modules(path)).collect();
    assert!(files.len() > 80, "{} files are not the whole", files.len());
    let sources = files.into_iter().map(Source::read);
    sources.filter(|source| !tests.iter().any(|test| source.is_in(test))).collect()
}

/// The modules that a file declares for tests only, as paths without their end.
fn test_modules(path: &str) -> Vec<String> {
    let text = fs::read_to_string(top().join(path)).unwrap();
    let declared = text.split("#[cfg(test)]\n").skip(1).filter_map(|after| {
        let (_, name) = after.lines().next()?.split_once("mod ")?;
        name.strip_suffix(';').map(str::to_owned)
    });
    // What `name.rs` declares is in `name/`.
    let file = Path::new(path).with_extension("");
    let is_top = ["mod", "lib", "main"].iter().any(|top| file.ends_with(top));
    let folder = if is_top { file.parent().unwrap() } else { &file }.display().to_string();
    declared.map(|name| format!("{folder}/{name}")).collect()
}

/// Every Rust file of the workspace, as a path from its top, sorted.
fn all_files() -> Vec<String> {
    let mut files = Vec::new();
    for folder in ["config/src", "display/src", "agent", "tests"] {
        collect(&top().join(folder), &mut files);
    }
    files.sort();
    files.iter().map(|file| file.strip_prefix(top()).unwrap().display().to_string()).collect()
}

fn collect(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).into_iter().flatten() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// The top of the workspace.
fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}

#[test]
fn paths_are_read_as_rust_means_them() {
    let named = |code: &str| {
        let module = ["traylight", "sense", "md"].map(str::to_owned).to_vec();
        Source { path: String::new(), module, code: code.to_owned() }.names().into_iter().collect::<Vec<_>>().join(" ")
    };
    assert_eq!(named("use std::fs;"), "std::fs");
    assert_eq!(named("use std::{fs::{self, File}, io as other};"), "std::fs std::fs::File std::io");
    assert_eq!(named("let a = crate::judge::Memory::default();"), "traylight::judge::Memory::default");
    assert_eq!(named("use super::host::Host; use crate::run;"), "traylight::run traylight::sense::host::Host");
    assert_eq!(named("use self::inner::*; let b = a.now();"), "traylight::sense::md::inner");
}
