"""Lifts of a simulated phone, measured as the server measures them."""

from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from rig.study.folder.journal import ByPhone, Reading
from rig.study.folder.journal_file import append
from rig.study.folder.study import Study
from rig.study.phone.lift import measure
from rig.study.phone.slide import slide_of
from rig.study.phone.taps import PRIOR
from rig.study.phone.trace import (
    PhoneZero,
    Trace,
    TraceHeader,
    TraceSamples,
    keep_trace,
    read_trace,
)
from tests.fastsim.phone import Phone, Trouble, lift

AT = "2026-05-30T10:00:00Z"


def phone(seed: int, trouble: Trouble | None = None) -> Phone:
    """A phone on a board."""
    return Phone(np.random.default_rng(seed), trouble or Trouble())


def trace_of(zero: dict[str, Any], samples: dict[str, Any], pace_deg_s: float) -> Trace:
    """As the page would send it."""
    return Trace(
        header=TraceHeader(
            trace_id="k" * 12,
            at=AT,
            bag="Harbour 1",
            face="grip",
            board="shed board",
            reader="Ines",
            pace_deg_s=pace_deg_s,
            zero=msgspec.convert(zero, PhoneZero),
        ),
        samples=msgspec.convert(samples, TraceSamples),
    )


def measured(one: Phone, slide_deg: float, pace_deg_s: float, law_deg: float = 0.0) -> ByPhone:
    """One lift to a slide."""
    samples, _ = lift(one, slide_deg, pace_deg_s, law_deg)
    return measure(trace_of(one.zero(), samples, pace_deg_s), "x.trace.jsonl", "x")


def note_lift(study: Study, one: Phone, slide_deg: float, key: str) -> Path:
    """A lift at 3 °/s that the study has kept and noted, as the page has it done; its trace."""
    samples, _ = lift(one, slide_deg, 3.0)
    path = keep_trace(study.path, key, trace_of(one.zero(), samples, 3.0))
    header = read_trace(path).header
    found = measure(read_trace(path), path.name, "a series")
    entry = Reading(
        at=header.at,
        bag=header.bag,
        face=header.face,
        board=header.board,
        reader=header.reader,
        angles_deg=(round(slide_of(found, PRIOR).angle_deg, 3),),
        stage="baseline",
        session="a session",
        key=key,
        phone=found,
    )
    append(study.journal_path, entry)
    return path
