//! The one place that opens files of the host. Every path goes through a root folder, so that a recorded or
//! pretended tree can stand in for `/`; every read has an upper bound; every failure becomes a reason.

#![allow(clippy::disallowed_methods, reason = "this is the one file that opens files of the host")]

use super::parse::plain;
use crate::reading::{Missing, Reason, WhyMissing};
use std::fs::File;
use std::io::{self, Read};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Component, Path, PathBuf};

/// A sysfs attribute is one page at most (Documentation/filesystems/sysfs.rst).
const ATTRIBUTE_LIMIT: u64 = 4096;
/// Tables such as mountinfo grow with the machine; beyond this something is wrong.
const TABLE_LIMIT: u64 = 4 << 20;
/// A folder with more entries than this is not one of the kernel's.
const FOLDER_LIMIT: usize = 8192;

/// A host: the running one, or a tree of files that looks like one.
#[derive(Debug, Clone)]
pub struct Host {
    root: PathBuf,
}

impl Host {
    /// The host whose files begin at `root`; `/` is the running machine.
    pub fn at(root: impl Into<PathBuf>) -> Self {
        Self { root: root.into() }
    }

    /// True for the running machine: only it can be asked by system call.
    pub fn is_live(&self) -> bool {
        self.root == Path::new("/")
    }

    /// Where the host's absolute path lies.
    pub fn path(&self, absolute: &str) -> PathBuf {
        self.root.join(absolute.trim_start_matches('/'))
    }

    /// One attribute file, parsed. `parse` gets the text without white space at its ends and answers what was
    /// found and wanted if it does not like it; the file's name is added here.
    pub fn ask<T>(&self, path: &Path, parse: impl FnOnce(&str) -> Result<T, String>) -> Result<T, Missing> {
        let text = self.attribute(path)?;
        parse(text.trim())
            .map_err(|strange| Missing::found(Reason::Unreadable, format!("{}: {strange}", name_of(path))))
    }

    /// The text of one attribute file.
    ///
    /// # Errors
    /// The reason why there is none: absent, refused, longer than a page, not text.
    pub fn attribute(&self, path: &Path) -> Result<String, Missing> {
        let bytes = read(path, ATTRIBUTE_LIMIT)?;
        String::from_utf8(bytes).map_err(|_| {
            Missing::found(
                Reason::Unreadable,
                format!("{}: expected text, found bytes that are not UTF-8", name_of(path)),
            )
        })
    }

    /// The text of a device or its driver in one attribute file, if there is any.
    pub fn device_text(&self, path: &Path) -> Option<String> {
        plain::device_text(&self.attribute(path).ok()?)
    }

    /// The bytes of a table, such as mountinfo: mount points need not be UTF-8.
    pub fn table(&self, path: &Path) -> Result<Vec<u8>, Missing> {
        read(path, TABLE_LIMIT)
    }

    /// An open file, for what must be asked of it more than once.
    pub fn open(&self, path: &Path) -> Result<File, Missing> {
        File::open(path).map_err(|error| missing(path, &error))
    }

    /// An open file that never makes its reader wait (O_NONBLOCK, open(2)).
    pub fn open_without_waiting(&self, path: &Path) -> Result<File, Missing> {
        let opened = File::options().read(true).custom_flags(libc::O_NONBLOCK).open(path);
        opened.map_err(|error| missing(path, &error))
    }

    /// The names in a folder, sorted; names that are not UTF-8 are passed over, the kernel makes none.
    pub fn list(&self, folder: &Path) -> Result<Vec<String>, Missing> {
        let entries = std::fs::read_dir(folder).map_err(|error| missing(folder, &error))?;
        let mut names: Vec<String> =
            entries.take(FOLDER_LIMIT).filter_map(|entry| entry.ok()?.file_name().into_string().ok()).collect();
        names.sort();
        Ok(names)
    }

    /// Where a path leads when every link in it is followed, as the host's own absolute path.
    ///
    /// # Errors
    /// The reason why it leads nowhere: absent, refused, a circle of links, or out of the root.
    pub fn resolve(&self, path: &Path) -> Result<PathBuf, Missing> {
        let real = path.canonicalize().map_err(|error| missing(path, &error))?;
        let root = self.root.canonicalize().map_err(|error| missing(&self.root, &error))?;
        let inside = real.strip_prefix(&root).map_err(|_| {
            Missing::found(Reason::Unreadable, format!("{}: found a link out of the tree", name_of(path)))
        })?;
        Ok(Path::new("/").join(inside))
    }

    /// What a link says, without following it: it may lead to something that is gone.
    pub fn link_text(&self, path: &Path) -> Option<PathBuf> {
        std::fs::read_link(path).ok()
    }

    /// True when something is there.
    pub fn exists(&self, path: &Path) -> bool {
        path.exists()
    }

    /// True when nothing is there, and not when that cannot be found out.
    pub fn is_absent(&self, path: &Path) -> bool {
        match path.try_exists() {
            Ok(there) => !there,
            Err(error) => error.kind() == io::ErrorKind::NotADirectory,
        }
    }
}

/// True for a name that is this kind and a number, such as `cpu3`.
pub fn is_numbered(name: &str, kind: &str) -> bool {
    name.strip_prefix(kind).is_some_and(|number| number.parse::<u32>().is_ok())
}

/// The names on a path, as text, first to last.
pub fn parts(path: &Path) -> impl DoubleEndedIterator<Item = &str> {
    path.components().filter_map(|part| match part {
        Component::Normal(name) => name.to_str(),
        _ => None,
    })
}

fn read(path: &Path, limit: u64) -> Result<Vec<u8>, Missing> {
    let file = File::open(path).map_err(|error| missing(path, &error))?;
    let mut bytes = Vec::new();
    file.take(limit + 1).read_to_end(&mut bytes).map_err(|error| missing(path, &error))?;
    if bytes.len() as u64 > limit {
        return Err(Missing::found(
            Reason::Unreadable,
            format!("{}: expected at most {limit} bytes, found more", name_of(path)),
        ));
    }
    Ok(bytes)
}

fn missing(path: &Path, error: &io::Error) -> Missing {
    let name = name_of(path);
    match error.kind() {
        io::ErrorKind::NotFound => Missing::from(WhyMissing::NoFile).and_found(name),
        io::ErrorKind::PermissionDenied => Missing::found(Reason::Refused, name),
        io::ErrorKind::TimedOut => Missing::found(Reason::TimedOut, name),
        // A part that went away while its file was open answers ENODEV or ENXIO.
        _ if matches!(error.raw_os_error(), Some(libc::ENODEV | libc::ENXIO)) => {
            Missing::from(WhyMissing::Disconnected).and_found(name)
        }
        _ => {
            // The standard library appends the number; the words are enough.
            let text = error.to_string().to_lowercase();
            let text = text.split(" (os error").next().unwrap_or_default();
            Missing::found(Reason::Unreadable, format!("{name}: {text}"))
        }
    }
}

/// The last two names of a path: enough to find the file, short enough for a line.
fn name_of(path: &Path) -> String {
    let mut last_two: Vec<&str> = parts(path).rev().take(2).collect();
    last_two.reverse();
    last_two.join("/")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
    use super::*;
    use std::os::unix::fs::symlink;

    fn tree() -> (tempfile::TempDir, Host) {
        let folder = tempfile::tempdir().unwrap();
        let host = Host::at(folder.path());
        (folder, host)
    }

    fn number(text: &str) -> Result<u64, String> {
        text.parse().map_err(|_| format!("expected a whole number, found `{text}`"))
    }

    #[test]
    fn a_value_or_the_reason_in_words() {
        let (folder, host) = tree();
        std::fs::write(folder.path().join("good"), "42\n").unwrap();
        std::fs::write(folder.path().join("odd"), "forty-two\n").unwrap();
        std::fs::write(folder.path().join("binary"), [0xff, 0xfe, b'1']).unwrap();
        std::fs::write(folder.path().join("huge"), vec![b'1'; 10 << 20]).unwrap();
        symlink("circle", folder.path().join("circle")).unwrap();
        let told = |name: &str| host.ask(&host.path(name), number);
        let folder_name = folder.path().file_name().unwrap().to_str().unwrap();

        assert_eq!(told("/good"), Ok(42));
        let cases = [
            ("/odd", "expected a whole number, found `forty-two`"),
            ("/binary", "expected text, found bytes that are not UTF-8"),
            ("/huge", "expected at most 4096 bytes, found more"),
            ("/circle", "too many levels of symbolic links"),
        ];
        for (name, found) in cases {
            assert_eq!(told(name), Err(Missing::found(Reason::Unreadable, format!("{folder_name}{name}: {found}"))));
        }
        let absent = Missing::from(WhyMissing::NoFile).and_found(format!("{folder_name}/absent"));
        assert_eq!(told("/absent"), Err(absent));
    }

    #[test]
    fn a_link_out_of_the_tree_is_not_followed() {
        let (folder, host) = tree();
        symlink("/etc", folder.path().join("out")).unwrap();
        std::fs::create_dir(folder.path().join("in")).unwrap();
        assert!(host.resolve(&host.path("/out")).is_err());
        assert_eq!(host.resolve(&host.path("/in")), Ok(PathBuf::from("/in")));
    }
}
