#!/bin/bash
# A machine of its own in the folder ROOT: its service manager is the first process of new namespaces, as on a real one.
# usage: unshare --pid --mount --uts --ipc --cgroup --fork --kill-child --propagation private machine.sh ROOT
set -e
root=$1
mount --bind "$root" "$root"
mount -t proc proc "$root/proc"
mount -t sysfs sysfs "$root/sys"
mount -t cgroup2 cgroup2 "$root/sys/fs/cgroup"
mount -t tmpfs -o mode=755 tmpfs "$root/run"
mount -t tmpfs -o mode=755 tmpfs "$root/dev"
for device in null zero random urandom full tty; do cp -a "/dev/$device" "$root/dev/"; done
mkdir -p "$root/dev/shm" "$root/dev/pts" "$root/dev/mqueue" "$root/mnt/old"
mount -t devpts -o newinstance,ptmxmode=0666 devpts "$root/dev/pts"
ln -s pts/ptmx "$root/dev/ptmx"
ln -s /proc/self/fd "$root/dev/fd"
cd "$root"
pivot_root . mnt/old
umount -l /mnt/old
exec /usr/bin/env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin container=other \
  /lib/systemd/systemd --system --unit=multi-user.target </dev/null >/dev/null 2>&1
