#!/bin/sh
# Makes a RAID 5 of the four trays, with nothing on it that would write by itself. Runs in the guest, after devices.sh. The
# drives are empty, so that all redundancy is right from the start: hence --assume-clean.

set -eu

modprobe -a ahci sd_mod raid456

members=
for serial in TRAY-A TRAY-B TRAY-C TRAY-D; do
    device=$(device_of "$serial")
    members="$members $device"
done
# shellcheck disable=SC2086 # the members are words
mdadm --create /dev/md0 --run --assume-clean --level=5 --layout=left-symmetric --chunk=512 --raid-devices=4 --metadata=1.2 \
    $members
