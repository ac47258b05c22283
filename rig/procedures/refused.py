"""Why a slide on a board that was raised by hand is left out, in sentences."""

from rig.analysis.row import RunResult
from rig.sliding import most_pace_off


def refusals(result: RunResult) -> list[str]:
    """One sentence for each reason that lies with the raise; none for a good one."""
    sentences = []
    if "pace_off" in result.flags:
        share = round(100 * most_pace_off(result.rate_deg_s))
        sentences.append(
            f"This slide is left out: near it the board rose more than {share} % faster or slower"
            f" than {result.rate_deg_s:g} °/s. Follow the needle, the last few degrees above all."
        )
    if "jerked" in result.flags:
        sentences.append(
            "This slide is left out: a jerk shook the bag at its onset. Keep the hand on the crank"
            " and turn it evenly until the bag lies on the catch."
        )
    return sentences
