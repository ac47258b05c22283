"""`rig gather`: slides of many rigs and studies in one dataset."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from rig.commands.options import Json, print_json, say

SHOWN = 10
"""Problems named at the end; all are in the dataset's problems.csv."""


def gather(
    sources: Annotated[
        list[str],
        typer.Argument(
            metavar="SOURCE...", help="Folders, studies, run files, or URLs (s3://, https://)."
        ),
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="DATASET", help="Folder of the dataset; may exist.")
    ],
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler", metavar="ADDRESS", help="Of a Dask cluster that reads the files."
        ),
    ] = None,
    with_names: Annotated[
        bool,
        typer.Option("--with-names", help="Keep names of readers and operators, and free text."),
    ] = False,
    reread: Annotated[
        bool, typer.Option("--reread", help="Read all files again, also unchanged ones.")
    ] = False,
    json: Json = False,
) -> None:
    """Gather run files and studies of many rigs into one Parquet dataset of slides.

    Only new files are read; corrections and treatments in a study's journal are applied as in its
    own table. People's names become tokens. Start it again whenever there is more, or if it was
    interrupted: nothing is lost or doubled.
    """
    from rig.gather.extra import needed

    for module in ("fsspec", "pyarrow.parquet"):
        needed(module)
    from rig.gather.run import gather as gather_into
    from rig.gather.run import here
    from rig.gather.tokens import Tokens, key_place, secret_key

    if not key_place().exists() and not with_names:
        say(
            f"People's names become tokens, made with a secret in {key_place()}. Keep it: with"
            " another one the same people get other tokens."
        )
    tokens = Tokens(secret_key(), with_names=with_names)
    cluster = None
    if scheduler is not None:
        from rig.gather.cluster import Cluster

        cluster = Cluster(scheduler)
    try:
        found = gather_into(
            sources,
            out,
            tokens,
            work=here if cluster is None else cluster.work,
            told=_Progress().told,
            reread=reread,
        )
    finally:
        if cluster is not None:
            cluster.close()
    for note in found.notes:
        say(note)
    for one in found.problems[:SHOWN]:
        say(f"{one.path}: {one.sentence}")
    if len(found.problems) > SHOWN:
        say(f"… and {len(found.problems) - SHOWN} more in {out / 'problems.csv'}.")
    if json:
        print_json(
            {
                "n_files": found.n_files,
                "n_read": found.n_read,
                "n_studies": found.n_studies,
                "n_slides": found.n_slides,
                "n_parts": found.n_parts,
                "n_left_out": sum(one.is_left_out for one in found.problems),
                "problems": [one._asdict() for one in found.problems],
                "notes": found.notes,
            }
        )
        return
    left_out = sum(one.is_left_out for one in found.problems)
    print(
        f"{out}: {found.n_slides} slides in {found.n_parts} parts. {found.n_files} run files in the"
        f" sources, {found.n_read} read now, {left_out} left out."
    )


class _Progress:
    """Says how far it is and how long it will take, every few seconds."""

    EVERY_S = 5.0

    def __init__(self) -> None:
        from time import monotonic

        self._now = monotonic
        self._started = self._last = monotonic()

    def told(self, done: int, total: int) -> None:
        """So many files of so many were read."""
        now = self._now()
        if done == 0 or now - self._last < self.EVERY_S:
            return
        self._last = now
        left_s = (now - self._started) / done * (total - done)
        line = f"{done} of {total} files read, {left_words(left_s)}"
        if sys.stderr.isatty():
            print(f"\r\x1b[K{line}", end="" if done < total else "\n", file=sys.stderr, flush=True)
        else:
            say(line)


def left_words(seconds: float) -> str:
    """About how long it still takes."""
    if seconds < 90.0:
        return f"about {max(1, round(seconds / 5.0)) * 5} s left"
    if seconds < 5400.0:
        return f"about {round(seconds / 60.0)} min left"
    return f"about {seconds / 3600.0:.1f} h left"
