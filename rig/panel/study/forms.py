"""What a page sends about a study; numbers as typed, times never: the server's clock counts."""

from typing import Annotated

from msgspec import Meta, Struct

from rig.study.phone.trace import PhoneZero, TraceSamples

Name = Annotated[str, Meta(min_length=1, max_length=60)]
Names = Annotated[list[Name], Meta(min_length=1, max_length=60)]
Number = Annotated[str, Meta(max_length=20)]
Line = Annotated[int, Meta(ge=0, le=2**31 - 1)]


class Form(Struct, forbid_unknown_fields=True, kw_only=True):
    """A wish to write something down."""

    key: Annotated[str, Meta(min_length=8, max_length=64)]
    """Made by the page for one tap: a retry has the same, and writes nothing."""


class ReadForm(Form, kw_only=True):
    """Whose slide angle was read, by whom, in what air."""

    bag: Name
    face: Name
    board: Name
    reader: Name
    temperature: Number = ""
    humidity: Number = ""


class ReadingForm(ReadForm, kw_only=True):
    """Slide angles read by hand."""

    angles: Annotated[list[Number], Meta(min_length=1, max_length=50)]


class TreatForm(Form, kw_only=True):
    """Bags were treated."""

    recipe: Name
    bags: Names
    sure: bool = False
    """The page has shown what cannot be undone, and the person confirmed."""
    anyway: bool = False
    """Also without a baseline, and with series of the plan given up."""


class PlayForm(Form, kw_only=True):
    """Bags were thrown."""

    bags: Names
    throws: Number


class MassForm(Form, kw_only=True):
    """A bag was weighed."""

    bag: Name
    grams: Number


class DroopForm(Form, kw_only=True):
    """A bag was laid over an edge."""

    bag: Name
    face: Name
    overhang: Number
    reader: Name
    angles: Annotated[list[Number], Meta(min_length=1, max_length=50)]


class WipeForm(Form, kw_only=True):
    """A board was wiped."""

    board: Name


class CorrectForm(Form, kw_only=True):
    """A run of the rig, or a line of readings, had another bag or face, or does not count."""

    run: Annotated[str, Meta(max_length=200)] = ""
    line: Line = 0
    bag: Annotated[str, Meta(max_length=60)] = ""
    face: Annotated[str, Meta(max_length=60)] = ""
    void: bool = False


class UndoForm(Form, kw_only=True):
    """A line of the journal does not count."""

    line: Line


class BagForm(Form, kw_only=True):
    """A bag that the study does not know yet."""

    name: Name
    set: Annotated[str, Meta(max_length=60)] = ""


class BoardForm(Form, kw_only=True):
    """A board that the study does not know yet."""

    name: Name


class MeasureForm(Form, kw_only=True):
    """Series on the rig, one after another."""

    rows: Annotated[list[tuple[Name, Name]], Meta(min_length=1, max_length=60)]
    """Bag and face of each."""
    board: Name


class LiftForm(ReadForm, kw_only=True):
    """One lift, as the phone on the board read it."""

    pace: Number
    zero: PhoneZero
    samples: TraceSamples
    age_s: Annotated[float, Meta(ge=0, le=30 * 86400)] = 0.0
    """Since it was made, where it waited in the phone for a connection."""


class ZeroForm(Struct, forbid_unknown_fields=True, kw_only=True):
    """Two layings of a phone; asks and writes nothing."""

    zero: PhoneZero


class AirForm(Struct, forbid_unknown_fields=True, kw_only=True):
    """Today's air; asks and writes nothing."""

    temperature: Number
    humidity: Number
    board: Annotated[str, Meta(max_length=60)] = ""
