"""Lifts of a simulated phone, measured as the server measures them."""

from typing import Any

import msgspec
import numpy as np

from rig.study.folder.journal import ByPhone
from rig.study.phone.lift import measure
from rig.study.phone.trace import PhoneZero, Trace, TraceHeader, TraceSamples
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
