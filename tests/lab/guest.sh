#!/bin/sh
# Second program of the guest, in its full root: starts what a box has running, then runs what the lab asks for.
#
# The lab leaves a command in /lab/cmd/N (1, 2, 3 ...). Its words go to /lab/out/N, its exit code to /lab/rc/N, which
# appears last and whole. The whole kernel log goes to the console, which the lab keeps.

export PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin HOME=/root LC_ALL=C.UTF-8

mkdir -p /dev/pts /dev/shm
mount -t devpts devpts /dev/pts
mount -t tmpfs shm /dev/shm
ip link set lo up 2>/dev/null || busybox ip link set lo up
hostname heron

if [ -x /lib/systemd/systemd-udevd ]; then
    /lib/systemd/systemd-udevd --daemon
    udevadm trigger --type=subsystems
    udevadm trigger --type=devices
    udevadm settle --timeout=60
    echo yes >/lab/udev
else
    echo no >/lab/udev
fi

echo ready >/lab/ready.part
mv /lab/ready.part /lab/ready

n=1
while :; do
    if [ -e "/lab/cmd/$n" ]; then
        sh "/lab/cmd/$n" >"/lab/out/$n" 2>&1 </dev/null
        echo $? >"/lab/rc/$n.part"
        mv "/lab/rc/$n.part" "/lab/rc/$n"
        n=$((n + 1))
    else
        sleep 0.1
    fi
done
