#!/bin/sh
# Makes a pool of ZFS, raidz1 over four drives, with a volume on it. Runs in the guest, after devices.sh.

set -eu

modprobe -a ahci virtio_scsi sd_mod zfs

# As after a time service has set the clock: adjtimex(2), with modes ADJ_MAXERROR, ADJ_ESTERROR and ADJ_STATUS, all zero.
perl -e 'my $timex = pack("L x4 q5 l x160", 0x1c, (0) x 6); syscall(159, $timex) >= 0 or die "adjtimex: $!"'

members=
for serial in TRAY-A TRAY-B TRAY-C TRAY-D; do
    device_of "$serial" >/dev/null
    members="$members /dev/disk/by-id/scsi-0QEMU_QEMU_HARDDISK_$serial"
done
udevadm settle
# shellcheck disable=SC2086 # the members are words
zpool create -f -o ashift=12 -O mountpoint=/srv/birdsong songs raidz1 $members
dd if=/dev/urandom of=/srv/birdsong/wren.flac bs=1M count=48 conv=fsync 2>/dev/null
# Notes losses of drives, as on a box where ZFS was installed as it comes.
zed
