"""Makes a plan: blocked by climate, balanced, seeded, with references, controls and wipes.

The order of the units (bag faces) within a session follows a Williams square (E. J. Williams, Aust.
J. Sci. Res. A 2, 149, 1949): over as many sessions as there are units (twice as many for an odd
number) each unit takes each place equally often, and follows each other unit equally often.
"""

import random
from collections.abc import Iterator, Sequence

import msgspec

from rig.errors import BadInputError
from rig.study.folder.catalogue import BASELINE
from rig.study.folder.study import Study
from rig.study.plan.rows import PlanRow

Unit = tuple[str, str]
"""Bag and face."""


def williams_row(n: int, k: int) -> list[int]:
    """The k-th order (k from 0 on) of n units, as places in 0…n−1; see the module's text."""
    zigzag = [(i + 1) // 2 if i % 2 else (n - i // 2) % n for i in range(n)]
    order = [(place + k) % n for place in zigzag]
    return order[::-1] if n % 2 and (k // n) % 2 else order


def make_plan(
    study: Study, number: int = 1, done: Sequence[PlanRow] = (), stage_from: int = 0
) -> list[PlanRow]:
    """The rows of a new plan.

    Args:
        study: with bags, boards, climates and preferences.
        number: of the plan in this study; it begins the names of rows and sessions.
        done: rows of the plan so far; its blocks (stage and climate) and treatments are not
            planned again, and the numbers go on from there.
        stage_from: stages before this one (0 is the baseline) can't be measured any more.

    Raises:
        BadInputError: something that a sound plan needs is missing; the sentence says what.
    """
    _check(study)
    return list(_Maker(study, number, done).rows(stage_from))


def _check(study: Study) -> None:
    catalogue, preferences = study.catalogue, study.catalogue.preferences
    if not catalogue.boards:
        raise BadInputError("There are no boards to plan with; add one with `rig study board`.")
    treated, controls = catalogue.with_role("treated"), catalogue.with_role("control")
    if not treated and not controls:
        raise BadInputError("There are no bags to measure; add them with `rig study bag`.")
    if preferences.reference_runs and catalogue.reference is None:
        raise BadInputError(
            "There is no reference bag to watch the board; add one with `rig study bag STUDY NAME"
            " --role reference`. To do without (residue on the board then stays unseen), plan with"
            " `rig study plan STUDY --hours H --without-reference`, or set `reference_runs = 0` in"
            " study.toml."
        )
    if not treated or not preferences.stages_after_baseline:
        return
    if len(controls) < preferences.min_controls:
        raise BadInputError(
            f"There {'is' if len(controls) == 1 else 'are'} {len(controls)} untreated control"
            f" {'bag' if len(controls) == 1 else 'bags'} and"
            f" {preferences.min_controls} are wanted, for measuring wears bags and only controls"
            " show by how much; add them with `rig study bag NAME --role control`, or lower"
            " `min_controls` in study.toml."
        )
    aimless = [name for name in treated if catalogue.bags[name].treatment is None]
    if aimless:
        raise BadInputError(
            f'{aimless[0]} is to be treated but names no treatment; give [bags."{aimless[0]}"] a'
            " `treatment` in study.toml, or make it a control there."
        )


class _Maker:
    def __init__(self, study: Study, number: int, done: Sequence[PlanRow]) -> None:
        self._study = study
        self._catalogue = study.catalogue
        self._preferences = study.catalogue.preferences
        self._number = number
        self._done = done
        self._rows = len(done)
        self._sessions = len({row.session for row in done if row.session})
        self._first_turn = self._sessions
        self._random = random.Random(f"{self._preferences.seed}/{number}")
        self._checked = {self._kind(row) for row in done if row.action == "check"}
        self._rounds: dict[tuple[str, str], int] = {}
        self._orders: dict[tuple[str, str], list[Unit]] = {}

    def rows(self, stage_from: int) -> Iterator[PlanRow]:
        blocks = {(row.stage, row.climate) for row in self._done if row.is_series}
        treated = {(row.stage, row.bag) for row in self._done if row.action == "treat"}
        for stage in self._catalogue.stages[stage_from:]:
            if stage != BASELINE:
                for bag in self._catalogue.with_role("treated"):
                    if (stage, bag) not in treated:
                        recipe = self._catalogue.bags[bag].treatment or ""
                        yield self._named(
                            PlanRow(row="", stage=stage, action="treat", bag=bag, treatment=recipe)
                        )
            for climate in self._climates():
                if (stage, climate) not in blocks:
                    for _ in range(self._preferences.sessions_per_climate):
                        yield from self._session(stage, climate)

    def _climates(self) -> list[str]:
        """Today's air first, for it can be measured at once; the others in a drawn order."""
        names = list(self._catalogue.airs)
        self._random.shuffle(names)
        return sorted(names, key=lambda name: not self._catalogue.airs[name].is_todays_air)

    def _session(self, stage: str, climate: str) -> Iterator[PlanRow]:
        self._sessions += 1
        blank = PlanRow(
            row="",
            session=f"{self._number}-s{self._sessions:02d}",
            climate=climate,
            stage=stage,
            action="run",
        )
        boards = list(self._catalogue.boards)
        self._random.shuffle(boards)
        for board in boards:
            steps = list(self._on_board(msgspec.structs.replace(blank, board=board)))
            yield from map(self._named, steps)

    def _on_board(self, blank: PlanRow) -> Iterator[PlanRow]:
        fresh, treated = self._units(blank.stage)
        last: PlanRow | None = None
        for row in self._watch(blank, "start of session"):
            yield row
        for _ in range(self._preferences.series_per_session):
            for bag, face in self._ordered(blank.board, "untreated", fresh):
                yield (last := self._series(blank, bag, face))
                yield from self._check(last)
        for _ in range(self._preferences.series_per_session):
            for bag, face in self._ordered(blank.board, "treated", treated):
                row = self._series(blank, bag, face)
                yield row
                yield from self._check(row)
                for row in self._watch(blank, f"after {bag}: is residue left on the board?"):
                    last = row
                    yield row
        if last is None or last.action == "run":
            yield from self._reference(blank, "end of session")

    def _units(self, stage: str) -> tuple[list[Unit], list[Unit]]:
        """Bag faces without and with a treatment behind them at this stage."""
        fresh: list[Unit] = []
        treated: list[Unit] = []
        for name, bag in self._catalogue.bags.items():
            if bag.role != "reference":
                chosen = treated if self._study.leaves_residue(name, stage) else fresh
                chosen.extend((name, face) for face in bag.faces)
        return fresh, treated

    def _ordered(self, board: str, group: str, units: list[Unit]) -> list[Unit]:
        """The next balanced order of these units on this board."""
        key = (board, f"{group} {len(units)}")
        if key not in self._orders:
            self._orders[key] = self._random.sample(units, len(units))
        turn = self._rounds.get(key, self._first_turn)
        self._rounds[key] = turn + 1
        return [self._orders[key][place] for place in williams_row(len(units), turn)]

    def _series(self, blank: PlanRow, bag: str, face: str) -> PlanRow:
        return msgspec.structs.replace(
            blank, bag=bag, face=face, runs=self._preferences.runs_per_series
        )

    def _check(self, series: PlanRow) -> Iterator[PlanRow]:
        """A check after the first series of each kind of fabric in a stage."""
        runs = self._preferences.check_runs
        if runs and self._kind(series) not in self._checked:
            self._checked.add(self._kind(series))
            yield msgspec.structs.replace(
                series, action="check", runs=runs, note="the bag stays: other rate, same face"
            )

    def _kind(self, row: PlanRow) -> tuple[str, str]:
        """Stage, and the recipe behind the bag; none for an untreated one."""
        is_treated = self._study.leaves_residue(row.bag, row.stage)
        recipe = self._catalogue.bags[row.bag].treatment
        return row.stage, (recipe or "") if is_treated else ""

    def _watch(self, blank: PlanRow, note: str) -> Iterator[PlanRow]:
        yield msgspec.structs.replace(blank, action="wipe")
        yield from self._reference(blank, note)

    def _reference(self, blank: PlanRow, note: str) -> Iterator[PlanRow]:
        bag, runs = self._catalogue.reference, self._preferences.reference_runs
        if bag is not None and runs:
            face = next(iter(self._catalogue.bags[bag].faces))
            yield msgspec.structs.replace(
                blank, action="reference", bag=bag, face=face, runs=runs, note=note
            )

    def _named(self, row: PlanRow) -> PlanRow:
        self._rows += 1
        return msgspec.structs.replace(row, row=f"{self._number}-{self._rows:03d}")
