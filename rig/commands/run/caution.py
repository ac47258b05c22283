"""What is said before a board moves."""

from rig.settings.model import Settings

CAUTION = (
    "Caution: the board will move. Keep hands, hair and sleeves out of the wedge under it; set the"
    " prop before you reach under. The emergency stop is the one that cuts the motor's power, not"
    " this program."
)
CAUTION_BY_HAND = (
    "Caution: you raise the board, and what you let go of comes down. Keep one hand on the crank or"
    " the lever, nobody's hands, hair and sleeves in the wedge under the board, and set the prop"
    " before you reach under."
)


def caution_of(settings: Settings) -> str:
    """What to say before the board moves, by whoever moves it."""
    return CAUTION if settings.motion.raised_by == "motor" else CAUTION_BY_HAND
