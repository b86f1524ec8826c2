//! What should be mounted: `/etc/fstab` (fstab(5)).

use super::mountinfo::{is_on_storage, unescaped};

/// A line of it that the box should have mounted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FstabEntry {
    /// Where.
    pub mount: String,
    /// What, as it is written there.
    pub source: String,
    /// True when it should be read-only.
    pub read_only: bool,
}

/// The lines about file systems on drives that are to be mounted from the start. Left out are those that somebody or
/// something mounts when it is needed, network and memory file systems, swap, and lines that cannot be read.
pub fn wanted(table: &str) -> Vec<FstabEntry> {
    table.lines().filter_map(line).collect()
}

fn line(line: &str) -> Option<FstabEntry> {
    let mut fields = line.split_whitespace();
    let (source, mount, kinds) = (fields.next()?, fields.next()?, fields.next()?);
    let options: Vec<&str> = fields.next().unwrap_or("defaults").split(',').collect();
    let has = |option: &str| options.contains(&option);
    let on_demand = has("noauto") || has("x-systemd.automount") || has("users") || has("user");
    let is_meant = !source.starts_with('#') && mount.starts_with('/') && !on_demand;
    (is_meant && kinds.split(',').any(|kind| kind == "auto" || is_on_storage(kind))).then(|| FstabEntry {
        mount: unescaped(mount),
        source: unescaped(source),
        read_only: has("ro"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_mounted_from_the_start_is_wanted() {
        let table = "# the hut\n\
            UUID=5a6e-0b1c / ext4 defaults,errors=remount-ro 0 1\n\
            /dev/md0\t/srv/bird\\040song auto noatime,nofail 0 2\n\
            LABEL=old /srv/old xfs ro\n\
            /dev/sdx1 /media/card vfat noauto,users 0 0\n\
            /dev/sdy1 /media/stick vfat x-systemd.automount 0 0\n\
            nest:/songs /mnt/away nfs4 defaults 0 0\n\
            tmpfs /tmp tmpfs size=1G\n\
            /dev/sdf3 none swap sw 0 0\n\
            half a\n";
        let found: Vec<_> = wanted(table).into_iter().map(|wanted| (wanted.mount, wanted.read_only)).collect();
        let wanted = [("/", false), ("/srv/bird song", false), ("/srv/old", true)];
        assert_eq!(found, wanted.map(|(mount, read_only)| (mount.to_owned(), read_only)));
    }

    proptest! {
        #[test]
        fn any_table_can_be_read(table: String) {
            prop_assert!(wanted(&table).iter().all(|wanted| wanted.mount.starts_with('/')));
        }
    }
}
