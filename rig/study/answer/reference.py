"""Whether the reference bag agrees with the others; if not, look for a mix-up or a soiled board."""

from collections.abc import Iterator, Sequence
from statistics import fmean

import numpy as np

from rig.quantities.figures import fixed
from rig.study.model.data import DAMP
from rig.study.model.draws import Air, Draws
from rig.study.slides.slide import Slide

FAR_DEG = 1.0
FAR_SD = 2.0
"""A reference bag is mentioned when it is off by both: a degree, and twice what mountings scatter.
Judged: where it does, that scatter itself is found large."""


def reference_sentences(draws: Draws, slides: Sequence[Slide]) -> Iterator[str]:
    """A sentence for each session in which the reference bag lay off what the other bags say.

    Args:
        draws: of the model.
        slides: that count.
    """
    groups: dict[tuple[str, str, str], list[Slide]] = {}
    for slide in slides:
        if slide.role == "reference" and slide.bag and slide.face:
            session = slide.session or slide.at[:10]
            groups.setdefault((slide.bag, slide.face, session), []).append(slide)
    for (bag, face, session), of in groups.items():
        one = of[0]
        usual = draws.about.usual_air
        air = Air(
            _mean([s.surface_humidity_pct for s in of], usual.humidity_pct),
            _mean([s.temperature_c for s in of], usual.temperature_c),
            DAMP[one.approach],
        )
        name = f"reader {one.reader or ''}" if one.source == "hand" else f"rig {one.rig or ''}"
        expected = draws.angle(bag, face, one.board or "", air) + draws.term("session", session)
        expected = expected + draws.instrument_offset(name)
        off_deg = _mean([s.onset_angle_deg for s in of], 0.0) - float(np.mean(expected))
        run = draws.scale("reader_run" if one.source == "hand" else "run")
        sd_deg = float(np.median(np.hypot(draws.scale("series"), run / len(of) ** 0.5)))
        if abs(off_deg) > max(FAR_DEG, FAR_SD * sd_deg):
            where = "above" if off_deg > 0.0 else "below"
            yield (
                f"The reference bag ({bag}, {face}) slid {fixed(abs(off_deg), 1)}° {where} what the"
                f" other bags say of {session}: was it the right bag, and was the board wiped?"
            )


def _mean(values: Sequence[float | None], otherwise: float) -> float:
    known = [value for value in values if value is not None]
    return fmean(known) if known else otherwise
