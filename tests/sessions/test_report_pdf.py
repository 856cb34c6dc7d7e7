"""The report as PDF, as other people's programs (poppler) read it: paper, margins, size of the letters, what stays together."""

import re
import shutil
import subprocess
from dataclasses import dataclass
from html import unescape
from itertools import chain

import numpy as np
import pytest

from monitor.cli.main import main
from monitor.sessions import find_sessions
from tests.sessions.shows import overload_stream, record
from tests.sessions.test_demo_sessions import SHIPPED

POINT = 1.0
MM = 72 / 25.4
PAPERS = {
    # ISO 216: A4 is 210 mm by 297 mm. ANSI/ASME Y14.1: size A is 8.5 in by 11 in.
    "a4": (210 * MM, 297 * MM),
    "letter": (8.5 * 72, 11 * 72),
}
SIDE, TOP, FOOT = 14 * MM, 14 * MM, 17 * MM
EDGE = 5 * MM
"""Nearer to the edge many printers do not print: common practice, no published source."""
LEAST_HEIGHT = 8.0
HEADINGS = ("What ran", "What came close", "Warnings", "What stalled, and why", "What to mend before the next show", "Caution",
            "Bench checks outstanding", "Every district", "Outer main", "Inner main", "Quarry branch", "Town lights", "Marks")  # fmt: skip
WORD = re.compile(r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*?)</word>')


@dataclass(frozen=True)
class Word:
    left: float
    top: float
    right: float
    bottom: float
    text: str


@dataclass(frozen=True)
class Sheet:
    size: tuple[float, float]
    words: list[Word]

    def lines(self):
        """Words of one height, from left to right."""
        rows = {}
        for word in self.words:
            rows.setdefault(round(word.bottom), []).append(word)
        return [sorted(rows[at], key=lambda word: word.left) for at in sorted(rows)]


def poppler(*command):
    path = shutil.which(command[0])
    assert path is not None, f"{command[0]} is needed: install poppler-utils"
    return subprocess.run([path, *command[1:]], capture_output=True, check=True).stdout


def sheets_of(pdf):
    told = poppler("pdftotext", "-bbox", str(pdf), "-").decode()
    found = []
    for page in re.split(r"(?=<page )", told)[1:]:
        width, height = re.match(r'<page width="(.+?)" height="(.+?)"', page).groups()
        words = [Word(*map(float, place), text=unescape(text)) for *place, text in WORD.findall(page)]
        found.append(Sheet((float(width), float(height)), words))
    return found


@pytest.fixture(scope="module", params=sorted(PAPERS))
def printed(request, tmp_path_factory):
    """Every session that comes along, and one with an awkward remark, on one kind of paper."""
    folder = tmp_path_factory.mktemp(request.param)
    record(folder / "recordings", overload_stream(9.0), 9.0, marks=[(120, "derailed at the " + "very " * 60 + "end")])
    pdfs = []
    for k, session in enumerate([*SHIPPED, *find_sessions(folder / "recordings")]):
        assert main(["report", str(session.path), "--out", str(folder / f"{k}.html"), "--pdf", "--paper", request.param]) == 0
        pdfs.append(folder / f"{k}.pdf")
    return request.param, pdfs, [sheets_of(pdf) for pdf in pdfs]


def test_the_paper_is_what_was_asked_for(printed):
    paper, _, reports = printed
    assert len(reports) == 4
    for sheet in chain.from_iterable(reports):
        assert sheet.size == pytest.approx(PAPERS[paper], abs=POINT)


def test_no_word_stands_in_the_margins_and_each_sheet_is_numbered(printed):
    _, _, reports = printed
    for sheets in reports:
        for number, sheet in enumerate(sheets, start=1):
            width, height = sheet.size
            *body, foot = sheet.lines()
            assert " ".join(word.text for word in foot).endswith(f"page {number} of {len(sheets)}")
            assert all(word.bottom <= height - EDGE for word in foot)
            assert all(SIDE - POINT <= word.left < word.right <= width - SIDE + POINT for word in sheet.words)
            assert all(TOP - POINT <= word.top < word.bottom <= height - FOOT + POINT for line in body for word in line)


def test_letters_are_large_enough_and_the_paper_stays_white(printed):
    _, pdfs, reports = printed
    assert all(word.bottom - word.top >= LEAST_HEIGHT for sheet in chain.from_iterable(reports) for word in sheet.words)
    for pdf, sheets in zip(pdfs, reports, strict=True):
        grey = poppler("pdftoppm", "-gray", "-r", "20", str(pdf))
        sizes = re.findall(rb"P5\n(\d+) (\d+)\n255\n", grey)
        assert len(sizes) == len(sheets)
        assert np.mean(np.frombuffer(grey, dtype=np.uint8) > 240) > 0.8


def test_headings_stay_with_what_follows_and_pictures_stay_whole(printed):
    _, _, reports = printed
    for sheet in chain.from_iterable(reports):
        *body, _foot = [[word.text for word in line] for line in sheet.lines()]
        assert " ".join(body[-1]) not in HEADINGS
        captions = sum(line[0] in ("Amps,", "Volts,") for line in body) + sum("volt-amperes" in line for line in body)
        axes = sum(len(line) == 5 and all(re.fullmatch(r"\d+:\d\d:\d\d", text) for text in line) for line in body)
        assert axes == captions
    assert any("volt-amperes" in [word.text for word in sheet.words] for sheet in reports[0])
