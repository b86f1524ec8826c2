#!/bin/sh
# Makes four volumes: one that can be made to fail, one to fill, one that can be made to hang (not mounted yet), and one
# that only /etc/fstab knows of. Runs in the guest, after devices.sh.

set -eu

modprobe -a ahci virtio_scsi sd_mod ext4 vfat nls_cp437 nls_ascii nls_utf8 dm_mod

mapped() {
    sectors=$(blockdev --getsz "$2")
    echo "0 $sectors linear $2 0" | dmsetup create "$1"
}

device=$(device_of NEST-1)
mapped wren "$device"
mkfs.ext4 -q /dev/mapper/wren
mkdir -p /srv/wren
mount -o errors=remount-ro /dev/mapper/wren /srv/wren

device=$(device_of NEST-2)
mkfs.ext4 -q "$device"
mkdir -p /srv/robin
mount "$device" /srv/robin

device=$(device_of NEST-3)
mapped swift "$device"
mkfs.vfat /dev/mapper/swift >/dev/null
mkdir -p /srv/swift

device=$(device_of NEST-4)
mkfs.ext4 -q "$device"
mkdir -p /srv/lark
echo "$device /srv/lark ext4 defaults 0 2" >/etc/fstab
