#!/bin/sh
# Plugs in the panel, on /dev/i2c-9. Runs in the guest.

set -eu

modprobe cuse
setsid pretend-i2c i2c-9 /lab/panel >/lab/pretend-i2c.log 2>&1 </dev/null &
for _ in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20; do
    [ -c /dev/i2c-9 ] && exit 0
    sleep 0.5
done
echo "no /dev/i2c-9 after 10 s: $(cat /lab/pretend-i2c.log)" >&2
exit 1
