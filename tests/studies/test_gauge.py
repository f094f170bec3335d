"""The finger gauge: true scale on paper and in print, read back from the files; answers there and back."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold, Mesh
from numpy.typing import NDArray
from rich.console import Console

from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.hand import Hand, hand_from_glove
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Finger, HoleKind
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.stock import stock_of
from wrenpipe.search.unknowns import mapping_for, stock_guess
from wrenpipe.studies import gauge_sheet
from wrenpipe.studies.convert import Design, design_file, design_text
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.gauge_answers import ANSWERS, read_answers
from wrenpipe.studies.gauge_making import Gauge, arms, land_radius, made_gauges
from wrenpipe.studies.gauge_print import meshes_of, stl_bytes, three_mf_bytes
from wrenpipe.studies.gauge_result import gauge_result, result_report
from wrenpipe.studies.gauge_sheet import gauge_pages
from wrenpipe.studies.gauge_stick import ARM_HEIGHT, DIMPLE, RIM, stick_parts
from wrenpipe.studies.hand_known import known_hand_text, read_known_hand
from wrenpipe.studies.shapes import Disc, Outline, Words

MM = 1e3
POINTS_PER_MM = 72.0 / 25.4


def _design_text(size: str) -> str:
    """A size as first laid out, with its keyed holes turned aside: holes where fingers have them, untuned."""
    parsed, system = parse_size(size), load_system("simple-9")
    space = design_space(system)
    mapping = mapping_for(space, parsed, stock_of(parsed))
    v = stock_guess(mapping, dry_air(), 440.0)
    for name, angle in {
        "R2 ring vent": -1.1, "Eb4 key": 1.25, "G#3 key": 1.25, "throat Ab": -0.9, "C#4 key": -1.2,
    }.items():  # fmt: skip
        v[space.hole_azimuth.start + space.hole_index(name)] = angle
    x = {name: space.hole_x.start + space.hole_index(name) for name in ("R2", "R2 ring vent")}
    v[x["R2 ring vent"]] = v[x["R2"]] + 0.5e-3
    design = Design(mapping.instrument(v), system.chart, dry_air(), parsed, 440.0)
    return design_text(design_file(design))


@pytest.fixture(scope="module")
def designs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("designs")
    paths = {size: folder / f"{size}.json" for size in ("G4", "A4")}
    for size, path in paths.items():
        path.write_text(_design_text(size), "utf-8")
    return paths


@pytest.fixture(scope="module")
def nine() -> Hand:
    return hand_from_glove(9.0, adult_population())


@pytest.fixture(scope="module")
def gauges(designs: dict[str, Path], nine: Hand) -> tuple[Gauge, ...]:
    return made_gauges(list(designs.values()), nine, None)


@dataclass(frozen=True)
class Written:
    folder: Path
    out: str


@pytest.fixture(scope="module")
def written(
    designs: dict[str, Path], run: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory
) -> Written:
    """The files of one command line."""
    folder = tmp_path_factory.mktemp("gauge") / "new"
    answer = run("hand", "gauge", *designs.values(), "--glove", "9", "--out", folder)
    assert answer.status == 0, answer.err
    return Written(folder, answer.out)


@pytest.fixture(scope="module")
def stick(written: Written) -> trimesh.Trimesh:
    return trimesh.load_mesh(written.folder / "gauge-A4.stl")


def test_every_file_is_there(written: Written) -> None:
    names = {path.name for path in written.folder.iterdir()}
    assert names == {
        "answers.csv",
        *(f"gauge-{size}.{end}" for size in ("G4", "A4") for end in ("svg", "pdf", "stl", "3mf")),
    }
    assert "100 %" in written.out
    assert "Strain." in written.out
    assert "small parts" in written.out


def _segments(svg: str) -> list[tuple[float, float, float, float]]:
    """Straight lines of two points, in mm of paper."""
    number = r"(-?[\d.]+)"
    found = re.findall(rf'd="M {number} {number} \nL {number} {number} \n"', svg)
    return [tuple(float(value) / POINTS_PER_MM for value in one) for one in found]  # type: ignore[misc]


def test_the_paper_is_iso_a4_and_its_check_lines_are_100_mm(written: Written) -> None:
    """ISO 216: 210 mm by 297 mm; a point is 1/72 inch."""
    svg = (written.folder / "gauge-A4.svg").read_text("utf-8")
    root = ElementTree.fromstring(svg)
    size = [float(root.attrib[side].removesuffix("pt")) / POINTS_PER_MM for side in ("width", "height")]
    assert size == pytest.approx([297.0, 210.0], abs=0.01)
    level = [abs(c - a) for a, b, c, d in _segments(svg) if abs(d - b) < 1e-6]
    upright = [abs(d - b) for a, b, c, d in _segments(svg) if abs(c - a) < 1e-6]
    assert any(length == pytest.approx(100.0, abs=0.01) for length in level)
    assert any(length == pytest.approx(100.0, abs=0.01) for length in upright)
    words = " ".join(root.itertext())
    for needed in ("Measure before use", "do not use", "100 %", "Stop when it hurts", "TOP"):
        assert needed in words
    pdf = (written.folder / "gauge-A4.pdf").read_bytes()
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", pdf)
    assert box is not None
    assert [float(side) / POINTS_PER_MM for side in box.groups()] == pytest.approx([297.0, 210.0], abs=0.01)


def test_holes_lie_on_the_paper_where_they_lie_on_the_body(gauges: tuple[Gauge, ...]) -> None:
    """Distances along and round the body, and the way round it, in millimetres."""
    gauge = gauges[1]
    (page,) = gauge_pages(gauge)
    discs = [shape for layer in page.layers for shape in layer.shapes if isinstance(shape, Disc)]
    ((left, top, wide, high),) = (layer.window for layer in page.layers if layer.window is not None)
    assert high == pytest.approx(2 * math.pi * gauge.radius * MM, abs=1e-9)
    assert wide == pytest.approx((gauge.last - gauge.first) * MM, abs=1e-9)
    front = top + high / 2
    for hole in gauge.instrument.holes:
        around = math.remainder(hole.azimuth, 2 * math.pi) * gauge.radius * MM
        at = left + (hole.x - gauge.first) * MM, front + around
        rim = hole.diameter / 2 * MM
        # the hole, and round it what a finger has to hide or a pad covers
        bare = hole.kind is HoleKind.FINGER
        for radius in (rim, rim + gauge.layout.policy.land * MM if bare else hole.pad_radius * MM):
            assert any(
                math.dist(disc.centre, at) < 1e-6 and abs(disc.radius - radius) < 1e-9 for disc in discs
            ), hole.name


def test_all_places_have_a_box_for_each_answer(gauges: tuple[Gauge, ...]) -> None:
    (page,) = gauge_pages(gauges[1])
    words = [s.text for layer in page.layers for s in layer.shapes if isinstance(s, Words)]
    for kind, (good, bad) in ANSWERS.items():
        number = sum(place.kind is kind for place in gauges[1].places)
        alike = sum(
            place.kind in [k for k, v in ANSWERS.items() if v == (good, bad)] for place in gauges[1].places
        )
        assert number <= words.count(good) == alike
        assert words.count(bad.split()[0]) == alike
    for n, finger in enumerate(Finger, start=1):
        assert f"{n}  {finger}" in words
        # the number stands on its place too, once or at both edges of the paper
        assert words.count(str(n)) >= 1


def test_a_long_body_goes_on_over_the_next_page(
    gauges: tuple[Gauge, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On narrow pages: each part joins the last by what both show, and nothing is scaled."""
    whole = gauge_pages(gauges[1])
    monkeypatch.setattr(gauge_sheet, "STRIP_WIDTH", 100.0)
    pages = gauge_pages(gauges[1])
    windows = [layer.window for page in pages for layer in page.layers if layer.window is not None]
    length = (gauges[1].last - gauges[1].first) * MM
    assert len(windows) == 2
    assert sum(w[2] for w in windows) - gauge_sheet.AGAIN == pytest.approx(length, abs=1e-9)
    assert all((page.width, page.height) == (whole[0].width, whole[0].height) for page in pages)

    def rims(page: Any) -> list[tuple[float, float]]:
        return [s.centre for layer in page.layers for s in layer.shapes if isinstance(s, Disc)]

    step = 100.0 - gauge_sheet.AGAIN
    assert np.array(rims(pages[1])) == pytest.approx(np.array(rims(pages[0])) - [step, 0.0], abs=1e-9)


def test_a_body_too_thick_for_the_paper_is_refused(gauges: tuple[Gauge, ...]) -> None:
    with pytest.raises(RequestError, match=r"radius of 40\.0 mm; allowed on a paper gauge is up to"):
        gauge_pages(replace(gauges[0], radius=40e-3))


def test_the_print_is_closed_and_as_large_as_the_body(
    stick: trimesh.Trimesh, gauges: tuple[Gauge, ...]
) -> None:
    gauge = gauges[1]
    length, radius = (gauge.last - gauge.first) * MM, gauge.radius * MM
    assert stick.is_watertight
    assert stick.is_winding_consistent
    assert stick.body_count == 1
    low, high = stick.bounds
    assert high[2] - low[2] == pytest.approx(length, abs=1e-3)
    assert max(high[0], high[1]) == pytest.approx(radius + ARM_HEIGHT, abs=0.02)
    # The body is a cylinder of 180 sides; arms, rims, groove, dimples and letters add a few per cent.
    cylinder = 90 * math.sin(2 * math.pi / 180) * radius**2 * length
    added = sum(
        abs(_area(corners)) * MM**2 * ARM_HEIGHT * (1 + ARM_HEIGHT / 2 / radius) for _, corners in arms(gauge)
    )
    assert stick.volume == pytest.approx(cylinder + added, rel=0.01)


def _area(corners: tuple[tuple[float, float], ...]) -> float:
    x, y = np.array(corners).T
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def _outside(stick: trimesh.Trimesh, z: float, azimuth: float) -> float:
    """How far off the axis the surface lies at this height and azimuth, mm: a ray's farthest crossing."""
    way = np.array([math.sin(azimuth), math.cos(azimuth), 0.0])
    a, b, c = (stick.triangles[:, n] for n in range(3))
    # T. Möller, B. Trumbore, Journal of Graphics Tools 2 (1997) 21
    edge, other, origin = b - a, c - a, np.array([0.0, 0.0, z])
    across = np.cross(way, other)
    size = np.einsum("ij,ij->i", edge, across)
    with np.errstate(all="ignore"):
        u = np.einsum("ij,ij->i", origin - a, across) / size
        turned = np.cross(origin - a, edge)
        w = turned @ way / size
        far = np.einsum("ij,ij->i", other, turned) / size
        hit = np.isfinite(u + w) & (u >= -1e-9) & (w >= -1e-9) & (u + w <= 1 + 1e-9) & (far > 0)
    return float(far[hit].max())


def test_holes_rims_and_arms_stand_where_they_should(
    stick: trimesh.Trimesh, gauges: tuple[Gauge, ...]
) -> None:
    """Probed from outside at the places of the design; the turn from front to back shows left from right."""
    gauge = gauges[1]
    radius = gauge.radius * MM
    for hole in gauge.instrument.holes:
        if hole.kind is not HoleKind.FINGER:
            continue
        z = (gauge.last - hole.x) * MM
        assert _outside(stick, z, hole.azimuth) == pytest.approx(radius - DIMPLE, abs=0.02), hole.name
        rim = land_radius(gauge.layout, hole) * MM
        for edge, high in ((rim - 0.1, RIM), (rim + 0.1, 0.0)):
            ends = [_outside(stick, z + way * edge, hole.azimuth) for way in (1, -1)]
            assert min(ends) == pytest.approx(radius + high, abs=0.02), hole.name
    for touch in gauge.plan.touchpieces:
        if touch.finger in (Finger.L4, Finger.R4):
            # on the outline of each touchpiece, half a line inside its edge
            z, s = (gauge.last - touch.x) * MM, (touch.s + touch.width / 2) * MM - 0.4
            assert _outside(stick, z, s / radius) == pytest.approx(radius + RIM, abs=0.02), touch.key


def test_an_arm_is_as_wide_as_the_system_says(stick: trimesh.Trimesh, gauges: tuple[Gauge, ...]) -> None:
    gauge = gauges[1]
    radius = gauge.radius * MM
    widths = {lane.key: lane.width * MM for lane in gauge.layout.space.system.lanes}
    assert len(arms(gauge)) == 3
    for key, corners in arms(gauge):
        (x, s), azimuth = np.mean(corners, axis=0), np.mean([s for _, s in corners]) / gauge.radius
        assert s == pytest.approx(azimuth * gauge.radius)
        zs = (gauge.last - x) * MM + np.arange(-4.0, 4.0, 0.05)
        high = [_outside(stick, z, float(azimuth)) > radius + ARM_HEIGHT - 0.1 for z in zs]
        assert 0.05 * sum(high) == pytest.approx(widths[key], abs=0.11), key


def test_top_groove_and_engraved_name(stick: trimesh.Trimesh, gauges: tuple[Gauge, ...]) -> None:
    length, radius = (gauges[1].last - gauges[1].first) * MM, gauges[1].radius * MM
    assert _outside(stick, length - 3.6, 0.3) == pytest.approx(radius - 0.8, abs=0.02)
    assert _outside(stick, length - 1.0, 0.3) == pytest.approx(radius, abs=0.02)
    full = 90 * math.sin(2 * math.pi / 180) * radius**2
    surface = Mesh(np.asarray(stick.vertices, dtype=np.float32), np.asarray(stick.faces, dtype=np.uint32))
    engraved, solid = (Manifold(surface).slice(z).area() for z in (0.3, 0.9))
    assert solid == pytest.approx(full, rel=1e-3)
    # the strokes of two letters of nine tenths of the radius cover some per cent of the end
    assert 0.80 * full < engraved < 0.97 * full


def _of_three_mf(content: bytes) -> list[tuple[NDArray[np.float64], NDArray[np.int64]]]:
    space = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
    with zipfile.ZipFile(io.BytesIO(content)) as package:
        assert set(package.namelist()) == {"[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"}
        assert "/3D/3dmodel.model" in package.read("_rels/.rels").decode()
        root = ElementTree.fromstring(package.read("3D/3dmodel.model"))
    assert root.attrib["unit"] == "millimeter"
    parts = []
    for mesh in root.iter(f"{space}mesh"):
        points = [[float(v.attrib[axis]) for axis in "xyz"] for v in mesh.iter(f"{space}vertex")]
        faces = [[int(t.attrib[f"v{n}"]) for n in (1, 2, 3)] for t in mesh.iter(f"{space}triangle")]
        parts.append((np.array(points), np.array(faces)))
    assert len(list(root.iter(f"{space}item"))) == len(parts)
    return parts


def test_the_3mf_holds_the_same_solid(written: Written, stick: trimesh.Trimesh) -> None:
    ((points, faces),) = _of_three_mf((written.folder / "gauge-A4.3mf").read_bytes())
    mesh = trimesh.Trimesh(points, faces, process=False)
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(stick.volume, rel=1e-5)
    assert mesh.bounds == pytest.approx(stick.bounds, abs=1e-3)


def test_a_long_stick_is_parted_below_the_printers_height(gauges: tuple[Gauge, ...]) -> None:
    """Two parts below 120 mm, which together are the whole but for the pins' holes in the joint."""
    gauge = gauges[1]
    whole, parts = stick_parts(gauge, 0.3), stick_parts(gauge, 0.12)
    assert len(whole) == 1
    assert len(parts) == 2
    heights = [part.bounding_box()[5] - part.bounding_box()[2] for part in parts]
    assert max(heights) <= 120.0
    assert sum(heights) == pytest.approx((gauge.last - gauge.first) * MM, abs=1e-3)
    pins = 4 * 8.0 * 16 * math.sin(2 * math.pi / 32) * 1.0**2
    assert sum(p.volume() for p in parts) == pytest.approx(whole[0].volume() - pins, rel=1e-4)
    meshes = meshes_of(parts)
    assert all(mesh.is_watertight for mesh in meshes)
    # side by side, not through each other
    assert meshes[0].bounds[1][0] < meshes[1].bounds[0][0]
    assert len(_of_three_mf(three_mf_bytes(meshes, "parts"))) == 2
    assert stl_bytes(meshes) == stl_bytes(meshes_of(stick_parts(gauge, 0.12)))


def test_a_raised_chimney_stands_up(gauges: tuple[Gauge, ...]) -> None:
    gauge = gauges[1]
    higher = tuple(
        replace(hole, chimney=hole.chimney + 2e-3) if hole.name == "R2" else hole
        for hole in gauge.instrument.holes
    )
    raised = replace(gauge, instrument=replace(gauge.instrument, holes=higher))
    (mesh,) = meshes_of(stick_parts(raised, 0.3))
    hole, radius = raised.instrument.hole("R2"), raised.radius * MM
    z, rim = (raised.last - hole.x) * MM, land_radius(raised.layout, hole) * MM
    assert _outside(mesh, z, hole.azimuth) == pytest.approx(radius + 2.0 - DIMPLE, abs=0.02)
    assert _outside(mesh, z + rim - 0.1, hole.azimuth) == pytest.approx(radius + 2.0 + RIM, abs=0.02)


def test_the_same_request_gives_the_same_bytes(
    designs: dict[str, Path], written: Written, run: Callable[..., Any], tmp_path: Path
) -> None:
    assert run("hand", "gauge", designs["A4"], "--glove", "9", "--out", tmp_path).status == 0
    for end in ("svg", "pdf", "stl", "3mf"):
        name = f"gauge-A4.{end}"
        assert (tmp_path / name).read_bytes() == (written.folder / name).read_bytes(), end


def _filled(text: str, say: Callable[[dict[str, str]], str], mark: str = ",") -> str:
    """An answers.csv with answers; comment lines stay."""
    lines = text.splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    out = io.StringIO()
    out.write("\n".join(line for line in lines if line.startswith("#")) + "\n")
    writer = csv.DictWriter(out, list(rows[0]), delimiter=mark, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({**row, "answer": say(row)} for row in rows)
    return out.getvalue()


def test_answers_are_a_line_each_and_come_back(
    written: Written, gauges: tuple[Gauge, ...], tmp_path: Path
) -> None:
    """What is written by hand or by a spreadsheet, with commas or semicolons, is what is read."""
    text = (written.folder / "answers.csv").read_text("utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    assert len(rows) == sum(len(gauge.places) for gauge in gauges) == 64
    assert not any(row["answer"] for row in rows)
    for pair in ANSWERS.values():
        assert all(
            word in "".join(line for line in text.splitlines() if line.startswith("#")) for word in pair
        )

    def say(row: dict[str, str]) -> str:
        good, bad = next(pair for kind, pair in ANSWERS.items() if kind == row["question"])
        return {"G4": good, "A4": bad.upper()}[row["size"]] if row["question"] != "joints" else ""

    for mark in ",;":
        path = tmp_path / "filled.csv"
        path.write_text(_filled(text, say, mark), "utf-8")
        expected = [
            None if place.kind == "joints" else gauge.size.name == "G4"
            for gauge in gauges
            for place in gauge.places
        ]
        assert list(read_answers(path, gauges)) == expected


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "A4,left index,reach,,",
            "A4,left index,reach,maybe,",
            "answer is 'maybe'; allowed are reaches, cannot",
        ),
        (
            "A4,left index,reach,,",
            "B4,left index,reach,reaches,",
            "'left index' ('reach') of size 'B4' is no place",
        ),
        ("A4,left index,reach,,", "A4,left index,reach,reaches,1/2 ", "needed are the --glove"),
        ("A4,left index,reach,,", "A4,left index,reach,reaches,oops", "needed are the --glove"),
        ("A4,left index,reach,,", "A4,left index,reach,reaches", "has 4 columns; needed are 5"),
        ("size,place,question", "size,where,question", "needed is size,place,question,answer,seats_mm"),
        ("A4,left index,reach,,", 'A4,"left index,reach,,', "is not CSV"),
        ("", "", "holds no answer"),
    ],
)
def test_answers_that_cannot_be_read(
    written: Written, gauges: tuple[Gauge, ...], tmp_path: Path, old: str, new: str, told: str
) -> None:
    text = (written.folder / "answers.csv").read_text("utf-8")
    lines = [
        (line.replace(old, new, 1).split("  ")[0] if old and old in line else line)
        for line in text.splitlines()
    ]
    if "1/2 " in new:
        lines = [line[: line.index("1/2") + 3] if "1/2" in line else line for line in lines]
    if new.endswith("reaches"):
        lines = [line[: line.index(new) + len(new)] if new in line else line for line in lines]
    path = tmp_path / "answers.csv"
    path.write_text("\n".join(lines), "utf-8")
    with pytest.raises(RequestError) as refused:
        read_answers(path, gauges)
    assert told in str(refused.value)


def test_one_line_twice_is_refused(written: Written, gauges: tuple[Gauge, ...], tmp_path: Path) -> None:
    text = (written.folder / "answers.csv").read_text("utf-8").replace(",reach,,", ",reach,reaches,")
    line = next(line for line in text.splitlines() if line.startswith("A4,left index,reach"))
    path = tmp_path / "answers.csv"
    path.write_text(f"{text}{line}\n", "utf-8")
    with pytest.raises(RequestError, match=r"left index \(reach\) of A4 twice"):
        read_answers(path, gauges)


@pytest.fixture(scope="module")
def fits(written: Written, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Everything fits and closes on both sizes."""
    path = tmp_path_factory.mktemp("answers") / "fits.csv"
    text = (written.folder / "answers.csv").read_text("utf-8")
    path.write_text(
        _filled(text, lambda row: next(p for k, p in ANSWERS.items() if k == row["question"])[0]), "utf-8"
    )
    return path


def test_answers_make_a_hand_and_a_verdict(
    designs: dict[str, Path], fits: Path, run: Callable[..., Any], tmp_path: Path, nine: Hand
) -> None:
    """Fingers that fit everywhere are slenderer than was thought, and play both sizes."""
    line = ("hand", "gauge", *designs.values(), "--result", fits, "--out", tmp_path)
    told = run(*line, "--glove", "9", "--json")
    assert told.status == 0, told.err
    values = json.loads(told.out)
    assert values["answers"] == values["places"] == 64
    assert values["doubts"] == []
    for size in values["sizes"]:
        assert size["after"]["likelihood"] >= size["before"]["likelihood"]
        assert size["after"]["finger_margin_sigma"] != size["before"]["finger_margin_sigma"]
    assert values["sizes"][0]["after"]["likelihood"] > values["sizes"][0]["before"]["likelihood"] + 0.2
    assert values["sizes"][0]["after"]["likelihood_words"] in ("very likely", "almost certainly")
    assert values["moved"][0]["after_sd_mm"] < values["moved"][0]["before_sd_mm"]
    after = read_known_hand(tmp_path / "hand-after.json")
    assert after.origin.startswith(nine.origin)
    assert after.tip(Finger.L2).value < nine.tip(Finger.L2).value
    assert after.tip(Finger.L2).sd < nine.tip(Finger.L2).sd
    # the hand is taken in the place of a hand's file
    again = run(
        "hand",
        "gauge",
        designs["A4"],
        "--hand",
        tmp_path / "hand-after.json",
        "--out",
        tmp_path / "b",
        "--json",
    )
    assert again.status == 0, again.err
    assert json.loads(again.out)["hand"] == after.origin


def test_a_result_is_told_in_words(gauges: tuple[Gauge, ...], nine: Hand) -> None:
    """One answer that quarrels with another, and the size before and after."""
    gauge = replace(gauges[0], places=tuple(p for p in gauges[0].places if p.kind == "arm")[:2])
    told: list[str] = []
    result = gauge_result([gauge], [True, False], nine, told.append)
    doubtful = replace(result, told=replace(result.told, doubts=("one and two quarrel",)))
    console = Console(file=io.StringIO(), width=100)
    console.print(result_report(doubtful, "here/hand-after.json"))
    shown = console.file.getvalue()  # type: ignore[attr-defined]
    assert "2 of 2 places answered" in shown
    assert "Doubtful: one and two quarrel." in shown
    assert "here/hand-after.json" in shown
    assert re.search(r"G4 +\w[\w ]+\(\d+ %\) +\w[\w ]+\(\d+ %\) +[+-]\d", shown)
    assert re.search(r"left \w+ breadth +\d+\.\d ± \d", shown)
    assert told


def test_bad_lines_are_refused_and_write_nothing(
    designs: dict[str, Path], fits: Path, run: Callable[..., Any], tmp_path: Path
) -> None:
    out = tmp_path / "none"
    for more, told in (
        (("--glove", "7", "--result", fits), "needed are the --glove"),
        (("--glove", "9", "--player", "woman"), "allowed is one of them"),
        ((), "A player is needed"),
        (("--glove", "9", "--aids", "wings"), "--aids is 'wings'; allowed are none"),
        (("--glove", "9", "--height", "5"), "--height is 5; allowed is a number from 60 to 600 mm"),
        (("--glove", "9", "--result", tmp_path / "no.csv"), "no such file"),
        ((designs["A4"], "--glove", "9"), "is of size A4 like a design before it"),
    ):
        answer = run("hand", "gauge", *designs.values(), *more, "--out", out)
        assert answer.status == 2, more
        assert told in answer.err
        assert not out.exists()


def test_filled_in_answers_are_not_written_over(
    designs: dict[str, Path], fits: Path, run: Callable[..., Any], tmp_path: Path
) -> None:
    (tmp_path / "answers.csv").write_bytes(fits.read_bytes())
    answer = run("hand", "gauge", designs["A4"], "--glove", "9", "--out", tmp_path)
    assert answer.status == 2
    assert "holds answers, which would be lost" in answer.err
    assert [path.name for path in tmp_path.iterdir()] == ["answers.csv"]


def test_a_known_hand_comes_back_whole(nine: Hand, tmp_path: Path) -> None:
    path = tmp_path / "hand.json"
    path.write_text(
        known_hand_text(replace(nine, warnings=("a warning",), measured=frozenset({"x"}))), "utf-8"
    )
    back = read_known_hand(path)
    assert back.mean == pytest.approx(nine.mean, rel=1e-11)
    assert back.covariance == pytest.approx(nine.covariance, rel=1e-11, abs=1e-20)
    assert (back.origin, back.people) == (nine.origin, nine.people)
    assert (back.warnings, back.measured) == (("a warning",), frozenset({"x"}))


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("schema", "other/1", "schema is 'other/1'"),
        ("mean_mm", [10.0], "mean_mm is a list of 1; allowed is a list of 38"),
        ("mean_mm", [-1.0] * 38, "mean_mm[0] is -1; allowed is a number from 1 to 400 mm"),
        ("measures", ["left thumb"] * 38, "measures are not the 38 that are known"),
        ("covariance_mm2", [[0.0] * 38] * 37, "covariance_mm2 is a list of 37"),
        ("covariance_mm2", [[float(n < m) for m in range(38)] for n in range(38)], "is not symmetric"),
        ("covariance_mm2", [[1.0 + (n != m) for m in range(38)] for n in range(38)], "negative variance"),
        ("sd_mm", [0.5] * 38, "sd_mm are not the roots"),
        ("colour", "red", "colour is not a field here"),
    ],
)
def test_a_known_hand_that_cannot_be_read(
    nine: Hand, tmp_path: Path, field: str, value: object, told: str
) -> None:
    path = tmp_path / "hand.json"
    path.write_text(json.dumps({**json.loads(known_hand_text(nine)), field: value}), "utf-8")
    with pytest.raises(RequestError) as refused:
        read_known_hand(path)
    assert told in str(refused.value)


def test_what_is_not_json_is_no_hand(tmp_path: Path) -> None:
    path = tmp_path / "hand.json"
    path.write_text("[hand]", "utf-8")
    with pytest.raises(RequestError, match="is not JSON"):
        read_known_hand(path)


def test_the_outline_of_an_arm_leaves_its_clearance(gauges: tuple[Gauge, ...]) -> None:
    """A grey strip on the paper is the arm; the room it needs is drawn round it."""
    (page,) = gauge_pages(gauges[1])
    grey = [
        s
        for layer in page.layers
        for s in layer.shapes
        if isinstance(s, Outline) and s.ink.fill == gauge_sheet.ARM_FILL
    ]
    widths = {round(s.points[1][0] - s.points[0][0], 6) for s in grey}
    assert widths == {round(lane.width * MM, 6) for lane in gauges[1].layout.space.system.lanes}
