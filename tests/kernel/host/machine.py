"""Starts the virtual machine: the host's files read-only under a layer of memory, no network."""

import os
import select
import shlex
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from parts import CannotRunError, Parts

LIMIT_S = float(os.environ.get("RIG_KERNEL_LIMIT_S", "3600"))
"""Of the host's time; a busy host may need more, which is no fault of what is tested."""

ENOUGH_S = 900.0
"""Of the guest's own time; whoever had that much and has not ended hangs."""

MEMORY_MB = 2048


def run_in_guest(
    parts: Parts, share: Path, command: Sequence[str], environment: Mapping[str, str]
) -> int:
    """Run a command in the guest, its output to our stdout; returns its exit code.

    Args:
        parts: kernel and initial files.
        share: folder of the host that the guest sees as /share and may write.
        command: what to run there; all paths of the host exist in the guest.
        environment: set for it.

    Raises:
        CannotRunError: the machine does not start, or time ran out before any test had failed.
    """
    exports = [f"export {name}={shlex.quote(value)}" for name, value in environment.items()]
    (share / "command").write_text("\n".join([*exports, f"exec {shlex.join(command)}", ""]))
    errors = share / "errors"
    with errors.open("wb") as told:
        guest = subprocess.Popen(
            _qemu(parts, share), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=told
        )
        try:
            said, end = _follow(guest)
        finally:
            guest.kill()
            guest.wait()
    code = share / "code"
    if code.exists():
        return int(code.read_text())
    alive = share / "alive"
    lived_s = float(alive.read_text() or 0) if alive.exists() else 0.0
    failed = b"FAILED" in said or b"ERROR" in said
    if end == "late" and lived_s < ENOUGH_S and not failed:
        passed = said.count(b"PASSED")
        raise CannotRunError(
            f"this machine is too slow: in {LIMIT_S:.0f} s the guest lived for {lived_s:.0f} s;"
            f" {passed} tests passed, none failed"
        )
    if not said and end == "ended" and errors.read_text().strip():
        last = errors.read_text(errors="replace").strip().splitlines()[-1]
        raise CannotRunError(f"the virtual machine does not start ({last})")
    console = (share / "console").read_text(errors="replace").strip()
    reason = {
        "late": f"did not end within {LIMIT_S:.0f} s, {lived_s:.0f} s of its own",
        "ended": "ended before its command did",
    }[end]
    print(f"kernel tests: the guest {reason}; its console:\n{console}", flush=True)
    return 1


def _follow(guest: "subprocess.Popen[bytes]") -> tuple[bytes, str]:
    """Hand on what the guest says; returns it, and how it came to an end."""
    assert guest.stdout is not None
    said = b""
    deadline_s = time.monotonic() + LIMIT_S
    while True:
        if time.monotonic() > deadline_s:
            return said, "late"
        if select.select([guest.stdout], [], [], 1.0)[0]:
            data = os.read(guest.stdout.fileno(), 65536)
            if not data:
                return said, "ended"
            said += data
            sys.stdout.buffer.write(data)
            sys.stdout.flush()


def _qemu(parts: Parts, share: Path) -> list[str]:
    line = "console=ttyS0 quiet panic=-1 mitigations=off random.trust_cpu=on"
    command = ["qemu-system-x86_64", "-nodefaults", "-no-reboot", "-display", "none"]
    command += ["-machine", "pc", "-m", str(MEMORY_MB), *_acceleration()]
    command += ["-kernel", str(parts.kernel), "-initrd", str(parts.initrd), "-append", line]
    command += ["-serial", f"file:{share}/console", "-serial", "stdio"]
    for name, path, options in (
        ("host", "/", ",readonly=on,multidevs=remap"),
        ("share", str(share), ""),
    ):
        command += ["-fsdev", f"local,id={name},path={path},security_model=none{options}"]
        command += ["-device", f"virtio-9p-pci,fsdev={name},mount_tag={name}"]
    return command


def _acceleration() -> list[str]:
    """Emulation whose clock counts instructions, 2 ns each, so that a busy host delays nothing.

    While the guest has nothing to do its clock goes like the host's. A KVM node that exists may
    still not work, so it is used on request only.
    """
    if os.environ.get("RIG_KERNEL_KVM"):
        return ["-accel", "kvm", "-cpu", "host", "-smp", "2"]
    return ["-accel", "tcg", "-icount", "shift=1,sleep=on", "-cpu", "max"]
