"""What stands in front of a person, whichever way one question is asked, as text to compare."""

import html
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rig.panel.study.answers import Enquiry, answer_to, shown

NUMBER = r" ?(\d+\.\d) ?°?"
ANGLE = re.compile(
    r"(?P<bag>[A-Z]\w+ \d),? (?P<face>slick|grip)(?: down)?[:,]?(?: should slide at| [A-Z]\w+)?"
    rf"{NUMBER} \(?{NUMBER}(?: to |–){NUMBER}"
)
"""A bag face, perhaps its set, its angle and the ends of its range."""
Figures = dict[tuple[str, str], set[tuple[str, str, str]]]


def texts(
    say: Callable[..., str], club: Path, temperature_c: float, humidity_pct: float
) -> dict[str, str]:
    """Terminal, sheet, report and page, each as one line of text; `say` runs a command."""
    study = str(club)
    air = ["--temperature", f"{temperature_c:g}", "--humidity", f"{humidity_pct:g}"]
    found = {name: say(name, study, *air) for name in ("choose",)}
    found["answer"] = say("answer", study, *air, "--all")
    found["sheet as text"] = say("sheet", study, *air, "--text")
    for name in ("sheet", "report"):
        file = club / f"{name}-of-test.html"
        say(name, study, *air, "--out", str(file))
        found[name] = visible(file.read_text("utf-8"))
    enquiry = Enquiry(temperature_c=temperature_c, relative_humidity_pct=humidity_pct)
    page: dict[str, Any] = json.loads(json.dumps(shown(answer_to(club, enquiry))))
    rows = [f"{one['bag']}, {one['face']} {one['now']}" for one in page["bags"]]
    found["page"] = " ".join([page["first"], *page["others"], *rows])
    return {name: " ".join(text.split()) for name, text in found.items()}


def visible(page: str) -> str:
    """The text of a page without its figures."""
    bare = re.sub(r"<(svg|style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", " ", bare))


def angles_in(text: str) -> Figures:
    """Every angle with its range that a text gives for a bag face."""
    found: Figures = {}
    for match in ANGLE.finditer(text):
        bag, face, *figures = match.groups()
        angle, lower, upper = figures
        found.setdefault((bag, face), set()).add((angle, lower, upper))
    return found
