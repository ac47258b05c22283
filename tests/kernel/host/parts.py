"""Gets what the guest is made of from Debian's packages, builds it once, and keeps it.

The stock kernel has no simulated GPIO chip, so `gpio-sim.c` and `irq_sim.c` of the same kernel's
source package are built into one module. They are under the GPL and are not part of this project:
they are fetched, built and kept outside of it.
"""

import hashlib
import lzma
import os
import platform
import re
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

TOOLS = {
    "qemu-system-x86_64": "qemu-system-x86",
    "busybox": "busybox-static",
    "cpio": "cpio",
    "xz": "xz-utils",
    "make": "make",
    "gcc-12": "gcc-12",
    "strip": "binutils",
}
"""Programs that are needed, and their packages."""

MODULES = (
    "virtio_ring",
    "virtio",
    "virtio_pci_modern_dev",
    "virtio_pci_legacy_dev",
    "virtio_pci",
    "netfs",
    "fscache",
    "9pnet",
    "9pnet_virtio",
    "9p",
    "overlay",
    "configfs",
    "i2c-dev",
    "i2c-stub",
    "fuse",
    "cuse",
)
"""Modules of the stock kernel, in the order in which they load."""

OPTIONS = {"i2c-stub": "chip_addr=0x6a,0x76"}
SOURCES = ("drivers/gpio/gpio-sim.c", "drivers/gpio/gpiolib.h", "kernel/irq/irq_sim.c")
PINS = "simpins"
"""Name of the module that is built here."""

RECIPE = 1
"""Counted up when the way of building changes, so that what was built before is left alone."""

APT_GET = ("apt-get", "-o", "Acquire::Retries=1", "-o", "Acquire::http::Timeout=20")

INIT = Path(__file__).resolve().parents[1] / "guest/init"
PROJECT = Path(__file__).resolve().parents[3] / "pyproject.toml"
PACKAGES_TIME_OUT_S = 600.0
"""Of one step: fetching packages, building."""


class CannotRunError(Exception):
    """Why the tests cannot run on this machine, in half a sentence."""


class Parts(NamedTuple):
    """What the virtual machine starts from."""

    folder: Path
    kernel: Path
    initrd: Path


def find_parts() -> Parts:
    """Kernel and initial files: from the cache, else built now.

    Raises:
        CannotRunError: something that is needed is not to be had.
    """
    system = _system()
    if os.uname().machine != "x86_64" or system != "debian 12" or not shutil.which("apt-get"):
        raise CannotRunError(
            f"they need Debian 12 on x86-64, and this is {system} on {os.uname().machine}"
        )
    _install([package for tool, package in TOOLS.items() if not shutil.which(tool)])
    folder = _cache()
    made_of = repr((RECIPE, MODULES, OPTIONS, SOURCES, INIT.read_text()))
    recipe = hashlib.sha256(made_of.encode()).hexdigest()[:12]
    built = sorted(folder.glob(f"kernel-*/{recipe}"))
    if not built:
        release, version = _kernel_release()
        built = [_build(folder / f"kernel-{release}-{version}", recipe, release, version)]
    return Parts(folder, built[-1] / "vmlinux", built[-1] / "initrd")


def pi_packages(folder: Path) -> Path:
    """A folder with what the project's extra `pi` names, which a test environment lacks.

    Raises:
        CannotRunError: it is not to be had.
    """
    project = tomllib.loads(PROJECT.read_text())["project"]
    wanted = project["optional-dependencies"]["pi"]
    key = hashlib.sha256("\n".join(wanted).encode()).hexdigest()[:12]
    packages = folder / f"pi-{sysconfig.get_config_var('SOABI')}-{key}"
    if not packages.is_dir():
        new = Path(tempfile.mkdtemp(dir=folder))
        pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps"]
        _run([*pip, "--only-binary", ":all:", "--target", str(new), *wanted], "the extra `pi`")
        new.chmod(0o755)
        new.rename(packages)
    return packages


def _system() -> str:
    try:
        release = platform.freedesktop_os_release()
    except OSError:
        return platform.system()
    return f"{release.get('ID')} {release.get('VERSION_ID', '')}".strip()


def _cache() -> Path:
    root = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    folder = Path(os.environ.get("RIG_KERNEL_CACHE") or Path(root) / "rig-kernel")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()
    except OSError as error:
        raise CannotRunError(f"{folder} cannot be written ({error.strerror})") from error
    return folder


def _install(packages: Sequence[str]) -> None:
    if not packages:
        return
    names = " ".join(packages)
    if os.geteuid() != 0:
        raise CannotRunError(f"missing programs: run `sudo apt-get install {names}`")
    command = [*APT_GET, "install", "-y", "-q", "--no-install-recommends", *packages]
    try:
        _run(command, names)
    except CannotRunError:
        _run([*APT_GET, "update", "-q"], "the list of packages")
        _run(command, names)


def _kernel_release() -> tuple[str, str]:
    """The stock kernel's release, such as 6.1.0-9-amd64, and its package's version."""
    for is_last in (False, True):
        shown = subprocess.run(
            ["apt-cache", "show", "linux-image-amd64"],  # noqa: S607 - Debian knows where
            capture_output=True,
            text=True,
            check=False,
        ).stdout
        depends = re.search(r"^Depends: linux-image-(6\.1\.\S+) \(= (\S+)\)", shown, re.MULTILINE)
        if depends:
            return depends[1], depends[2]
        if not is_last and os.geteuid() == 0:
            _run([*APT_GET, "update", "-q"], "the list of packages")
    raise CannotRunError("Debian 12's kernel package linux-image-amd64 (6.1) is not to be had")


def _build(folder: Path, recipe: str, release: str, version: str) -> Path:
    common = release.removesuffix("-amd64") + "-common"
    packages = [
        f"linux-image-{release}",
        f"linux-headers-{release}",
        f"linux-headers-{common}",
        "linux-kbuild-6.1",
        "linux-source-6.1",
    ]
    with tempfile.TemporaryDirectory(prefix="rig-kernel-build-") as name:
        work = Path(name)
        named = [f"{package}={version}" for package in packages]
        print(f"kernel tests: fetching Debian's kernel {release} (once)", flush=True)
        try:
            _run([*APT_GET, "download", "-q", *named], "the kernel's packages", work)
        except CannotRunError:
            if os.geteuid() == 0:
                _run([*APT_GET, "update", "-q"], "the list of packages")
            _run([*APT_GET, "download", "-q", *named], "the kernel's packages", work)
        debs = {deb.name.split("_")[0]: deb for deb in work.glob("*.deb")}
        size_mb = sum(deb.stat().st_size for deb in debs.values()) / 1e6
        print(f"kernel tests: {size_mb:.0f} MB fetched, building", flush=True)
        for package in packages[:-1]:
            _run(["dpkg", "-x", str(debs[package]), str(work / "root")], "dpkg")
        module = _build_pins(work, release, common, debs["linux-source-6.1"])
        out = work / "out"
        out.mkdir()
        (out / "vmlinux").write_bytes(_unpacked(work / f"root/boot/vmlinuz-{release}"))
        _pack_initrd(work, out / "initrd", work / f"root/lib/modules/{release}/kernel", module)
        folder.mkdir(parents=True, exist_ok=True)
        shutil.move(out, folder / recipe)
    return folder / recipe


def _build_pins(work: Path, release: str, common: str, source: Path) -> Path:
    """Build the simulated GPIO chip against the kernel's headers."""
    members = " ".join(f"linux-source-6.1/{name}" for name in SOURCES)
    take = (
        f"dpkg --fsys-tarfile {source} | tar -xOf - ./usr/src/linux-source-6.1.tar.xz"
        f" | xz -dc -T0 | tar -xf - {members}"
    )
    _run(["bash", "-o", "pipefail", "-c", take], "the kernel's source", work)
    module = work / "module"
    module.mkdir()
    for name in SOURCES:
        shutil.copy(work / "linux-source-6.1" / name, module)
    simulation = module / "irq_sim.c"
    text = simulation.read_text()
    # The first of these calls is not exported to modules; the second comes to the same.
    text = text.replace("irq_to_desc(irqnum)", "irq_data_to_desc(irq_get_irq_data(irqnum))")
    simulation.write_text("#include <linux/irqdomain.h>\n" + text)
    (module / "Makefile").write_text(f"obj-m := {PINS}.o\n{PINS}-objs := gpio-sim.o irq_sim.o\n")
    headers = work / f"root/usr/src/linux-headers-{release}"
    # The packaged one names the place where the packages would be installed.
    (headers / "Makefile").write_text(
        f"include $(dir $(lastword $(MAKEFILE_LIST)))../linux-headers-{common}/Makefile\n"
    )
    _run(["make", "-s", "-C", str(headers), f"M={module}", "modules"], "the build of gpio-sim")
    _run(["strip", "-g", str(module / f"{PINS}.ko")], "strip")
    return module / f"{PINS}.ko"


def _unpacked(image: Path) -> bytes:
    """The kernel itself, which starts faster than the file that unpacks itself."""
    data = image.read_bytes()
    return lzma.LZMADecompressor().decompress(data[data.index(b"\xfd7zXZ\0") :])


def _pack_initrd(work: Path, initrd: Path, modules: Path, pins: Path) -> None:
    tree = work / "initrd"
    for name in ("bin", "modules", "proc", "sys", "dev"):
        (tree / name).mkdir(parents=True)
    shutil.copy(shutil.which("busybox") or "", tree / "bin/busybox")
    shutil.copy(INIT, tree / "init")
    (tree / "init").chmod(0o755)
    found = {path.stem: path for path in modules.rglob("*.ko")}
    for path in (*(found[name] for name in MODULES), pins):
        shutil.copy(path, tree / "modules")
    lines = [f"{name} {OPTIONS.get(name, '')}".strip() for name in (*MODULES, PINS)]
    (tree / "modules/order").write_text("\n".join(lines) + "\n")
    with initrd.open("wb") as out:
        names = "\n".join(str(path.relative_to(tree)) for path in sorted(tree.rglob("*")))
        subprocess.run(
            ["cpio", "-o", "-H", "newc", "--quiet"],  # noqa: S607 - as installed above
            cwd=tree,
            input=names.encode(),
            stdout=out,
            check=True,
        )


def _run(command: Sequence[str], what: str, folder: Path | None = None) -> None:
    try:
        done = subprocess.run(
            command,
            cwd=folder,
            env={**os.environ, "DEBIAN_FRONTEND": "noninteractive"},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=PACKAGES_TIME_OUT_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise CannotRunError(f"{what}: not to be had ({error})") from error
    if done.returncode:
        last = (done.stderr.strip() or done.stdout.strip() or "no message").splitlines()[-1]
        raise CannotRunError(f"{what}: not to be had ({last})")
