"""Reads a page as a program would: its elements, their attributes, its text."""

from html.parser import HTMLParser
from typing import NamedTuple

VOID = {"meta", "link", "br", "path", "rect", "use", "img", "hr"}


class Element(NamedTuple):
    tag: str
    attributes: dict[str, str]
    inside: tuple[str, ...]
    """Tags around it, outermost first."""
    text: list[str]
    bare: list[str]
    """The text that stands in no `data` element."""

    @property
    def words(self) -> str:
        return " ".join("".join(self.text).split())


class Page(HTMLParser):
    """All elements of a page in order; text belongs to every element around it."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[Element] = []
        self._open: list[Element] = []
        self.feed(html)
        self.close()
        assert not self._open, [one.tag for one in self._open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        inside = tuple(one.tag for one in self._open)
        element = Element(tag, {k: v or "" for k, v in attrs}, inside, [], [])
        self.elements.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        inside = tuple(one.tag for one in self._open)
        self.elements.append(Element(tag, {k: v or "" for k, v in attrs}, inside, [], []))

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID and (not self._open or self._open[-1].tag != tag):
            return
        assert self._open[-1].tag == tag, (tag, [one.tag for one in self._open])
        self._open.pop()

    def handle_data(self, data: str) -> None:
        is_bare = all(one.tag != "data" for one in self._open)
        for one in self._open:
            one.text.append(data)
            if is_bare:
                one.bare.append(data)

    def of(self, *tags: str) -> list[Element]:
        return [one for one in self.elements if one.tag in tags]
