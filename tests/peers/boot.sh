#!/bin/sh
# Start systemd as the first process of namespaces of its own, or (`forget`) remove its control groups afterwards.
#
# Its root is the tree of this machine, with all that is written kept in memory, and without the units of this machine.
# From the environment: FOLDER, of the test; GROUP, a name for a control group; CHECKOUT, PYTHON and PACKAGES, folders.
set -eu

case $1 in
boot | forget) # in a mount namespace of its own
    mount -t cgroup2 cgroup2 "$FOLDER/groups"
    if [ "$1" = forget ]; then
        exec find "$FOLDER/groups/$GROUP" -depth -type d -exec rmdir {} +
    fi
    mkdir "$FOLDER/groups/$GROUP"
    echo $$ >"$FOLDER/groups/$GROUP/cgroup.procs"
    exec unshare --pid --mount --net --uts --ipc --cgroup --fork sh "$0" become
    ;;
esac

mount -t tmpfs tmpfs "$FOLDER/root"
cd "$FOLDER/root"
mkdir written work new
mount -t overlay overlay -o lowerdir=/,upperdir=written,workdir=work new
cd new

mount -t proc proc proc
mount -t sysfs -o ro sysfs sys
mount -t tmpfs tmpfs sys/fs
mkdir sys/fs/cgroup
mount -t cgroup2 cgroup2 sys/fs/cgroup
mount -t tmpfs -o mode=755 tmpfs run
mount -t tmpfs -o mode=1777 tmpfs tmp
mount -t tmpfs -o mode=755 tmpfs dev
for device in null:3 zero:5 full:7 random:8 urandom:9; do
    mknod -m 666 "dev/${device%:*}" c 1 "${device#*:}"
done
mknod -m 666 dev/tty c 5 0
mkdir dev/pts dev/shm
mount -t devpts -o newinstance,ptmxmode=666 devpts dev/pts
mount -t tmpfs -o mode=1777 tmpfs dev/shm
ln -s pts/ptmx dev/ptmx
ln -s /proc/self/fd dev/fd

# Nothing of this machine is started: its own units, and what every boot wants of real hardware.
units=lib/systemd/system
rm -rf etc/systemd/system etc/fstab $units/sysinit.target.wants $units/sockets.target.wants
mkdir -p etc/systemd/system $units/sockets.target.wants etc/pattress opt/pattress/bin trial
ln -s ../systemd-journald.socket $units/sockets.target.wants/
: >etc/fstab
tr -d - </proc/sys/kernel/random/uuid >etc/machine-id

# The program, where the unit expects it, with the Python that runs the tests: moved, as that may be in a home folder.
mkdir opt/pattress/checkout opt/pattress/python opt/pattress/packages
mount --bind "$CHECKOUT" opt/pattress/checkout
mount --bind "$PYTHON" opt/pattress/python
mount --bind "$PACKAGES" opt/pattress/packages
mount --bind "$FOLDER/trial" trial
cat >opt/pattress/bin/python <<'END'
#!/bin/sh
export PYTHONPATH=/opt/pattress/checkout/src:/opt/pattress/packages PYTHONDONTWRITEBYTECODE=1
export LD_LIBRARY_PATH=/opt/pattress/python/lib
exec /opt/pattress/python/bin/python3 -s "$@"
END
cat >opt/pattress/bin/pattress <<'END'
#!/bin/sh
exec /opt/pattress/bin/python -m pattress "$@"
END
chmod 755 opt/pattress/bin/*
cp trial/*.service etc/systemd/system/

ip link set lo up
mkdir old
pivot_root . old
umount -l /old
mount --make-rshared / # credentials reach a service by propagation
exec env -i container=pattress-test NOTIFY_SOCKET=/trial/ready PATH=/usr/sbin:/usr/bin:/sbin:/bin \
    /lib/systemd/systemd --system --unit=basic.target --show-status=0 </dev/null
