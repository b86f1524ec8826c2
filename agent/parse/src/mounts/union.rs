//! Mounts that show several folders as one: which folders, from the mount table.
//!
//! A folder that vanishes makes such a mount smaller and nothing else, so its owner must be told by somebody who knows
//! the list.

/// The folders that a union mount shows as one, as absolute paths; empty for other file systems, and where the mount
/// table does not say.
///
/// `options` are those of the file system, the last column of mountinfo, escapes still in; `source` and `mount_points`
/// have had theirs taken out.
pub fn branches(file_system: &str, source: &str, options: &str, mount_points: &[&str]) -> Vec<String> {
    match file_system {
        "overlay" => layers(options),
        "aufs" => option(options, "br").map(|list| absolute(&split(&unescaped(list)))).unwrap_or_default(),
        "fuse.mergerfs" | "mergerfs" | "fuse.unionfs" | "fuse.mhddfs" => listed(source, mount_points),
        _ => Vec::new(),
    }
}

/// Overlay (Documentation/filesystems/overlayfs.rst): the upper folder, then the lower ones. Between lower folders
/// stands a colon, two before those that hold data only; newer kernels show each by an option of its own.
fn layers(options: &str) -> Vec<String> {
    let of = |name: &'static str| options.split(',').filter_map(move |one| Some(unescaped(one.strip_prefix(name)?)));
    let lower = of("lowerdir=").flat_map(|list| split(&list)).chain(of("lowerdir+=")).chain(of("datadir+="));
    of("upperdir=").chain(lower).filter(|path| path.starts_with('/')).collect()
}

fn option<'a>(options: &'a str, name: &str) -> Option<&'a str> {
    options.split(',').find_map(|one| one.strip_prefix(name)?.strip_prefix(['=', ':']))
}

/// Splits at colons, but not at those behind a backslash.
fn split(list: &str) -> Vec<String> {
    let mut parts = vec![String::new()];
    let mut chars = list.chars();
    while let Some(next) = chars.next() {
        match next {
            ':' => parts.push(String::new()),
            _ => {
                let meant = if next == '\\' { chars.next() } else { Some(next) };
                if let Some(part) = parts.last_mut() {
                    part.extend(meant);
                }
            }
        }
    }
    parts
}

/// A list of folders, each perhaps with a mode such as `=RW` behind it. All of it or nothing: with one that is not
/// understood the list would be too short, and that is what a lost folder looks like.
fn absolute(parts: &[String]) -> Vec<String> {
    let paths = parts.iter().map(|part| without_mode(part)).map(|path| path.starts_with('/').then(|| path.to_owned()));
    paths.collect::<Option<_>>().unwrap_or_default()
}

/// Modes are capital or small letters, perhaps with a comma and a size.
fn without_mode(part: &str) -> &str {
    const MODES: [&str; 6] = ["RW", "RO", "NC", "rw", "ro", "rr"];
    match part.rsplit_once('=') {
        Some((path, mode)) if MODES.iter().any(|known| mode.starts_with(known)) => path,
        _ => part,
    }
}

/// A source that is a list of folders. FUSE unions shorten it by the longest beginning that all have in common, in the
/// middle of a name if need be: then the folders are those mount points that the rests end, if there is just one such
/// beginning.
fn listed(source: &str, mount_points: &[&str]) -> Vec<String> {
    let parts = split(source);
    let whole = absolute(&parts);
    if !whole.is_empty() || parts.len() < 2 {
        return whole;
    }
    let rests: Vec<&str> = parts.iter().map(|part| without_mode(part)).collect();
    let all_end = |beginning: &str| {
        rests.iter().all(|rest| mount_points.iter().any(|point| point.strip_suffix(rest) == Some(beginning)))
    };
    let mut beginnings: Vec<&str> =
        mount_points.iter().filter_map(|point| point.strip_suffix(rests[0])).filter(|start| all_end(start)).collect();
    beginnings.sort_unstable();
    beginnings.dedup();
    match beginnings[..] {
        [beginning] if beginning.starts_with('/') => rests.iter().map(|rest| format!("{beginning}{rest}")).collect(),
        _ => Vec::new(),
    }
}

/// Characters that would end a field are written as a backslash and three octal digits (fs/seq_file.c).
fn unescaped(field: &str) -> String {
    super::mountinfo::unescaped(field)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn told(file_system: &str, source: &str, options: &str) -> Vec<String> {
        branches(file_system, source, options, &["/", "/mnt/disk1", "/mnt/disk2", "/mnt/disk10", "/srv"])
    }

    /// The options as Documentation/filesystems/overlayfs.rst has them.
    #[test]
    fn an_overlay_is_its_upper_folder_and_its_lower_ones() {
        let options = "rw,lowerdir=/lower1:/lower2::/data,upperdir=/upper,workdir=/work,uuid=on";
        assert_eq!(told("overlay", "overlay", options), ["/upper", "/lower1", "/lower2", "/data"]);
        let newer = "ro,lowerdir+=/l1,lowerdir+=/l:2,datadir+=/do1";
        assert_eq!(told("overlay", "overlay", newer), ["/l1", "/l:2", "/do1"]);
    }

    #[test]
    fn colons_and_commas_in_a_name_do_not_end_it() {
        let options = r"rw,lowerdir=/a\134:b:/c\054d\040e,upperdir=/u,workdir=/w";
        assert_eq!(told("overlay", "overlay", options), ["/u", "/a:b", "/c,d e"]);
    }

    #[test]
    fn a_union_in_user_space_lists_its_branches_as_the_source() {
        assert_eq!(told("fuse.mergerfs", "/mnt/a=RW:/mnt/b=NC,10G:/mnt/c", "rw"), ["/mnt/a", "/mnt/b", "/mnt/c"]);
        assert_eq!(told("fuse.mergerfs", "/mnt/a", "rw"), ["/mnt/a"]);
        assert_eq!(told("aufs", "none", "rw,br=/a=rw:/b=ro+wh"), ["/a", "/b"]);
    }

    #[test]
    fn a_shortened_list_is_completed_by_the_mount_points_that_it_fits() {
        assert_eq!(told("fuse.mergerfs", "1:2", "rw"), ["/mnt/disk1", "/mnt/disk2"]);
        assert_eq!(told("fuse.mergerfs", ":0", "rw"), ["/mnt/disk1", "/mnt/disk10"]);
        // A branch that is no mount point: the list is not known, rather than one that is too short.
        assert_eq!(told("fuse.mergerfs", "1:2:3", "rw"), [""; 0]);
        assert_eq!(told("fuse.mergerfs", "songs", "rw"), [""; 0]);
    }

    #[test]
    fn other_mounts_have_no_branches() {
        assert_eq!(told("ext4", "/dev/md0", "rw,lowerdir=/a"), [""; 0]);
        assert_eq!(told("overlay", "overlay", "rw"), [""; 0]);
        assert_eq!(told("overlay", "overlay", "rw,lowerdir=,upperdir="), [""; 0]);
    }

    proptest! {
        #[test]
        fn any_text_gives_absolute_paths_or_nothing(source in ".*", options in ".*", rest in r"[:/=\\a,0]*", point in ".*") {
            for kind in ["overlay", "aufs", "fuse.mergerfs"] {
                for (source, options) in [(&source, &options), (&rest, &format!("lowerdir={rest},br:{rest}"))] {
                    let found = branches(kind, source, options, &["/", "/a", "/a0", &point]);
                    prop_assert!(found.iter().all(|path| path.starts_with('/')), "{:?}", found);
                }
            }
        }
    }
}
