"""The report as one page: order, escaping, no network, and what its tables say."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from wrenpipe.constraints.margins import Margin, Severity
from wrenpipe.studies.cautions import CAUTIONS
from wrenpipe.studies.report import ReportInput, report_html


class Reader(HTMLParser):
    """Collects headings, text, ids and addresses, and checks that every element is closed."""

    VOID = ("meta", "br", "hr", "img", "link", "input")

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[str] = []
        self.rows: list[list[str]] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.tags: Counter[str] = Counter()
        self.text = ""
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name in ("src", "href", "xlink:href", "action", "data"):
                self.addresses.append(value or "")
        if tag not in self.VOID:
            self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th") and self.rows:
            self.rows[-1].append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data
        if self.open and self.open[-1] in ("h1", "h2"):
            self.headings.append(data)
        if self.open and self.open[-1] in ("td", "th"):
            self.rows[-1][-1] += data


@pytest.fixture(scope="module")
def html(report: ReportInput) -> str:
    return report_html(report)


@pytest.fixture(scope="module")
def read(html: str) -> Reader:
    return Reader(html)


def test_report_runs_from_the_answer_to_the_bench_to_the_cautions(read: Reader) -> None:
    assert read.headings == [
        "A piccolo (C sounds A4)",
        "The body",
        "Intonation",
        "Notes and twelfths",
        "Drill table",
        "Limits, the tightest first",
        "Bore",
        "Fingerings",
        "What all figures rest on",
        "The request that makes this again",
        "Cautions",
    ]
    assert "sounds C#4 to A6 at A4 = 440 Hz" in read.text
    assert "middle and ring lack 0.20 mm" in read.text
    assert all(caution in read.text for caution in CAUTIONS)
    assert 'size = "A4"\nseed = 7\n' in read.text


def test_report_needs_no_network_and_runs_no_script(read: Reader, html: str) -> None:
    assert all(address.startswith("#") for address in read.addresses)
    assert not re.search(r"@import|url\((?!#)", html)
    assert read.tags["script"] == read.tags["link"] == read.tags["img"] == 0
    assert "default-src 'none'" in html


def test_ids_are_unique_and_every_reference_finds_one(read: Reader, html: str) -> None:
    assert len(read.ids) == len(set(read.ids))
    wanted = {address[1:] for address in read.addresses} | set(re.findall(r"url\(#([^)]+)\)", html))
    assert wanted <= set(read.ids)


def test_report_is_the_same_text_every_time(html: str, report: ReportInput) -> None:
    assert report_html(report) == html


def test_texts_from_outside_stay_texts(report: ReportInput) -> None:
    nasty = "<script>alert('x')</script> & \"quoted\""
    margin = Margin(nasty, nasty, 0.001, 0.002, "m", 0.001, 0.001, Severity.SOFT, nasty)
    report = replace(
        report, verdict=nasty, hand=nasty, request=nasty, version=nasty, warnings=(nasty,), margins=(margin,)
    )
    page = Reader(report_html(report))
    assert page.tags["script"] == 0
    assert page.text.count(nasty) >= 7


def test_forks_stand_apart_from_their_registers(read: Reader) -> None:
    start = next(i for i, row in enumerate(read.rows) if row and row[0].startswith("forks:"))
    forks = [row[0] for row in read.rows[start + 1 : start + 5]]
    assert forks == ["Bb3", "B3", "F5", "F#5"]
    assert [len(row) for row in read.rows if row[0] == "Bb3"] == [7, 4, 5]  # a note, a twelfth, a fingering
    assert read.rows[start + 2][4] == "\N{EN DASH}"  # B3 is lost: no cents
    assert read.rows[start + 2][6] == "lost"


def test_limits_stand_by_margin_in_millimetres_with_what_would_relieve_them(read: Reader) -> None:
    start = next(i for i, row in enumerate(read.rows) if row[:2] == ["limit", "on"])
    rows = read.rows[start + 1 : start + 6]
    assert [row[0] for row in rows] == ["web", "crowding", "seal", "stretch", "wall"]
    assert rows[1][2:7] == ["15.60", "15.80", "\N{MINUS SIGN}0.20", "mm", "\N{MINUS SIGN}0.2"]
    assert rows[1][8] == "Lead the Eb/Bb arm round the back."
    assert "5 limits checked, 2 not met." in read.text


def test_every_failing_limit_is_shown_however_many(report: ReportInput) -> None:
    many = tuple(
        Margin("web", f"pair {i}", 0.001, 0.002, "m", -0.001 if i < 60 else 0.001, 0.0, Severity.HARD)
        for i in range(90)
    )
    page = Reader(report_html(replace(report, margins=many, plan=None)))
    assert sum(row[0] == "web" for row in page.rows if row) == 60
    assert "90 limits checked, 60 not met. The 30 with more to spare are left out." in page.text


def test_the_tightest_direction_of_a_seal_stands_for_all(report: ReportInput) -> None:
    seals = tuple(
        Margin("seal", "left ring on hole L3", 0.004, 0.005, "m", 0.001 + 1e-4 * i, 0.001, Severity.SOFT)
        for i in range(16)
    )
    page = Reader(report_html(replace(report, margins=seals, plan=None)))
    assert [row[4] for row in page.rows if row and row[0] == "seal"] == ["1.00"]


def test_fingerings_are_words(read: Reader) -> None:
    rows = {row[0]: row for row in read.rows if len(row) == 5}
    assert rows["C4"][2:4] == ["left thumb, index, middle, ring", "none"]
    assert rows["G4"][2:4] == ["none", "none"]
    assert rows["Bb4"][3] == "throat A, speaker"
    assert rows["B3"][4] == "fork"
    assert not re.search(r"\b[xXoO]{3,}\b|[●○◐◑]", read.text)


def test_a_report_without_a_hand_says_so(report: ReportInput) -> None:
    page = Reader(report_html(replace(report, plan=None, margins=(), hand="", warnings=(), barrel=None)))
    assert "No hand was asked about." in page.text
    assert "no limit was checked" in page.text
    assert "Finger margin" not in page.text


def test_cautions_name_every_hazard() -> None:
    said = " ".join(CAUTIONS).lower()
    for word in (
        "hearing",
        "hurts",
        "not medical",
        "mouthpiece",
        "swallowed",
        "solvents",
        "dust",
        "local codes",
    ):
        assert word in said
    # NIOSH: 480 minutes at 85 dB(A), halved for every 3 dB
    assert 480.0 / 2.0 ** ((100.0 - 85.0) / 3.0) == 15.0
    assert 480.0 / 2.0 ** ((106.0 - 85.0) / 3.0) < 4.0
