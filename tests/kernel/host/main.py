"""Runs the kernel tests, or says in one line why they cannot run here."""

import os
import sys
import tempfile
from pathlib import Path

from machine import run_in_guest
from parts import CannotRunError, find_parts, pi_packages

REPO = Path(__file__).resolve().parents[3]


def main() -> int:
    """Returns the exit code: pytest's in the guest, or 0 when the tests were skipped."""
    try:
        parts = find_parts()
        packages = pi_packages(parts.folder)
        with tempfile.TemporaryDirectory(prefix="rig-kernel-") as share:
            return run_in_guest(
                parts,
                Path(share),
                ["/bin/bash", str(REPO / "tests/kernel/guest/start"), *sys.argv[1:]],
                {
                    "RIG_PYTHON": os.path.abspath(sys.executable),
                    "PYTHONPATH": f"{REPO}:{packages}",
                    "RIG_REPO": str(REPO),
                    "RIG_PACKAGES": str(packages),
                },
            )
    except CannotRunError as reason:
        print(f"kernel tests skipped: {reason}", flush=True)
        return 1 if os.environ.get("RIG_KERNEL") == "must" else 0


if __name__ == "__main__":
    sys.exit(main())
