"""What the model believes before it has seen a slide: one table, with a reason for each line.

A *scale* is a standard deviation that the data may move: its logarithm is the median's plus
`spread` times a standard normal that has been stretched to heavy tails. The other lines are normal
with a fixed standard deviation, or the logarithm of a positive quantity is.
"""

from math import exp, sinh
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

Basis = Literal[
    "judged",
    "common practice, no source",
    "handbook, from memory",
]
Form = Literal["scale", "positive", "normal"]

STRETCH = 0.5
"""Tails of the scales: z becomes sinh(STRETCH·z) / STRETCH, so that 3 sd count as 4.3."""


FARTHEST = 7.0
"""Standard normals beyond it, one in 10¹², are taken as it, so that no figure overflows."""


class Prior(NamedTuple):
    """One line of the table."""

    meaning: str
    unit: str
    form: Form
    centre: float
    """The median of a scale or a positive quantity, the mean of a normal one."""
    spread: float
    """Standard deviation, of the logarithm for a scale or a positive quantity."""
    reason: str
    basis: Basis = "judged"


PRIORS: dict[str, Prior] = {
    "run": Prior(
        "scatter of slides within a series, by the rig",
        "°",
        "scale",
        0.25,
        0.6,
        "repeats of a raise with the bag placed alike; a study soon measures it itself",
    ),
    "reader_run": Prior(
        "scatter of slides within a series, read by a person",
        "°",
        "scale",
        0.4,
        0.6,
        "a digital level shows 0.1°, and a hand stops the board some tenths late",
    ),
    "series": Prior(
        "scatter of series: one mounting against the next",
        "°",
        "scale",
        0.2,
        0.5,
        "where the bag lies on the board and how its fill lies in it",
    ),
    "session": Prior(
        "scatter of sessions in one place, for air of the same figures",
        "°",
        "scale",
        0.4,
        0.5,
        "moisture on its way, the board's state and its temperature make some 0.2° each; hours and"
        " mountings are thought to scatter by 0.3 to 1° in all",
    ),
    "bag": Prior(
        "scatter of bags of one model",
        "°",
        "scale",
        1.0,
        0.5,
        "bags of one make differ by a degree or so",
        "common practice, no source",
    ),
    "bag_face": Prior(
        "scatter of a bag's faces about that bag",
        "°",
        "scale",
        0.5,
        0.5,
        "two fabrics of one bag differ on their own by about half of what bags differ",
    ),
    "response": Prior(
        "scatter of one application about its recipe's effect, for an effect of"
        " TYPICAL_EFFECT_DEG; in proportion for others where the effect saturates",
        "°",
        "scale",
        0.35,
        0.5,
        "dose and handling vary by a quarter or so",
    ),
    "rigs": Prior(
        "scatter of rigs about their mean, where studies of several are taken along",
        "°",
        "scale",
        0.2,
        0.5,
        "each was calibrated by a level of 0.1 to 0.2°",
    ),
    "level": Prior(
        "slide angle of a model's face on the usual board at REFERENCE_HUMIDITY_PCT",
        "°",
        "normal",
        24.0,
        8.0,
        "fabric on board slides between 10 and 40°",
        "common practice, no source",
    ),
    "slope": Prior(
        "change of the angle per 10 %RH, common to all",
        "°",
        "normal",
        0.0,
        0.5,
        "fabrics take up"
        " water; from one half of the range to the other the angle changes by a few degrees",
    ),
    "slope_face": Prior(
        "the same, each model's face about the common one",
        "°",
        "normal",
        0.0,
        0.25,
        "half of the common part: fabrics differ in what they take up",
    ),
    "temperature": Prior(
        "change per 10 °C at the same relative humidity",
        "°",
        "normal",
        0.0,
        0.3,
        "sorption goes by relative humidity; temperature itself does little",
    ),
    "damp_shift": Prior(
        "how much damper air counts for bags that came from damp than for those from dry",
        "10 %RH",
        "positive",
        0.9,
        0.5,
        "hysteresis of sorption: at 65 %RH cotton holds 0.9 % of its mass more from the damp side,"
        " viscose 1.8, wool 2.0, nylon 0.25, and gains about 0.1, 0.18, 0.2 and 0.06 % per %RH, so"
        " 9 to 10 and 4 %RH (Morton and Hearle, Physical Properties of Textile Fibres, 2008)",
        "handbook, from memory",
    ),
    "from_damp": Prior(
        "what else bags from damp differ by, on each model's face",
        "°",
        "normal",
        0.0,
        0.3,
        "fabrics' shifts differ by some 5 %RH, at the usual slopes",
    ),
    "approach": Prior(
        "a session of which nobody noted whence its bags came, among others where it is known",
        "°",
        "normal",
        0.0,
        0.3,
        "half of the shift either way, at the usual slopes",
    ),
    "board": Prior(
        "a board against the usual one",
        "°",
        "normal",
        0.0,
        1.0,
        "like bags of one make",
        "common practice, no source",
    ),
    "board_face": Prior(
        "the same, each kind of face about it", "°", "normal", 0.0, 0.3, "a third of the boards'"
    ),
    "rig": Prior(
        "a rig against the usual one",
        "°",
        "normal",
        0.0,
        0.2,
        "both were calibrated by a level of 0.1 to 0.2°",
    ),
    "reader": Prior(
        "a reader against the rig, or against the usual reader",
        "°",
        "normal",
        0.0,
        0.7,
        "zero of a level or phone, reaction time at some tenths of a degree per second",
    ),
    "operator": Prior(
        "who works a rig against who mostly does",
        "°",
        "normal",
        0.0,
        0.15,
        "the rig raises the board and sees the slide; how a hand lays the bag and its fill is left",
    ),
    "method": Prior(
        "another raise rate or start against the usual",
        "°",
        "normal",
        0.0,
        0.3,
        "the law of friction near rest makes 0.1 to 0.3° between 0.3 and 1 °/s",
    ),
    "method_apart": Prior(
        "the same where no bag was measured both ways",
        "°",
        "normal",
        0.0,
        5.0,
        "so wide that slides of two methods say nothing of each other's level",
    ),
    "material": Prior(
        "what a check at a second rate leaves open, in its standard uncertainty",
        "1",
        "normal",
        0.0,
        1.0,
        "a check is kept in units of what it found, so this is one by definition",
    ),
    "settle": Prior(
        "first slide of a series against the settled face",
        "°",
        "normal",
        0.0,
        0.3,
        "fresh surfaces start high or low and settle; standards leave out one or two slides",
    ),
    "board_residue": Prior(
        "board after many slides of treated bags in a session",
        "°",
        "normal",
        0.0,
        0.2,
        "softener gets onto the board; wiping takes most of it",
    ),
    "effect": Prior(
        "linear effect of an application of a recipe, common to all",
        "°",
        "normal",
        0.0,
        2.0,
        "what softening or washing is said to do, of either sign",
        "common practice, no source",
    ),
    "effect_face": Prior(
        "the same, each model's face about the common one",
        "°",
        "normal",
        0.0,
        0.8,
        "fabrics take a treatment differently, by less than half of its effect",
    ),
    "residue": Prior(
        "what a fresh application adds, gone after some RESIDUE_SLIDES slides or throws",
        "°",
        "normal",
        0.0,
        0.3,
        "agent left on the fabric rubs off",
    ),
    "range": Prior(
        "D, from the face as it came to fully broken in",
        "°",
        "positive",
        4.0,
        0.5,
        "new and well-played bags of one make differ by 2 to 8°",
        "common practice, no source",
    ),
    "range_face": Prior(
        "the same, each model's face about D, as a part of D",
        "1",
        "normal",
        0.0,
        0.4,
        "a slick face has less to lose than a grip one",
    ),
    "dose": Prior(
        "r of an application; it takes 1 − exp(−r) of what is left of D",
        "1",
        "positive",
        0.4,
        0.8,
        "one soak takes a tenth to two thirds of what is left",
        "common practice, no source",
    ),
    "slide_dose": Prior(
        "r of one slide",
        "1",
        "positive",
        0.0005,
        1.0,
        "a bag is broken in by some thousand throws",
        "common practice, no source",
    ),
    "throw_dose": Prior(
        "r of one throw",
        "1",
        "positive",
        0.0005,
        1.0,
        "a bag is broken in by some thousand throws",
        "common practice, no source",
    ),
}

TYPICAL_EFFECT_DEG = 1.5
"""The effect for which the scatter of responses is stated."""
REFERENCE_HUMIDITY_PCT = 50.0
REFERENCE_TEMPERATURE_C = 22.0
HALF = 0.5
"""The part of the hysteresis that a bag of unknown history has; levels are stated for it."""
RESIDUE_SLIDES = 20.0
"""Slides or throws after which a fresh application's residue has fallen to 1/e; judged."""
BOARD_RESIDUE_SLIDES = 10.0
"""Slides of treated bags that leave 1 − 1/e of the residue a board takes in a session; judged."""


def value_at(name: str, z: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Value of a scale, or of a positive or normal quantity, at a standard normal `z`."""
    prior = PRIORS[name]
    if prior.form == "normal":
        return np.asarray(prior.centre + prior.spread * np.asarray(z))
    z = np.clip(z, -FARTHEST, FARTHEST)
    stretched = np.sinh(STRETCH * z) / STRETCH if prior.form == "scale" else z
    return np.asarray(prior.centre * np.exp(prior.spread * stretched))


def scalar_at(name: str, z: float) -> float:
    """The same for one number, without an array's overhead."""
    prior = PRIORS[name]
    if prior.form == "normal":
        return prior.centre + prior.spread * z
    z = min(max(z, -FARTHEST), FARTHEST)
    stretched = sinh(STRETCH * z) / STRETCH if prior.form == "scale" else z
    return prior.centre * exp(prior.spread * stretched)


def log_slope(name: str, z: float) -> float:
    """Derivative of a scale's or positive quantity's logarithm by its standard normal."""
    prior = PRIORS[name]
    return prior.spread * ((1.0 + sinh(STRETCH * z) ** 2) ** 0.5 if prior.form == "scale" else 1.0)
