//! What the mount table and `/etc/fstab` say together: what can be written to, what is missing, what is a union.

use super::{heron, rounds};
use traylight::reading::{Listing, Union, Unmounted, Writing};

const TABLE: &str = "27 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda1 rw,discard\n\
    30 27 9:0 / /srv/songs rw,relatime - ext4 /dev/md0 rw,emergency_ro\n\
    31 27 0:40 / /srv/all rw - overlay all rw,lowerdir=/srv/songs:/srv/old,upperdir=/srv/new,workdir=/srv/w\n\
    32 27 0:41 / /var/lib/boxes/1/merged rw - overlay overlay rw,lowerdir=/a:/b\n";

#[test]
fn a_volume_that_stopped_writing_one_that_is_missing_and_a_union_are_seen() {
    let heron = heron();
    heron.write("/proc/self/mountinfo", TABLE).write(
        "/etc/fstab",
        "/dev/vda1 / ext4 defaults\n/dev/md0 /srv/songs ext4 ro\n/dev/sdx1 /srv/old xfs defaults\n",
    );
    let snapshot = rounds(&heron).round();
    let volumes: Vec<_> =
        snapshot.volumes.iter().map(|volume| (&*volume.mount, volume.writing, volume.meant_read_only)).collect();
    assert_eq!(volumes, [("/", Writing::Allowed, false), ("/srv/songs", Writing::StoppedByError, true)]);
    let missing = Unmounted { mount: "/srv/old".into(), source: "/dev/sdx1".into() };
    assert_eq!(snapshot.unmounted, [missing]);
    let branches = ["/srv/new", "/srv/songs", "/srv/old"].map(str::to_owned).to_vec();
    let all = Union { mount: "/srv/all".into(), file_system: "overlay".into(), branches };
    assert_eq!(snapshot.unions, [all], "those of containers are left out");
}

#[test]
fn the_errors_that_ext4_has_written_down_are_found_by_the_number_of_its_device() {
    let heron = heron();
    heron
        .link("/sys/dev/block/254:0", "/sys/devices/pci0000:00/0000:00:04.0/virtio1/block/vda/vda1")
        .write("/sys/devices/pci0000:00/0000:00:04.0/virtio1/block/vda/vda1/size", "100\n")
        .write("/sys/fs/ext4/vda1/errors_count", "2\n");
    assert_eq!(rounds(&heron).round().volumes[0].errors, Some(2));
    heron.remove("/sys/fs/ext4/vda1/errors_count");
    assert_eq!(rounds(&heron).round().volumes[0].errors, None);
}

/// A line that is no mount hides a volume, perhaps: the others are shown, and the reason is there, in every round.
#[test]
fn a_line_of_the_mount_table_that_cannot_be_read_is_told() {
    let heron = heron();
    for (table, volumes) in [(&b"\xff\xfe\n"[..], 0), (b"27 1 254:0 / / rw - ext4 /dev/vda1 rw\nodd\n", 1)] {
        heron.write_raw("/proc/self/mountinfo", table);
        let mut rounds = rounds(&heron);
        for _ in 0..2 {
            let snapshot = rounds.round();
            assert_eq!(snapshot.volumes.len(), volumes);
            let [blind] = &snapshot.blind[..] else { panic!("one list, not {:?}", snapshot.blind) };
            assert_eq!(blind.what, Listing::Mounts);
            assert!(blind.why.found.as_ref().is_some_and(|why| why.starts_with("self/mountinfo: expected a mount")));
        }
    }
}
