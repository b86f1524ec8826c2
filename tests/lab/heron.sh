#!/bin/sh
# Fits out the box heron: the pool of its four trays with a volume on it, and a fan chip.
# Runs in the guest, after devices.sh; says what went wrong and ends at the first mistake.

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

# Registers of the ADT7475: identity 3Dh to 3Fh; tachometer 1 in 28h (low) and 29h, in periods of 90 kHz a turn,
# here 0F00h = 3840, which is 90000 * 60 / 3840 = 1406 turns a minute; FFFFh, no turns, on the other three;
# temperatures 25h to 27h, offset by 64, here 99 for 35 degrees.
bus=$(grep -l 'SMBus stub' /sys/bus/i2c/devices/i2c-*/name)
bus=${bus%/name}
bus=${bus##*-}
for pair in 0x3d=0x75 0x3e=0x41 0x3f=0x69 0x28=0x00 0x29=0x0f \
    0x2a=0xff 0x2b=0xff 0x2c=0xff 0x2d=0xff 0x2e=0xff 0x2f=0xff \
    0x25=99 0x26=99 0x27=99; do
    i2cset -y "$bus" 0x2e "${pair%=*}" "${pair#*=}"
done
echo adt7475 0x2e >"/sys/bus/i2c/devices/i2c-$bus/new_device"
