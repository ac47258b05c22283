"""Starts the virtual machine: the host's files read-only under a layer of memory, no network."""

import os
import shlex
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

from parts import Parts

TIME_OUT_S = 3000.0
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
    """
    exports = [f"export {name}={shlex.quote(value)}" for name, value in environment.items()]
    (share / "command").write_text("\n".join([*exports, f"exec {shlex.join(command)}", ""]))
    try:
        subprocess.run(
            _qemu(parts, share), check=False, stdin=subprocess.DEVNULL, timeout=TIME_OUT_S
        )
    except subprocess.TimeoutExpired:
        print(f"kernel tests: the guest did not end within {TIME_OUT_S:.0f} s", flush=True)
        return 1
    code = share / "code"
    if code.exists():
        return int(code.read_text())
    console = (share / "console").read_text(errors="replace").strip()
    print(f"kernel tests: the guest ended before its command did; its console:\n{console}")
    return 1


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
