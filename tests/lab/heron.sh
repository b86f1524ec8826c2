#!/bin/sh
# Fits out the box heron: the pool of its four trays with a volume on it, and a fan chip.
# Runs in the guest, after devices.sh and chips.sh; says what went wrong and ends at the first mistake.

set -eu

modprobe -a ahci sd_mod nvme raid456 ext4 i2c-dev adt7475
modprobe i2c-stub chip_addr=0x2e

members=
for serial in TRAY-A TRAY-B TRAY-C TRAY-D; do
    device=$(device_of "$serial")
    members="$members $device"
done
# shellcheck disable=SC2086 # the members are words
mdadm --create /dev/md0 --run --assume-clean --level=5 --raid-devices=4 --metadata=1.2 $members
mkfs.ext4 -q /dev/md0
mkdir -p /srv/birdsong
mount /dev/md0 /srv/birdsong
dd if=/dev/urandom of=/srv/birdsong/wren.flac bs=1M count=8 conv=fsync 2>/dev/null

fan_chip
