"""The page of a study: its numbers, its safety, its form."""

import itertools
import re
from pathlib import Path
from typing import Any

import pytest

from rig.files.plain import finite
from rig.quantities.figures import figure
from rig.quantities.said import worded
from rig.quantities.shown import US, Kind
from rig.report.document import build
from rig.report.evidence import Evidence
from rig.report.page import Value, render
from rig.report.style import Picture
from tests.report.conftest import NASTY
from tests.report.page_reader import Page


@pytest.fixture(scope="session")
def document(evidence: Evidence) -> dict[str, Any]:
    return build(evidence)


@pytest.fixture(scope="session")
def html(pictures: list[Picture], document: dict[str, Any], study_folder: Path) -> str:
    return render(document, pictures, folder=study_folder / "report")


@pytest.fixture(scope="session")
def page(html: str) -> Page:
    return Page(html)


def value_at(document: Any, key: str) -> Any:
    for part in key.split("."):
        document = document[int(part)] if isinstance(document, list) else document[part]
    return document


def rounding_of(text: str) -> float:
    """Half a unit of the last digit that is shown."""
    digits = text.partition(".")[2]
    mantissa, _, power = digits.partition("e")
    return 0.5 * 10.0 ** (-len(mantissa) + int(power or 0)) * (1.0 + 1e-9) + 1e-12


def test_every_number_is_the_documents(page: Page, document: dict[str, Any]) -> None:
    numbers = page.of("data")
    assert len(numbers) > 300
    for one in numbers:
        value = value_at(document, one.attributes["data-key"])
        assert float(one.attributes["value"]) == value, one
        text = one.words.replace("−", "-")
        if text.startswith("<"):
            assert value < float(text[1:])
        elif one.attributes["data-key"].endswith("slope_deg_per_pct"):
            assert float(text) == pytest.approx(10.0 * value, abs=rounding_of(text))
        elif one.attributes["data-key"].startswith("budget.components"):
            assert float(text) == pytest.approx(value, rel=6e-3, abs=6e-5)
        else:
            assert float(text) == pytest.approx(value, abs=rounding_of(text)), one


CONSTANTS = re.compile(r"95 %|10 %RH|5 of 100|5 %|k = 1|ISO 5725-3|JCGM 100")
"""What the template itself says; nothing of it was measured."""


def test_no_number_has_another_source(page: Page, document: dict[str, Any]) -> None:
    """All digits stand in `data`, or are of a name or sentence of the document."""
    names = sorted({text for text in _texts(document) if len(text) > 2}, key=len, reverse=True)
    tags = ("td", "th", "p", "li", "dd", "dt", "caption", "h1", "h2", "h3", "summary")
    cells = [one for one in page.of(*tags) if "data-key" not in one.attributes]
    assert len(cells) > 500
    for cell in cells:
        rest = " ".join("".join(cell.bare).split())
        if not re.search(r"\d", rest):
            continue
        for name in names:
            rest = rest.replace(" ".join(name.split()), " ")
        assert not re.search(r"\d", CONSTANTS.sub("", rest)), cell


COLUMNS = {
    "Effect, °": {"effect_deg"},
    "in µs": {"effect_mu"},
    "Alone, °": {"lower_deg", "upper_deg"},
    "Family, °": {"family_lower_deg", "family_upper_deg"},
    "Before, °": {"before_deg"},
    "After, °": {"after_deg"},
    "Change, °": {"change_deg"},
    "Angle, °": {"angle_deg", "onset_angle_deg", "u_onset_angle_deg"},
    "Interval, °": {"lower_deg", "upper_deg", "lower", "upper"},
    "µs": {"mu_static"},
    "µk": {"mu_kinetic"},
    "Difference, °": {"difference_deg", "difference"},
    "Slides at, °": {"angle_deg"},
    "Off the wish, °": {"miss_deg"},
    "Chance, %": {"chance_pct"},
    "Shift, °": {"shift_deg"},
    "p": {"p", "family_p"},
}
"""Heads of columns, and the values of the document that belong under them."""


def test_columns_show_what_their_heads_say(page: Page) -> None:
    shown: dict[str, set[str]] = {}
    heads: list[str] = []
    column = 0
    for one in page.elements:
        if one.tag == "table":
            heads = []
        elif one.tag == "tr":
            column = -1
        elif one.tag in ("td", "th"):
            column += 1
            if one.attributes.get("scope") == "col":
                heads.append(one.words)
        elif one.tag == "data" and "td" in one.inside:
            name = one.attributes["data-key"].rpartition(".")[2]
            shown.setdefault(heads[column], set()).add(name)
    found = {head: names for head, names in shown.items() if head in COLUMNS}
    assert len(found) > 12
    assert all(names <= COLUMNS[head] for head, names in found.items()), found


def _texts(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [text for key, one in value.items() for text in [key, *_texts(one)]]
    if isinstance(value, list):
        return [text for one in value for text in _texts(one)]
    return [value, value[:10]] if isinstance(value, str) else []


def test_sentences_are_the_documents_word_for_word(page: Page, document: dict[str, Any]) -> None:
    said = [one for one in page.of("li", "p", "td") if "data-key" in one.attributes]
    assert {one.attributes["data-key"].split(".")[0] for one in said} >= {"answer", "cautions"}
    for one in said:
        if one.words:
            expected = str(value_at(document, one.attributes["data-key"]))
            assert one.words == " ".join(expected.split()), one


def test_the_answer_stands_before_tables_and_figures(page: Page) -> None:
    tags = [one.tag for one in page.elements]
    answer = next(
        i for i, one in enumerate(page.elements) if one.attributes.get("data-key") == "answer.0"
    )
    assert answer < tags.index("table")
    assert answer < tags.index("figure")


def test_a_name_that_is_html_stays_a_name(html: str, page: Page) -> None:
    assert "<script" not in html
    assert not page.of("script", "b")
    assert any(NASTY in one.words for one in page.of("th"))


def test_it_needs_no_network(html: str, page: Page) -> None:
    for one in page.elements:
        for name, value in one.attributes.items():
            if name in ("href", "src", "xlink:href"):
                assert not re.match(r"\w+:|//", value), one
    style = page.of("style")[0].words
    assert "url(" not in style
    assert "@import" not in style
    assert not page.of("script", "link", "iframe", "img")
    assert len(html) < 5_000_000


def test_links_lead_to_the_run_files(page: Page, study_folder: Path) -> None:
    links = [a.attributes["href"] for a in page.of("a") if a.attributes["href"].startswith("..")]
    assert len(links) == len(list(study_folder.rglob("*.run.jsonl")))
    for href in links:
        assert (study_folder / "report" / href).exists()


def test_it_is_accessible(page: Page) -> None:
    assert next(one for one in page.elements if one.tag == "html").attributes["lang"] == "en"
    levels = [int(one.tag[1]) for one in page.of("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    pictures = [one for one in page.elements if one.attributes.get("role") == "img"]
    assert len(pictures) == len(page.of("figure")) > 8
    assert all(len(one.attributes["aria-label"]) > 40 for one in pictures)
    assert len(page.of("caption")) == len(page.of("table"))
    assert all(one.attributes.get("scope") for one in page.of("th"))
    regions = [one for one in page.elements if one.attributes.get("role") == "region"]
    assert all(one.attributes["aria-label"] and "tabindex" in one.attributes for one in regions)


def test_identifiers_are_unique_and_references_lead_somewhere(html: str, page: Page) -> None:
    ids = [one.attributes["id"] for one in page.elements if "id" in one.attributes]
    assert len(ids) == len(set(ids))
    wanted = set(re.findall(r'(?:url\(#|href="#)([^")]+)', html))
    assert wanted <= set(ids)


def test_colours_of_text_keep_their_distance(page: Page) -> None:
    """Contrast of at least 4.5 : 1 (WCAG 2.2, success criterion 1.4.3)."""
    style = page.of("style")[0].words
    colour = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", style))
    pairs = [("ink", "paper"), ("faint", "paper"), ("deep", "paper"), ("ink", "wash")]
    pairs += [("ink", "sand"), ("faint", "wash"), ("paper", "deep")]
    for front, back in pairs:
        assert contrast(colour[front], colour[back]) >= 4.5, (front, back)


def contrast(one: str, other: str) -> float:
    """Contrast ratio by relative luminance (WCAG 2.2, definitions)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_contrast_of_black_on_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_us_units_change_what_is_shown_and_nothing_else(
    document: dict[str, Any], page: Page
) -> None:
    us = Page(render(document, [], folder=Path(), units="us"))
    shown = {one.attributes["data-key"]: one for one in us.of("data")}
    warm = shown["sessions.0.temperature_c"]
    celsius = document["sessions"][0]["temperature_c"]
    assert float(warm.attributes["value"]) == celsius
    assert float(warm.words) == pytest.approx(celsius * 9 / 5 + 32, abs=0.051)
    assert float(shown["method.gap_mm"].words) == pytest.approx(8.0 / 25.4, abs=0.00051)
    mass = next(k for k in shown if k.endswith("mass_g"))
    assert float(shown[mass].words) == pytest.approx(441.0 / 28.3495, abs=0.051)
    heads = [one.words for one in us.of("th", "caption", "dd")]
    assert any("°F" in words for words in heads)
    assert not any("°C" in words for words in heads)
    assert not [one for one in us.of("td", "p", "li") if "°C" in one.words]
    for one in us.of("li", "p", "td"):
        if one.words and "data-key" in one.attributes:
            said = value_at(document, one.attributes["data-key"])
            assert one.words == " ".join(worded(said, "us").split())
    assert {k: one.attributes["value"] for k, one in shown.items()} == {
        one.attributes["data-key"]: one.attributes["value"] for one in page.of("data")
    }


@pytest.mark.parametrize(
    ("kind", "value", "shown"),
    # Definitions: NIST SP 811 (2008), appendix B; 0 °C = 32 °F, -40 is the same in both.
    [
        ("c", 0.0, 32.0),
        ("c", 100.0, 212.0),
        ("c", -40.0, -40.0),
        ("mm", 25.4, 1.0),
        ("g", 28.349523125, 1.0),
    ],
)
def test_units_are_converted_as_defined(kind: Kind, value: float, shown: float) -> None:
    assert US[kind].of(value) == pytest.approx(shown, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "spec", "text"),
    [
        (-0.004, "+.2f", "0.00"),
        (0.004, "+.2f", "0.00"),
        (-1.5, "+.1f", "−1.5"),
        (3, "d", "3"),
        (-0.0, ".1f", "0.0"),
    ],
)
def test_numbers_are_shown_with_a_true_minus_and_zero_has_no_sign(
    value: float, spec: str, text: str
) -> None:
    assert figure(value, spec) == text


def test_infinite_limits_become_unknown() -> None:
    assert finite({"a": [float("inf"), 1.0, float("nan")]}) == {"a": [None, 1.0, None]}


def test_a_mistyped_key_in_the_template_is_an_error() -> None:
    with pytest.raises(AttributeError):
        _ = Value({"a": 1}).b


def test_simulated_runs_are_said_to_be_simulated(page: Page) -> None:
    assert any(one.words.startswith("Simulated.") for one in page.of("p"))
