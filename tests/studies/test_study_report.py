"""The report of a study: what its files say is what was found, and the page needs nothing else."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from html.parser import HTMLParser
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from wrenpipe.constraints.aids import AIDS
from wrenpipe.search.aims import Aim, Figures
from wrenpipe.search.choices import Choice, programme_of
from wrenpipe.search.figures import figures_of
from wrenpipe.search.front import Front, Member, undominated
from wrenpipe.search.study import Plan, Result, Slot
from wrenpipe.search.tuner import Goal
from wrenpipe.studies import study_report as report_module
from wrenpipe.studies.convert import design_of
from wrenpipe.studies.front_sheet import Spot, front_sheet
from wrenpipe.studies.reading import read_design
from wrenpipe.studies.scoring import score
from wrenpipe.studies.shapes import FAINT, Disc, Marks, Outline, Sheet, Words
from wrenpipe.studies.store import write_folder
from wrenpipe.studies.study_bench import drilled_instrument, given_up
from wrenpipe.studies.study_found import StudyFound, found_of
from wrenpipe.studies.study_front import front_pictures
from wrenpipe.studies.study_report import (
    STUDY_FILES,
    found_values,
    instrument_files,
    study_files,
    study_report,
)
from wrenpipe.studies.study_request import StudyRequest, request_from_values
from wrenpipe.studies.study_set import changes_words
from wrenpipe.studies.study_words import figure_words

NAME = "Two <b>sizes</b> & one hand"
PLAYER = "Odile <i>"
VALUES: dict[str, Any] = {
    "request": {
        "study": {"name": NAME, "sizes": ["A4", "G4"], "choices": 3, "seed": 11},
        "menu": {"keys": ["Eb/Bb", "R2 ring"], "bores": [1.0], "walls": [0.9, 1.0], "holes": ["usual"]},
        "hand": [{"name": PLAYER, "glove": 7}],
    },
    "measured": {},
}
BROKEN = "WorkerCrashedError: <gone> & lost"


def _asked(**study: Any) -> StudyRequest:
    return request_from_values(
        {**VALUES, "request": {**VALUES["request"], "study": {**VALUES["request"]["study"], **study}}}
    )


def _tuned_front(plan: Plan, cell: int, choice: Choice, margins: Sequence[float]) -> Front:
    """Real instruments of one choice, one run each: quicker than its whole front."""
    programme = programme_of(plan.cells[cell], choice)
    members, at = [], programme.guess
    for margin in margins:
        goal = Goal(margin=margin, worst_limit=40.0, fork_limit=60.0)
        tuned = programme.run(at, goal)
        binding = tuned.binding()
        assert binding is not None
        at = tuned.outcome.v
        members.append(Member(figures_of(programme, tuned), at, goal, binding))
    return Front(choice, tuple(members), 0.0)


@pytest.fixture(scope="module")
def request_() -> StudyRequest:
    return _asked()


@pytest.fixture(scope="module")
def results(request_: StudyRequest) -> dict[Slot, Result]:
    """Both cells: one choice of all free keys with an aid, one of none, and a broken one in the first."""
    plan = request_.plan
    full = Choice(plan.menu.keys(frozenset(plan.menu.free_keys)), ("rear-arms",))
    bare = Choice(plan.menu.keys(frozenset()), (), wall=0.9)
    found = {
        Slot(cell, n): Result(choice, _tuned_front(plan, cell, choice, margins))
        for cell in (0, 1)
        for n, (choice, margins) in enumerate(((full, (0.0, 0.8)), (bare, (0.5,))))
    }
    found[Slot(0, 2)] = Result(replace(bare, aids=tuple(AIDS)), None, reason=BROKEN, attempts=3)
    return found


@pytest.fixture(scope="module")
def found(request_: StudyRequest, results: dict[Slot, Result]) -> StudyFound:
    there = found_of(request_, results)
    assert all(len(cell.front) >= 2 for cell in there.cells)
    return there


@pytest.fixture(scope="module")
def files(found: StudyFound) -> dict[str, bytes]:
    return study_files(found)


@pytest.fixture(scope="module")
def page(files: dict[str, bytes]) -> str:
    return files["report.html"].decode()


class _Tags(HTMLParser):
    """Counts what a page is made of, and refuses a tag that closes another one."""

    VOID = frozenset({"meta", "input", "br"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert not self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


@pytest.fixture(scope="module")
def tags(page: str) -> _Tags:
    return _Tags(page)


def test_the_files_open(files: dict[str, bytes]) -> None:
    assert tuple(files) == STUDY_FILES
    assert json.loads(files["study.json"])["schema"] == "wrenpipe.study/1"
    assert len(list(csv.reader(io.StringIO(files["front.csv"].decode())))) > 1
    assert ET.fromstring(files["map.svg"]).tag.endswith("svg")
    pictures = re.findall(r"<svg.*?</svg>", files["report.html"].decode(), re.S)
    for picture in pictures:
        ET.fromstring(picture)
    # the map; for each cell ten pairs of five aims, the body and the cents
    assert len(pictures) == 1 + 2 * (10 + 2)


def test_texts_are_escaped(page: str, tags: _Tags) -> None:
    assert "<b>" not in page
    assert "<i>" not in page
    assert "<gone>" not in page
    words = "".join(tags.texts)
    for text in (NAME, PLAYER, BROKEN):
        assert text in words


def test_every_pair_of_aims_has_its_picture_and_one_is_checked(found: StudyFound, tags: _Tags) -> None:
    pairs = [f"{across.value} / {up.value}" for across, up in combinations(Aim, 2)]
    for n in range(len(found.cells)):
        buttons = [a for tag, a in tags.found if tag == "input" and a["name"] == f"front-{n}"]
        assert [b["type"] for b in buttons] == ["radio"] * len(pairs)
        assert sum("checked" in b for b in buttons) == 1
        labelled = [a["for"] for tag, a in tags.found if tag == "label"]
        assert all(b["id"] in labelled for b in buttons)
    assert [text for text in tags.texts if text in pairs] == pairs * len(found.cells)
    assert sum(a.get("class") == "pane" for _, a in tags.found) == len(pairs) * len(found.cells)


def test_ids_are_used_once_and_links_lead_somewhere(tags: _Tags) -> None:
    ids = [a["id"] for _, a in tags.found if "id" in a]
    assert len(set(ids)) == len(ids)
    links = [str(a["href"]) for tag, a in tags.found if tag == "a"]
    assert links
    assert all(link.startswith("#") and link[1:] in ids for link in links)


def test_the_sheet_shows_the_pane_of_the_pressed_button(page: str) -> None:
    for n in range(1, 11):
        assert f"input:nth-of-type({n}):checked ~ .pane:nth-of-type({n})" in page


def test_the_page_reaches_for_nothing(page: str, tags: _Tags) -> None:
    assert "default-src 'none'" in page
    assert not {"script", "link", "img", "iframe", "form"} & {tag for tag, _ in tags.found}
    for _, attributes in tags.found:
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in ("href", "src", "xlink:href", "action"):
                assert str(value).startswith("#")
    assert not re.search(r"@import|url\((?!#)|http-equiv=\"refresh\"", page)


def test_the_table_holds_every_member_as_it_is(found: StudyFound, files: dict[str, bytes]) -> None:
    rows = list(csv.DictReader(io.StringIO(files["front.csv"].decode())))
    pairs = [pair for cell in found.cells for pair in cell.front]
    assert len(rows) == len(pairs)
    assert len({row["instrument"] for row in rows}) == len(rows)
    for row, (choice, member) in zip(rows, pairs, strict=True):
        figures = member.figures
        assert float(row["weighted_rms_cents"]) == pytest.approx(figures.intonation, abs=1e-6)
        assert float(row["worst_twelfth_cents"]) == pytest.approx(figures.twelfths, abs=1e-6)
        assert float(row["finger_margin_sigma"]) == pytest.approx(figures.margin, abs=1e-6)
        assert float(row["scatter_cents"]) == pytest.approx(figures.scatter, abs=1e-6)
        assert int(row["keys"]) == figures.keys
        assert float(row["demanded_margin_sigma"]) == member.goal.margin
        assert row["demanded_scatter_cents"] == ""
        assert tuple(row["aids"].split()) == choice.aids
        assert (float(row["bore_scale"]), float(row["wall_scale"])) == (choice.bore, choice.wall)
        there = {*found.request.plan.menu.fixed_keys, *filter(None, row["free_keys"].split("; "))}
        assert there == set(choice.keys)
        assert row["subject"] == member.binding.subject
    chosen = [row["instrument"] for row in rows if row["chosen"] == "yes"]
    assert chosen == [
        f"{size}-odile-i-{cell.labels[cell.chosen]}"
        for size, cell in zip(("G4", "A4"), found.cells, strict=True)
        if cell.chosen is not None
    ]


def test_the_values_say_all_that_was_found(found: StudyFound, files: dict[str, bytes]) -> None:
    values = json.loads(files["study.json"])
    assert values == found_values(found)
    assert (values["seed"], values["examined"], values["total"]) == (11, 5, 6)
    assert request_from_values(values).plan == found.request.plan
    for cell, there in zip(values["cells"], found.cells, strict=True):
        assert len(cell["front"]) == len(there.front)
        assert [one["instrument"] for one in cell["front"] if one["chosen"]] == [cell["chosen"]]
        assert cell["reason"] == there.reason
    assert [broken["reason"] for broken in values["cells"][0]["broken"]] == [BROKEN]


def test_the_instrument_can_be_scored_again(found: StudyFound, tmp_path: Path) -> None:
    files = instrument_files(found, 1)
    assert set(files) >= {"design.json", "drill-table.csv", "intonation.csv", "body.svg", "intonation.svg"}
    write_folder(tmp_path / "made", files)
    file = read_design(tmp_path / "made" / "design.json")
    assert file.size == "A4"
    for hole in file.holes:
        assert 10 * hole.diameter_mm == pytest.approx(round(10 * hole.diameter_mm), abs=1e-6)
    again = score(design_of(file)).intonation
    notes = list(csv.DictReader(io.StringIO(files["intonation.csv"].decode())))
    for row, note in zip(notes, again.notes, strict=True):
        assert float(row["cents"]) == pytest.approx(note.cents, abs=0.02)
    for name in ("body.svg", "intonation.svg"):
        ET.fromstring(files[name])


def test_what_drilling_gives_up_is_told(found: StudyFound) -> None:
    made = drilled_instrument(found, 0)
    cell = made.cell
    assert cell.instrument is not None
    limits = replace(found.request.plan.limits, worst=99.0, fork=99.0)
    assert given_up(made, limits) == ()
    choice, member = cell.instrument
    pressed = replace(member, goal=replace(member.goal, twelfth_limit=made.figures.twelfths - 1.1))
    harder = replace(made, cell=replace(cell, front=((choice, pressed),), chosen=0))
    assert [words.split(" cents")[0] for words in given_up(harder, limits)] == [
        f"worst twelfth {made.figures.twelfths:.1f}"
    ]


def test_limits_that_drilling_breaks_are_told(found: StudyFound) -> None:
    made = drilled_instrument(found, 0)
    limits = replace(
        found.request.plan.limits,
        margin=made.figures.margin + 0.2,
        intonation=made.figures.intonation - 0.2,
        worst=1.0,
    )
    told = " ".join(given_up(made, limits))
    assert f"finger margin {made.figures.margin:+.2f}" in told
    assert f"RMS {made.figures.intonation:.1f} cents" in told
    assert "where 1.0 is the limit" in told


def test_a_design_tells_where_it_came_from(found: StudyFound) -> None:
    made_by = json.loads(instrument_files(found, 0)["design.json"])["made_by"]
    cell = found.cells[0]
    assert cell.instrument is not None
    assert cell.chosen is not None
    choice, member = cell.instrument
    asked = made_by["request"]
    assert (made_by["seed"], asked["study"], asked["cell"], asked["size"]) == (11, NAME, 0, "G4")
    assert asked["hand"] == made_by["hand"]["name"] == PLAYER
    assert asked["instrument"] == f"G4-odile-i-{cell.labels[cell.chosen]}"
    assert asked["choice"]["keys"] == list(choice.keys)
    assert asked["figures_before_drilling"]["keys"] == member.figures.keys
    assert request_from_values(asked).plan == found.request.plan


def test_an_empty_cell_has_no_instrument(request_: StudyRequest) -> None:
    with pytest.raises(ValueError, match="no instrument"):
        instrument_files(found_of(request_, {}), 0)


def test_an_empty_study_says_so(request_: StudyRequest) -> None:
    nothing = found_of(request_, {})
    files = study_files(nothing)
    page = "".join(_Tags(files["report.html"].decode()).texts)
    assert "0 of 6 choices examined" in page
    assert page.count("No choice has been examined yet.") == 2
    assert files["front.csv"].count(b"\n") == 1
    assert json.loads(files["study.json"])["cells"][0]["verdict"] is None


def test_an_unfinished_study_says_what_is_known(request_: StudyRequest, results: dict[Slot, Result]) -> None:
    choice = results[Slot(0, 0)].choice
    partly = {
        Slot(0, 0): Result(choice, Front(choice, (), 2.0)),
        Slot(1, 0): Result(choice, None, reason="gone"),
    }
    page = "".join(_Tags(study_files(found_of(request_, partly))["report.html"].decode()).texts)
    assert "2 of 6 choices examined" in page
    assert "the nearest misses the least finger margin by 2.0" in page
    assert "1 of 3 choices examined, and each of them broke" in page
    values = found_values(found_of(request_, partly))
    assert [cell["verdict"] for cell in values["cells"]] == ["not reachable", None]


def test_the_terminal_gets_a_line_for_each_cell(found: StudyFound) -> None:
    out = io.StringIO()
    Console(file=out, width=120, highlight=False).print(study_report(found, Path("there")))
    text = out.getvalue()
    assert NAME in text
    assert "5 of 6 choices examined" in text
    for cell in found.cells:
        assert cell.instrument is not None
        line = next(line for line in text.splitlines() if line.startswith(f"{cell.size.name} "))
        assert f"{cell.instrument[1].figures.margin:+.2f}".replace("-", "\N{MINUS SIGN}") in line


def test_one_aim_has_no_pairs(results: dict[Slot, Result], monkeypatch: pytest.MonkeyPatch) -> None:
    request = _asked(aims=["intonation"])
    monkeypatch.setattr(report_module, "all_drilled", lambda found: dict.fromkeys(range(len(found.cells))))
    page = study_files(found_of(request, results))["report.html"].decode()
    assert "<input" not in page
    assert "there is no pair of aims to draw" in page


def _many(found: StudyFound, count: int) -> StudyFound:
    """The first cell with a long front: each a little worse in tune and with a little more room."""
    cell = found.cells[0]
    choice, member = cell.front[0]
    front = tuple(
        (choice, replace(member, figures=Figures(1.0 + k / 100, 20.0 + (7 * k) % 13, k / 100, 5.0, 8)))
        for k in range(count)
    )
    labels = tuple(f"{k + 1:03d}" for k in range(count))
    return replace(found, cells=(replace(cell, front=front, labels=labels, chosen=count // 2),))


def test_a_long_front_is_thinned_and_says_so(found: StudyFound, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_module, "all_drilled", lambda found: dict.fromkeys(range(len(found.cells))))
    files = study_files(_many(found, 400))
    page = files["report.html"].decode()
    assert "150 of 400 instruments are drawn" in page
    assert "20 of 400 instruments are shown" in page
    assert files["front.csv"].count(b"\n") == 401
    for picture in re.findall(r"<svg.*?</svg>", page, re.S)[1:]:
        marks = picture.count("<use")
        assert 150 <= marks <= 160  # and those of the legend
        assert len(picture) < 60_000
    # by number: 201 is the chosen one, 1 and 400 the ends
    assert re.search(r'<tr class="short"><td class="number">201</td>', page)
    for number in ("001", "400"):
        assert f'<td class="number">{number}</td>' in page


def test_what_only_the_last_digits_part_is_not_called_best(found: StudyFound) -> None:
    cell = found.cells[0]
    choice, member = cell.front[0]
    turned = replace(choice, aids=tuple(reversed(AIDS)))  # as a menu may list them
    more = replace(member, figures=Figures(2.0, 9.0, 1.0 + 1e-8, 4.0, 12))
    fewer = replace(member, figures=Figures(9.0, 9.0, 1.0, 4.0, 9))
    page = front_pictures(
        replace(
            found,
            cells=(replace(cell, front=((choice, fewer), (turned, more)), labels=("1-1", "2-1"), chosen=0),),
        ),
        0,
    )
    panes = page.split('<div class="pane">')[1:]
    by_pair = dict(zip(combinations(found.request.plan.aims, 2), panes, strict=True))
    # steps join what is best: there is but one such instrument, the one with fewer keys
    assert f"stroke: {FAINT}" not in by_pair[Aim.MARGIN, Aim.KEYS]
    assert f"stroke: {FAINT}" in by_pair[Aim.INTONATION, Aim.KEYS]


def _spots(
    *figures: Figures, chosen: int = 0, aids: Callable[[int], tuple[str, ...]] = lambda n: ()
) -> list[Spot]:
    members = [Member(f, None, Goal(), None) for f in figures]  # type: ignore[arg-type]
    best = {id(m) for m in undominated(members, (Aim.INTONATION, Aim.MARGIN))}
    return [Spot(m.figures, aids(n), id(m) in best, n == chosen) for n, m in enumerate(members)]


def _points(sheet: Sheet, filled: bool) -> list[tuple[float, float]]:
    """Places of marks left of the legend."""
    return [
        point
        for shape in sheet.layers[0].shapes
        if isinstance(shape, Marks) and (shape.ink.fill == shape.ink.line) is filled
        for point in shape.points
        if point[0] < 125.0
    ]


@dataclass(frozen=True)
class _Seen:
    sheet: Sheet
    spots: list[Spot]


@pytest.fixture
def seen() -> _Seen:
    """Cents against margin: three unbeaten, one beaten by the second."""
    spots = _spots(
        Figures(2.0, 9.0, 0.0, 4.0, 9),
        Figures(4.0, 9.0, 1.0, 4.0, 10),
        Figures(8.0, 9.0, 2.0, 4.0, 11),
        Figures(6.0, 9.0, 0.5, 4.0, 8),
    )
    return _Seen(front_sheet(spots, Aim.INTONATION, Aim.MARGIN), spots)


def test_better_lies_where_the_arrows_point(seen: _Seen) -> None:
    filled = sorted(set(_points(seen.sheet, True)))
    assert len(filled) == 3
    (x0, y0), (x1, y1), (x2, y2) = filled
    assert x1 - x0 == pytest.approx((x2 - x1) / 2)
    assert y0 - y1 == pytest.approx(y1 - y2)
    assert y0 > y2  # more margin is further up
    texts = [shape for shape in seen.sheet.layers[0].shapes if isinstance(shape, Words)]
    across, up = (text for text in texts if "better" in text.text)
    assert across.text.startswith("\N{LEFTWARDS ARROW}")
    assert up.text.endswith("\N{RIGHTWARDS ARROW}")
    assert up.angle == 90.0


def test_steps_pass_through_the_unbeaten_and_never_through_what_nothing_offers(seen: _Seen) -> None:
    filled = set(_points(seen.sheet, True))
    line = next(
        shape.points
        for shape in seen.sheet.layers[0].shapes
        if isinstance(shape, Outline) and len(shape.points) == 5
    )
    assert filled <= set(line)
    for corner in set(line) - filled:
        # a corner is no better than the instruments on both its sides: right of one, below the other
        assert any(x <= corner[0] + 1e-9 and y <= corner[1] + 1e-9 for x, y in filled)


def test_the_chosen_one_is_ringed_and_keys_are_told(seen: _Seen) -> None:
    x, y = min(_points(seen.sheet, True))
    rings = [shape.centre for shape in seen.sheet.layers[0].shapes if isinstance(shape, Disc)]
    assert rings.count((x, y)) == 2
    texts = [shape.text for shape in seen.sheet.layers[0].shapes if isinstance(shape, Words)]
    assert {"9", "10", "11"} <= set(texts)
    by_keys = front_sheet(seen.spots, Aim.KEYS, Aim.MARGIN)
    assert "number of keys" not in [s.text for s in by_keys.layers[0].shapes if isinstance(s, Words)]


def test_aids_are_told_by_the_shape_of_the_mark() -> None:
    sets = ((), ("rear-arms",), ("offset-holes",), tuple(AIDS))
    spots = _spots(*(Figures(2.0 + n, 9.0, float(n), 4.0, 9) for n in range(4)), aids=lambda n: sets[n])
    shapes = front_sheet(spots, Aim.INTONATION, Aim.MARGIN).layers[0].shapes
    assert len({shape.kind for shape in shapes if isinstance(shape, Marks)}) == 4


def test_figures_that_are_all_the_same_can_be_drawn() -> None:
    same = _spots(*(Figures(2.0, 9.0, 1.0, 4.0, 9) for _ in range(3)))
    for across, up in combinations(Aim, 2):
        sheet = front_sheet(same, across, up)
        assert all(math.isfinite(value) for point in _points(sheet, True) for value in point)
    with pytest.raises(ValueError, match="cannot be drawn"):
        front_sheet([], Aim.KEYS, Aim.MARGIN)


def test_changes_between_neighbours_are_named() -> None:
    one = Choice(("speaker", "Eb/Bb"), ("rear-arms",))
    assert changes_words(one, one) == "nothing"
    other = Choice(("speaker", "R2 ring"), (), bore=1.03, holes="large")
    assert changes_words(one, other) == (
        "bore scale 1 to 1.03; holes usual to large; key added: R2 ring; key gone: Eb/Bb; aid gone: rear-arms"
    )


def test_nothing_has_no_sign() -> None:
    assert figure_words(Aim.MARGIN, Figures(1.0, 1.0, -1e-9, 1.0, 9)) == "0.00"
    assert figure_words(Aim.MARGIN, Figures(1.0, 1.0, -0.5, 1.0, 9)) == "\N{MINUS SIGN}0.50"


def test_names_stay_when_more_is_examined(found: StudyFound, request_: StudyRequest) -> None:
    """An instrument keeps its name, whatever joins the front later."""
    cell = found.cells[0]
    by_member = dict(zip((id(m) for _, m in cell.front), cell.labels, strict=True))
    assert len(set(cell.labels)) == len(cell.labels)
    first = cell.front[0][0]
    results = {
        Slot(0, n): Result(choice, Front(choice, tuple(m for c, m in cell.front if c == choice), 0.0))
        for n, choice in enumerate(dict.fromkeys(choice for choice, _ in cell.front))
    }
    one = found_of(request_, {slot: r for slot, r in results.items() if r.choice == first})
    more = found_of(request_, results)
    names = dict(zip((id(m) for _, m in more.cells[0].front), more.cells[0].labels, strict=True))
    for (_, member), label in zip(one.cells[0].front, one.cells[0].labels, strict=True):
        assert names.get(id(member), label) == label
    assert by_member.keys() >= names.keys()
