"""Many single changed bytes over all files of a study, in turn before each command that answers.

Run: python -m tests.bench.one_byte [--changes 500] [--seed 1] [--figures]
"""

import argparse
import shutil
import tempfile
from collections import Counter
from pathlib import Path

from tests.study.one_byte import COMMANDS, ask, changes, check, make


def main() -> None:
    """Count what came of them; what should not be is printed, and makes the exit code 1."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--changes", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--figures", action="store_true", help="draw those of the report, too")
    given = parser.parse_args()
    came: Counter[str] = Counter()
    files: Counter[str] = Counter()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as place:
        whole = make(Path(place) / "whole" / "s").path
        copy = Path(shutil.copytree(whole, Path(place) / "copy" / "s"))
        before = {name: ask(name, copy, with_figures=given.figures) for name in COMMANDS}
        for command, name, byte in changes(whole, copy, given.changes, given.seed):
            files[name.suffix] += 1
            try:
                answer = ask(command, copy, with_figures=given.figures)
                check(before[command], answer, name, byte)
            except Exception as error:
                came["wrong"] += 1
                wrong.append(f"{command}: byte {byte} of {name}: {error!r}")
                continue
            if answer.code:
                came["refused with a sentence"] += 1
            elif answer.words != before[command].words:
                came["answered, with a sentence about it"] += 1
            elif answer.out != before[command].out:
                came["answered otherwise (a file without checksum)"] += 1
            else:
                came["answered as before"] += 1
    print(f"{given.changes} changes, seed {given.seed}, files: {dict(files)}")
    for what, count in came.most_common():
        print(f"{count:5d} {what}")
    print("\n".join(wrong))
    raise SystemExit(bool(wrong))


if __name__ == "__main__":
    main()
