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
from rig.report.page import DASH, Value, render
from rig.report.style import THEME, Picture
from tests.report.conftest import NASTY
from tests.report.page_reader import Page


@pytest.fixture(scope="session")
def document(evidence: Evidence) -> dict[str, Any]:
    return build(evidence)


@pytest.fixture(scope="session")
def html(pictures: list[Picture], document: dict[str, Any], study_folder: Path) -> str:
    return render(document, pictures, study=study_folder, folder=study_folder / "report")


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
    assert len(numbers) > 250
    for one in numbers:
        value = value_at(document, one.attributes["data-key"])
        assert float(one.attributes["value"]) == value, one
        text = one.words.replace("−", "-")
        if text == "under 1 %":
            assert value < 0.005
        elif text == "over 99 %":
            assert value > 0.995
        elif text.endswith(" %"):
            assert float(text[:-2]) == pytest.approx(100.0 * value, abs=0.51)
        elif one.attributes["data-key"].startswith("budget.rows"):
            assert float(text) == pytest.approx(value, rel=6e-2, abs=6e-4)
        else:
            assert float(text) == pytest.approx(value, abs=rounding_of(text)), one


CONSTANTS = re.compile(r"97\.5 %|95 %|10 %RH|k = 1|JCGM 100|[123] more")
"""What the template itself says; nothing of it was measured."""


def test_no_number_has_another_source(page: Page, document: dict[str, Any]) -> None:
    """All digits stand in `data`, or are of a name or sentence of the document."""
    names = sorted({text for text in _texts(document) if len(text) > 2}, key=len, reverse=True)
    tags = ("td", "th", "p", "li", "dd", "dt", "caption", "h1", "h2", "h3", "summary")
    cells = [one for one in page.of(*tags) if "data-key" not in one.attributes]
    assert len(cells) > 300
    for cell in cells:
        rest = " ".join("".join(cell.bare).split())
        if not re.search(r"\d", rest):
            continue
        for name in names:
            rest = rest.replace(" ".join(name.split()), " ")
        assert not re.search(r"\d", CONSTANTS.sub("", rest)), cell


ENDS = {"lower_deg", "upper_deg"}
COLUMNS = {
    "Now, °": {"angle_deg"} | ENDS,
    "1 more, °": {"angle_deg"} | ENDS,
    "3 more, °": {"angle_deg"} | ENDS,
    "µs": {"mu_static", "mu_lower", "mu_upper"},
    "Within": {"p_within", "p_reaches"},
    "Below": {"p_below_target", "p_passes"},
    "Misses its target by, °": {"rms_deg"} | ENDS,
    "All within": {"p_all_within"},
    "Effect, °": {"effect_deg"} | ENDS,
    "Lowers": {"p_lowers"},
    "Each 10 %RH more, °": {"per_10_pct_rh_deg"} | ENDS,
    "Slides, °": {"onset_angle_deg"},
    "At the board, %RH": {"surface_humidity_pct"},
    "Standard deviation, °": {"median", "lower", "upper"},
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
    assert found.keys() == COLUMNS.keys()
    assert all(names <= COLUMNS[head] for head, names in found.items()), found


def test_no_column_is_empty(page: Page) -> None:
    filled: list[list[bool]] = []
    rows = iter(page.elements)
    for one in rows:
        if one.tag == "table":
            filled.append([])
            column = -1
        elif one.tag == "tr":
            column = -1
        elif one.tag in ("td", "th"):
            column += 1
            if one.attributes.get("scope") == "col":
                filled[-1].append(False)
            elif one.words != DASH:
                filled[-1][column] = True
    assert len(filled) > 8
    assert all(all(columns) for columns in filled), filled


def _texts(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [text for key, one in value.items() for text in [key, *_texts(one)]]
    if isinstance(value, list):
        return [text for one in value for text in _texts(one)]
    return [value, value[:10]] if isinstance(value, str) else []


def test_sentences_are_the_documents_word_for_word(page: Page, document: dict[str, Any]) -> None:
    said = [one for one in page.of("li", "p", "span") if "data-key" in one.attributes]
    keys = {one.attributes["data-key"] for one in said}
    assert keys >= {"said.pick", "said.next", "said.air", "said.effects.0.text"}
    assert sum(key.endswith(".said") for key in keys) == len(page.of("figcaption")) > 1
    assert {key.split(".")[0] for key in keys} >= {"cautions", "treating", "droop_limits"}
    for one in said:
        if one.words:
            expected = str(value_at(document, one.attributes["data-key"]))
            assert one.words == " ".join(expected.split()), one


def test_the_answer_stands_before_tables_and_figures(page: Page) -> None:
    tags = [one.tag for one in page.elements]
    answer = next(
        i for i, one in enumerate(page.elements) if one.attributes.get("data-key") == "said.pick"
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
    assert len(html.encode()) < 1_000_000


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


@pytest.mark.parametrize("place", [0, 1], ids=["light", "dark"])
def test_colours_keep_their_distance(page: Page, place: int) -> None:
    """Text at least 4.5 : 1, figures 3 : 1 (WCAG 2.2, success criteria 1.4.3 and 1.4.11)."""
    style = page.of("style")[0].words
    colours = re.findall(r"--(\w+): (#[0-9a-f]{6})", style)
    half = len(colours) // 2
    names = [name for name, _ in colours]
    assert names[:half] == names[half:], "every colour has one for the dark"
    colour = dict(colours[place * half :][:half])
    for front, back in [("ink", "paper"), ("faint", "paper"), ("link", "paper"), ("ink", "warn")]:
        assert contrast(colour[front], colour[back]) >= 4.5, (front, back)
    for front in ("known", "reckoned", "target", "limit", "pale"):
        assert contrast(colour[front], colour["paper"]) >= 3.0, front


def test_the_pages_colours_are_those_of_its_figures(html: str, page: Page) -> None:
    light = page.of("style")[0].words.partition("@media")[0]
    colour = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", light))
    for value, name in THEME.items():
        assert colour[name] == value or name == "faint"
    drawn = re.findall(r"<svg.*?</svg>", html, re.DOTALL)
    assert not re.search(r"#[0-9a-f]{6}\b", "".join(drawn)), "no colour that the dark leaves as is"


def test_text_in_figures_is_text(html: str) -> None:
    drawn = re.findall(r"<svg.*?</svg>", html, re.DOTALL)
    assert len(drawn) > 8
    assert all(re.search(r"<text[^>]*>[^<]+", one) for one in drawn)
    assert not any("DejaVu" in one for one in drawn)


def test_a_person_reads_it_in_one_sitting(html: str) -> None:
    body = re.sub(r"<(style|defs).*?</\1>", " ", html, flags=re.DOTALL)
    assert len(re.sub(r"<[^>]*>", " ", body).split()) < 4_000


def test_what_is_shown_is_loud_and_the_rest_pale(document: dict[str, Any]) -> None:
    effects = [{"shown": False, "text": "It may."}, {"shown": True, "text": "It does."}]
    said = document["said"] | {"effects": effects}
    page = Page(render(document | {"said": said}, [], study=Path(), folder=Path()))
    found = [
        (one.words, one.attributes["class"]) for one in page.of("li") if "class" in one.attributes
    ]
    assert found == [("It does.", "shown"), ("It may.", "pale")]


def test_the_appendix_is_closed_and_print_opens_it(page: Page) -> None:
    parts = page.of("details")
    assert len(parts) > 5
    assert not any("open" in one.attributes for one in parts)
    printed = page.of("style")[0].words.partition("@media print")[2]
    assert "details::details-content { display: block; content-visibility: visible" in printed


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
    us = Page(render(document, [], study=Path(), folder=Path(), units="us"))
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
    for one in us.of("li", "p", "td", "span"):
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
