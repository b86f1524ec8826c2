#!/bin/sh
# Makes two pools of btrfs: a mirror, and one with little room for metadata. Runs in the guest, after devices.sh.

set -eu

modprobe -a ahci virtio_scsi sd_mod btrfs

pool() {
    label=$1
    one=$(device_of "$2")
    other=$(device_of "$3")
    shift 3
    mkfs.btrfs -q -L "$label" "$@" "$one" "$other"
    btrfs device scan "$one" "$other" >/dev/null
    mkdir -p "/srv/$label"
    mount "$one" "/srv/$label"
}

pool mirror EGG-1 EGG-2 -d raid1 -m raid1
# Small nodes: the kernel then keeps less of the metadata back for itself, so that it can be filled further.
pool notes EGG-3 EGG-4 -d single -m raid1 -n 4096
