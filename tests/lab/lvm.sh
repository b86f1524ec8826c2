#!/bin/sh
# Makes two RAID volumes of LVM over four drives: a mirror on the first two, RAID 5 on three. Runs in the guest, after
# devices.sh. The drives are empty, so that all redundancy is right from the start: hence --nosync for the mirror.

set -eu

modprobe -a ahci virtio_scsi sd_mod dm_raid raid1 raid456

drives=
for serial in TRAY-A TRAY-B TRAY-C TRAY-D; do
    device=$(device_of "$serial")
    pvcreate -q "$device"
    drives="$drives $device"
done
# shellcheck disable=SC2086 # the drives are words
vgcreate -q songs $drives
# shellcheck disable=SC2086
set -- $drives
lvcreate -q -y -Zn -Wn --type raid1 --mirrors 1 --nosync -L 64M -n takes songs "$1" "$2"
lvcreate -q -y -Zn -Wn --type raid5 --stripes 2 -L 64M -n tapes songs "$2" "$3" "$4"
