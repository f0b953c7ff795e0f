"""The page as a test reads it: its tags, its words, and the text of what names a cell."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

from pipeline.output.report.page import report_page
from pipeline.study.config import StudyConfig

VOID = {"meta", "img", "input", "br", "link", "hr", "source"}
Attributes = dict[str, str]
Made = tuple[StudyConfig, Path]


class Page(HTMLParser):
    """All tags of a page with their attributes, the text inside those that name a cell, and all text
    with the names of what it stands in: ids, labels and classes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, Attributes]] = []
        self.cells: list[tuple[Attributes, str]] = []
        self.words: list[str] = []
        self.said: list[tuple[str, str]] = []
        self._open: list[tuple[str, Attributes, list[str]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        self.tags.append((tag, found))
        if tag not in VOID:
            self._open.append((tag, found, []))
        for spoken in ("aria-label", "alt"):
            self.said.append((f"{self._place()} {spoken}", found.get(spoken, "")))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        for _, _, inside in self._open:
            inside.append(data)
        if self._open and self._open[-1][0] not in ("script", "style"):
            self.words.append(data)
            self.said.append((self._place(), data))

    def _place(self) -> str:
        names = ("id", "aria-label", "class")
        return " ".join(found[name] for _, found, _ in self._open for name in names if name in found)

    def handle_endtag(self, tag: str) -> None:
        while self._open:
            name, found, inside = self._open.pop()
            if "data-row" in found:
                self.cells.append((found, "".join(inside).strip()))
            if name == tag:
                return

    def every(self, tag: str) -> list[Attributes]:
        return [found for name, found in self.tags if name == tag]

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.words))


def made(run: Made) -> str:
    return report_page(*run, "gapstrain 0.0.9.", "For <research> only.").read_text(encoding="utf-8")
