#!/bin/sh
# First program of the guest, from its small initramfs. Makes the guest's root: the host's root folder, read-only, with a
# memory overlay on it, and with the modules of the guest's own kernel. What then happens there is guest.sh's job.

export PATH=/bin

die() {
    echo "lab: init: $1" >/dev/console
    exit 1
}

share() {
    mount -t 9p -o "trans=virtio,version=9p2000.L,msize=512000,$3" "$1" "$2" || die "the share $1 cannot be mounted"
}

mount -t proc proc /proc
mount -t sysfs sysfs /sys
mount -t devtmpfs dev /dev

# One path a line, each after those it needs.
while read -r module; do
    insmod "$module" || die "the module $module cannot be loaded"
done </modules.order

mkdir -p /host /memory /root
# The host's files do not change under the guest, so they may be kept in memory; the other shares change.
share host /host ro,cache=loose
mount -t tmpfs memory /memory
mkdir /memory/upper /memory/work
mount -t overlay -o lowerdir=/host,upperdir=/memory/upper,workdir=/memory/work overlay /root || die "no overlay"

mkdir -p /root/proc /root/sys /root/dev /root/run /root/tmp /root/lab /root/lib/modules
mount -t tmpfs run /root/run
mount -t tmpfs tmp /root/tmp
share modules /root/lib/modules ro,cache=loose
share lab /root/lab rw,cache=none
mount --move /proc /root/proc
mount --move /sys /root/sys
mount --move /dev /root/dev

exec switch_root /root /bin/sh /lab/guest.sh
