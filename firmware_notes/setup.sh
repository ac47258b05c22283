#!/bin/sh
# From a fresh Raspberry Pi OS Lite (64 bit, trixie) to a rig that can check itself; run as root.
# usage: setup.sh FOLDER-OF-THE-SOURCE
set -eu
source=$(cd "${1:?give the folder of the source}" && pwd)
config=/boot/firmware/config.txt
rig=/opt/rig/bin/rig # by its path: /usr/local/bin may not be in PATH here

apt-get update
apt-get install -y --no-install-recommends python3-venv python3-dev gcc libc6-dev swig i2c-tools \
    systemd-timesyncd
if [ -f "$config" ] && ! grep -q '^# rig$' "$config"; then
    # [all] first: lines after another section, such as [cm5], are for that model alone
    cat >> "$config" <<'LINES'

[all]
# rig
dtparam=i2c_arm=on
dtparam=i2c_arm_baudrate=100000
dtparam=strict_gpiod
gpio=20=op,dl
LINES
fi
echo i2c-dev > /etc/modules-load.d/rig.conf
for group in gpio i2c; do getent group "$group" > /dev/null || groupadd --system "$group"; done
id rig > /dev/null 2>&1 || useradd --system --create-home --home-dir /var/lib/rig rig
usermod --append --groups gpio,i2c rig
mkdir -p /etc/rig /etc/security/limits.d
echo '@gpio - rtprio 60' > /etc/security/limits.d/rig.conf
python3 -m venv /opt/rig
PYPI=1 /opt/rig/bin/pip install --quiet "${source}[pi,panel]" # PYPI=1: lgpio brings its C library
ln -sf $rig /usr/local/bin/rig
[ -s /etc/rig/rig.toml ] || $rig settings > /etc/rig/rig.toml # -s: has something in it
chown -R rig: /etc/rig
cd /var/lib/rig
unit="$rig service --user rig --rig /etc/rig/rig.toml --out /var/lib/rig/runs"
$unit > /etc/systemd/system/rig.service
$unit --page > /etc/systemd/system/rig-page.service
# Runs wait until the clock is set, but no longer than two minutes: a rig may have no network.
wait=/etc/systemd/system/systemd-time-wait-sync.service.d
mkdir -p $wait
printf '[Service]\nTimeoutStartSec=120\n' > $wait/rig.conf
systemctl enable systemd-time-wait-sync
su rig -s /bin/sh -c "cd && $rig sizing && $rig check --twin"
echo "Restart now. Then edit /etc/rig/rig.toml and run: rig check --still"
