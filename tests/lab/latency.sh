#!/bin/sh
# Makes a RAID 10 of ten small drives. Runs in the guest, after devices.sh. The drives are empty, so that all redundancy is
# right from the start: hence --assume-clean. Its bitmap lets a drive that comes back be whole again at once.

set -eu

modprobe -a ahci virtio_scsi sd_mod raid10

members=
for number in 0 1 2 3 4 5 6 7 8 9; do
    device=$(device_of "TIT-$number")
    members="$members $device"
done
# shellcheck disable=SC2086 # the members are words
mdadm --create /dev/md0 --run --assume-clean --level=10 --layout=n2 --raid-devices=10 --bitmap=internal --metadata=1.2 \
    $members
