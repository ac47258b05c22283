#!/usr/bin/env python3
"""Versions of the packages that rig uses: `renew` the tested ones, try the `lowest` ones.

Both use uv in a virtual environment that is removed afterwards; it finds packages where pip does.
"""

import argparse
import ast
import datetime
import os
import platform
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
CONSTRAINTS = Path(__file__).with_name("constraints.txt")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
COMPILED = ("matplotlib", "msgspec", "numpy", "pyarrow", "scipy")
"""Taken as wheels only: this Python may be newer than the lowest version that is allowed."""

UV_SETTINGS = {
    "index-url": ("UV_DEFAULT_INDEX", " "),
    "extra-index-url": ("UV_INDEX", " "),
    "find-links": ("UV_FIND_LINKS", ","),
    "trusted-host": ("UV_INSECURE_HOST", " "),
    "cert": ("SSL_CERT_FILE", " "),
}
"""A setting of pip: uv's variable for it, and what separates several values there."""


def uv_variables(pip_config: str) -> dict[str, str]:
    """Translate what `pip config list` prints; uv reads none of pip's settings."""
    # Pip takes the best version of all indexes, uv by default that of the first which has any.
    found = {"UV_INDEX_STRATEGY": "unsafe-best-match", "UV_PYTHON_DOWNLOADS": "never"}
    # Sorted so that pip's variables come last, for they win over its files.
    for line in sorted(pip_config.splitlines(), key=lambda line: line.startswith(":env:")):
        key, _, value = line.partition("=")
        if known := UV_SETTINGS.get(key.rpartition(".")[2]):
            variable, separator = known
            found[variable] = separator.join(ast.literal_eval(value).split())
    return found


def name_of(requirement: str) -> str:
    """The name of a package in the spelling of the constraints."""
    return re.sub(r"[-_.]+", "-", re.split(r"[^\w.-]", requirement)[0]).lower()


def direct_names() -> set[str]:
    """Names of all packages that pyproject.toml asks for itself."""
    extras = PROJECT["project"]["optional-dependencies"].values()
    asked = [*PROJECT["project"]["dependencies"], *(each for extra in extras for each in extra)]
    return {name_of(each) for each in asked}


def run(*words: str | Path, **options: Any) -> str:
    """Run one of these commands in the project's folder; leave with its exit code if it fails."""
    done = subprocess.run(words, cwd=ROOT, text=True, check=False, **options)  # noqa: S603
    if done.returncode:
        sys.exit(done.returncode)
    return str(done.stdout)


def renew(folder: Path, python: Path) -> None:
    """Write the newest versions that go together, on any platform and from the lowest Python on."""
    tools, found = folder / "tools.in", folder / "found.txt"
    tools.write_text("\n".join([*PROJECT["build-system"]["requires"], "uv"]))
    lowest_python = PROJECT["project"]["requires-python"].removeprefix(">=")
    run(
        *(python.with_name("uv"), "pip", "compile", "-q", "--universal", "--all-extras"),
        *("--python", python, "--python-version", lowest_python, "--fork-strategy", "fewest"),
        *("--no-header", "--no-annotate", "pyproject.toml", tools, "-o", found),
    )
    made = f"{datetime.date.today()} with Python {platform.python_version()}"
    command = f"python3 .ci/{Path(__file__).name} renew"
    CONSTRAINTS.write_text(f"# Versions tested, made {made} by `{command}`.\n{found.read_text()}")


def try_lowest(folder: Path, python: Path) -> None:
    """Install the lowest direct versions, all else as tested, and make the smoke test."""
    pins = CONSTRAINTS.read_text().splitlines()
    others = folder / "others.txt"
    others.write_text("\n".join(pin for pin in pins if name_of(pin) not in direct_names()))
    run(
        *(python.with_name("uv"), "pip", "install", "-q", "--python", python),
        *("--resolution", "lowest-direct", "-c", others, "-b", CONSTRAINTS),
        *(f"--only-binary={name}" for name in COMPILED),
        *("--refresh-package", "rig", ".[panel,export,many]"),
    )
    run(python, "tests/versions/smoke.py")


def main() -> None:
    """Do what is asked in a virtual environment that holds uv."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["renew", "lowest"])
    what = parser.parse_args().what
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        python = folder / "bin" / "python"
        run(sys.executable, "-m", "venv", folder)
        pinned = () if what == "renew" else ("-c", CONSTRAINTS)
        run(python, "-m", "pip", "install", "-q", *pinned, "uv")
        config = run(python, "-m", "pip", "config", "list", stdout=subprocess.PIPE)
        os.environ |= uv_variables(config) | os.environ
        (renew if what == "renew" else try_lowest)(folder, python)


if __name__ == "__main__":
    main()
