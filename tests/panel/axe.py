"""Accessibility by rules: axe-core over a page, in each of the sizes and colours that people use.

axe-core is no dependency: `npm install --prefix ~/.cache/rig-axe axe-core`, or the variable
RIG_AXE with the path of its `axe.min.js`. It finds what rules can find, which is not all there is.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.panel.browser import Page

INSTALLED = Path.home() / ".cache/rig-axe/node_modules/axe-core/axe.min.js"
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
RUN = """
const done = arguments[arguments.length - 1];
axe.run(document, {runOnly: {type: 'tag', values: %s}, resultTypes: ['violations']}).then(
  (found) => done(found.violations.flatMap((one) => one.nodes.map(
    (node) => `${one.id}: ${node.target} ${node.html.slice(0, 90)} ${node.failureSummary}`))),
  (error) => done([String(error)]));
"""


class Look(NamedTuple):
    """One way of looking at a page."""

    name: str
    width: int
    height: int
    zoom: float = 1.0


LOOKS = (
    Look("phone", 390, 844),
    Look("desk", 1280, 900),
    Look("phone on its side", 844, 390),
    Look("desk at 200 %", 1280, 900, 2.0),
)


def need_axe() -> str:
    """Its source; without it the test is skipped."""
    file = Path(os.environ.get("RIG_AXE", INSTALLED))
    if not file.is_file():
        pytest.skip("needs axe-core: npm install --prefix ~/.cache/rig-axe axe-core")
    return file.read_text("utf-8")


def looks(page: Page) -> Iterator[str]:
    """Set the page to each size and colour scheme, one after the other; names them."""
    for scheme in ("light", "dark"):
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
        for one in LOOKS:
            size = {"width": round(one.width / one.zoom), "height": round(one.height / one.zoom)}
            metrics = {**size, "deviceScaleFactor": one.zoom, "mobile": False}
            page.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
            yield f"{one.name}, {scheme}"


def faults(page: Page, axe: str) -> list[str]:
    """What axe finds, and whether the page has to be pushed sideways."""
    if not page.run("return 'axe' in window"):
        page.driver.execute_script(axe)
    found: list[str] = page.driver.execute_async_script(RUN % list(TAGS))
    wide = page.run("return document.documentElement.scrollWidth - innerWidth")
    return [*found, *([f"{wide} px too wide"] if wide > 0 else [])]


def check(page: Page, axe: str, screen: str) -> list[str]:
    """All faults of a screen in every look."""
    return [f"{screen}, {look}: {one}" for look in looks(page) for one in faults(page, axe)]
