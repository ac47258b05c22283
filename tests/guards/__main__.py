"""`python -m tests.guards`: weaken each guard in turn and see its tests die.

Exit code 0: all killed; 1: something survived, or a test failed without any weakening.
"""

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from tests.guards import mutations, seen
from tests.guards.entry import ROOT, Guard
from tests.guards.runner import Copy, Ran, each
from tests.guards.syntax import GoneError
from tests.guards.tables import ENTRIES

LIMIT_S = 90.0


class Verdict(NamedTuple):
    """What became of one entry."""

    guard: Guard
    word: str
    """"killed", "survived", "broken" or "not tried"."""
    why: str = ""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run it; returns the exit code."""
    asked = _parser().parse_args(arguments)
    if asked.random:
        return mutations.main(asked.random, asked.seed, asked.workers, asked.package, asked.map)
    entries = [one for one in ENTRIES if asked.package in (None, one.package)]
    entries = [one for one in entries if asked.only in str(one)]
    begun_s = time.monotonic()
    chosen = _chosen(entries, asked)
    print(f"{len(chosen)} of {len(ENTRIES)} guards")
    if not chosen:
        return 0
    if not asked.no_baseline and not _sound(chosen):
        return 1
    counts: Counter[tuple[str, str]] = Counter()
    bad: list[Verdict] = []

    def work(copy: Copy, guard: Guard) -> Verdict:
        if time.monotonic() - begun_s > asked.seconds:
            return Verdict(guard, "not tried")
        return _weaken(copy, guard)

    for verdict in each(work, chosen, asked.workers):
        guard, word = verdict.guard, verdict.word
        counts[guard.package, word] += 1
        if word == "not tried":
            continue
        if word != "killed":
            bad.append(verdict)
            print(f"{word}: {guard}\n  {verdict.why}", flush=True)
        elif asked.verbose:
            print(f"killed: {guard}", flush=True)
        seen.note(guard, killed=word == "killed")
    _print_table(counts, time.monotonic() - begun_s)
    return 1 if bad else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.guards", description=__doc__)
    parser.add_argument("--package", help="only guards of this folder of rig")
    parser.add_argument("--only", default="", metavar="TEXT", help="only entries with this text")
    parser.add_argument("--changed", action="store_true", help="changed since last seen killed")
    parser.add_argument("--sample", type=int, metavar="N", help="this many, drawn at random")
    parser.add_argument(
        "--seconds", type=float, default=float("inf"), metavar="S", help="begin none after this"
    )
    parser.add_argument("--random", type=int, metavar="N", help="random mutations beside the table")
    parser.add_argument("--map", action="store_true", help="with --random: map the tests again")
    parser.add_argument("--seed", type=int, help="of the draw (default: another one each time)")
    parser.add_argument("--workers", type=int, default=2, metavar="N", help="copies side by side")
    parser.add_argument("--no-baseline", action="store_true", help="trust that the tests pass")
    parser.add_argument("-v", "--verbose", action="store_true", help="name what was killed, too")
    return parser


def _chosen(entries: list[Guard], asked: argparse.Namespace) -> list[Guard]:
    """What was asked for: the changed ones, and a sample of the rest."""
    if not asked.changed and asked.sample is None:
        return entries
    changed = [one for one in entries if asked.changed and not seen.is_known(one)]
    rest = [one for one in entries if one not in changed]
    seed = asked.seed if asked.seed is not None else random.SystemRandom().randrange(10**6)
    if asked.sample:
        print(f"sample by seed {seed}")
        rest = random.Random(seed).sample(rest, min(asked.sample, len(rest)))
    else:
        rest = []
    return changed + rest


def _sound(chosen: list[Guard]) -> bool:
    """Whether the tests named pass without any weakening."""
    tests = sorted({test for one in chosen for test in one.tests})
    halves = [half for half in (tests[::2], tests[1::2]) if half]

    def run(copy: Copy, half: list[str]) -> tuple[Ran, str]:
        ran = copy.run(half, 900.0)
        return ran, copy.last_log

    sound = True
    for ran, log in each(run, halves, len(halves)):
        if ran.code != 0:
            sound = False
            print(f"These fail without any weakening: {ran.failed or log[-2000:]}")
    return sound


def _weaken(copy: Copy, guard: Guard) -> Verdict:
    try:
        weakened = guard.weakened(ROOT)
    except (GoneError, SyntaxError, OSError) as error:
        return Verdict(guard, "broken", f"{type(error).__name__}: {error}")
    with copy.changed(Path(guard.path), weakened):
        ran = copy.run(guard.tests, LIMIT_S)
    if ran.killed(guard.tests):
        return Verdict(guard, "killed")
    if ran.code not in (0, 1):
        return Verdict(guard, "broken", copy.last_log[-1500:])
    alive = [test for test in guard.tests if not ran._replace(code=1).killed([test])]
    return Verdict(guard, "survived", f"passed all the same: {', '.join(alive)}")


def _print_table(counts: Counter[tuple[str, str]], seconds: float) -> None:
    words = ("killed", "survived", "broken", "not tried")
    print(f"\n{'package':<14}" + "".join(f"{word:>11}" for word in words))
    for package in sorted({package for package, _ in counts}):
        print(f"{package:<14}" + "".join(f"{counts[package, word]:>11}" for word in words))
    total = [sum(counts[key] for key in counts if key[1] == word) for word in words]
    print(f"{'all':<14}" + "".join(f"{number:>11}" for number in total) + f"   in {seconds:.0f} s")


if __name__ == "__main__":
    sys.exit(main())
