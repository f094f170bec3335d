"""Printers from files: the default is what was assumed before, and a wrong file gets one sentence."""

from __future__ import annotations

import tomllib
from dataclasses import astuple, fields
from importlib import resources

import pytest

from wrenpipe.constraints.printers import (
    DEFAULT_PRINTER,
    ERRORS_MM,
    LIMITS_MM,
    PrinterError,
    known_printers,
    load_printer,
    printer_from_toml,
)
from wrenpipe.constraints.walls import WallLimits
from wrenpipe.model.sensitivity import PrintErrors

FOLDER = resources.files("wrenpipe.constraints").joinpath("printers")
TEXTS = {item.name: item.read_text("utf-8") for item in FOLDER.iterdir() if item.name.endswith(".toml")}
TEXT = TEXTS[f"{DEFAULT_PRINTER}.toml"]

SOURCES = "lines, joints, pulp, order, tuned"
TOP = "name, title, provenance, sources, limits, errors"
LIMITS = "wall, web, tenon, bell_socket, rim, saddle, step"
HERE = "printer filament-0.4"
WALL = 'wall = { mm = 1.6, source = "lines" }'
BORE = 'bore = { mm = 0.1, source = "tuned" }'
NAMES = "at most 40 small letters, digits, points and hyphens, a letter or digit first"
UNREADABLE = "the printer file cannot be read: "

BAD = {
    "name missing": ('name = "filament-0.4"\n', "",
        f"the printer file: field name is missing; allowed: all of {TOP}"),
    "name a number": ('"filament-0.4"\n', "4\n", f"the printer file: name is 4; allowed: {NAMES}"),
    "name of two words": ('"filament-0.4"\n', '"my printer"\n',
        f"the printer file: name is 'my printer'; allowed: {NAMES}"),
    "name of a path": ('"filament-0.4"\n', '"../x"\n', f"the printer file: name is '../x'; allowed: {NAMES}"),
    "title blank": ('"Filament printer, 0.4 mm nozzle, tuned"', '" "',
        f"{HERE}: title is ' '; allowed: a text that is not empty"),
    "field unknown": ("name =", "nozzle = 0.4\nname =",
        f"the printer file: field 'nozzle' is not known; allowed: {TOP}"),
    "source named in lines": ('joints = "common', '"two\\nlines" = "common',
        f"{HERE}: a source is named 'two\\nlines'; allowed: {NAMES}"),
    "source empty": ('"common practice, no source"', '""',
        f"{HERE}, sources: joints is ''; allowed: a text that is not empty"),
    "source not named": (WALL, 'wall = { mm = 1.6, source = "hearsay" }',
        f"{HERE}, limits, wall: source is 'hearsay'; allowed: {SOURCES}"),
    "source a list": (WALL, 'wall = { mm = 1.6, source = ["lines"] }',
        f"{HERE}, limits, wall: source is a list; allowed: {SOURCES}"),
    "source missing": (WALL, "wall = { mm = 1.6 }",
        f"{HERE}, limits, wall: field source is missing; allowed: all of mm, source"),
    "number without a source": (WALL, "wall = 1.6",
        f"{HERE}, limits, wall: it is 1.6; allowed: a table with the fields mm, source"),
    "unit unknown": (WALL, 'wall = { inch = 0.06, source = "lines" }',
        f"{HERE}, limits, wall: field 'inch' is not known; allowed: mm, source"),
    "limit unknown": (WALL, f'{WALL}\nskin = {{ mm = 1.6, source = "lines" }}',
        f"{HERE}, limits: field 'skin' is not known; allowed: {LIMITS}"),
    "limit missing": (f"{WALL}\n", "", f"{HERE}, limits: field wall is missing; allowed: all of {LIMITS}"),
    "wall a text": ("mm = 1.6", 'mm = "1.6"',
        f"{HERE}, limits, wall: mm is '1.6'; allowed: a number from 0.4 to 10"),
    "wall a flag": ("mm = 1.6", "mm = true",
        f"{HERE}, limits, wall: mm is true; allowed: a number from 0.4 to 10"),
    "wall negative": ("mm = 1.6", "mm = -1.6",
        f"{HERE}, limits, wall: mm is -1.6; allowed: a number from 0.4 to 10"),
    "wall in metres": ("mm = 1.6", "mm = 1.6e-3",
        f"{HERE}, limits, wall: mm is 0.0016; allowed: a number from 0.4 to 10"),
    "wall no number": ("mm = 1.6", "mm = nan",
        f"{HERE}, limits, wall: mm is nan; allowed: a number from 0.4 to 10"),
    "wall endless": ("mm = 1.6", "mm = inf",
        f"{HERE}, limits, wall: mm is inf; allowed: a number from 0.4 to 10"),
    "wall huge": ("mm = 1.6", "mm = 0x" + "f" * 5000,
        f"{HERE}, limits, wall: mm is a huge whole number; allowed: a number from 0.4 to 10"),
    "tenon a date": ("mm = 8", "mm = 2026-01-01",
        f"{HERE}, limits, tenon: mm is a date or time; allowed: a number from 2 to 40"),
    "error negative": (BORE, 'bore = { mm = -0.1, source = "tuned" }',
        f"{HERE}, errors, bore: mm is -0.1; allowed: a number from 0 to 1"),
    "error absurd": (BORE, 'bore = { mm = 1.5, source = "tuned" }',
        f"{HERE}, errors, bore: mm is 1.5; allowed: a number from 0 to 1"),
    "error missing": (BORE, "",
        f"{HERE}, errors: field bore is missing; allowed: all of diameter, place, bore"),
    "limits twice": ("\n[errors]", "\n[limits]", UNREADABLE),
    "not TOML": ("\n[limits]", "\n[limits", UNREADABLE),
    "thousands of digits": ("mm = 1.6", "mm = " + "9" * 5000, UNREADABLE),
    "nested too deep": ("mm = 1.6", "mm = " + "[" * 10**5, UNREADABLE),
}  # fmt: skip
"""What is replaced in the default's file, by what, and the sentence; TOML's reader has words of its own."""


def test_the_default_is_what_was_assumed_before() -> None:
    """To the last bit: choosing the default printer may not move a result."""
    printer = load_printer(DEFAULT_PRINTER)
    errors = PrintErrors()
    assert printer.limits == WallLimits()
    assert (printer.diameter_sd, printer.place_sd, printer.bore_sd) == astuple(errors)


def test_the_errors_are_those_that_the_model_takes() -> None:
    assert set(ERRORS_MM) == {field.name for field in fields(PrintErrors)}


def test_every_limit_has_a_range_and_no_other() -> None:
    assert set(LIMITS_MM) == {field.name for field in fields(WallLimits)}


@pytest.mark.parametrize("file", sorted(TEXTS))
def test_every_file_loads_under_its_own_name(file: str) -> None:
    name = file.removesuffix(".toml")
    printer = load_printer(name)
    assert printer.name == name
    assert printer == printer_from_toml(TEXTS[file])
    raw = tomllib.loads(TEXTS[file])
    assert printer.limits.web * 1000 == pytest.approx(raw["limits"]["web"]["mm"], rel=1e-15)
    assert printer.bore_sd * 1000 == pytest.approx(raw["errors"]["bore"]["mm"], rel=1e-15)


def test_the_known_printers_are_the_files() -> None:
    assert known_printers() == tuple(sorted(file.removesuffix(".toml") for file in TEXTS))
    assert set(known_printers()) >= {DEFAULT_PRINTER, "filament-0.4-untuned", "resin"}


@pytest.mark.parametrize("file", sorted(TEXTS))
def test_no_source_stands_in_a_file_for_nothing(file: str) -> None:
    raw = tomllib.loads(TEXTS[file])
    used = {entry["source"] for part in ("limits", "errors") for entry in raw[part].values()}
    assert used == set(raw["sources"])


def test_titles_differ() -> None:
    assert len({load_printer(name).title for name in known_printers()}) == len(known_printers())


@pytest.mark.parametrize("error", ["diameter_sd", "place_sd", "bore_sd"])
def test_finer_printers_err_less(error: str) -> None:
    """Guides: +-0.3 mm untuned, +-0.2 mm tuned; resin +-0.15 mm in one, +-0.2 mm below 100 mm in another."""
    resin, tuned, untuned = (
        getattr(load_printer(name), error) for name in ("resin", DEFAULT_PRINTER, "filament-0.4-untuned")
    )
    assert resin <= tuned < untuned


def test_a_web_of_resin_is_no_thicker_than_one_of_filament() -> None:
    """A wall held on both sides: 1.0 mm recommended for resin, 1.2 mm for filament that need not seal.

    Nothing is said of free walls: the guides to resin disagree, 1.5 against 2 mm.
    """
    assert load_printer("resin").limits.web <= load_printer(DEFAULT_PRINTER).limits.web


def test_joints_and_fingers_ask_the_same_of_every_printer() -> None:
    """Tenons, sockets, saddles and the order of holes belong to the instrument, not to the printer."""
    shared = {
        (p.tenon, p.bell_socket, p.saddle, p.step)
        for p in (load_printer(name).limits for name in known_printers())
    }
    assert len(shared) == 1


@pytest.mark.parametrize("name", ["laser", "", "Resin", "../walls", "x" * 1000])
def test_an_unknown_printer_is_refused_with_those_known(name: str) -> None:
    with pytest.raises(PrinterError) as caught:
        load_printer(name)
    shown = repr(name if len(name) < 60 else "x" * 60 + "...")
    assert str(caught.value) == (
        f"printer {shown} is not known; allowed: filament-0.4, filament-0.4-untuned, resin"
    )


@pytest.mark.parametrize(("old", "new", "sentence"), BAD.values(), ids=BAD)
def test_a_wrong_file_is_refused_with_one_sentence(old: str, new: str, sentence: str) -> None:
    assert old in TEXT
    with pytest.raises(PrinterError) as caught:
        printer_from_toml(TEXT.replace(old, new, 1))
    message = str(caught.value)
    if sentence == UNREADABLE:
        assert message.startswith(sentence)
        assert message.endswith("; allowed: TOML 1.0")
    else:
        assert message == sentence
    assert "\n" not in message


@pytest.mark.parametrize("part", ["limits", "errors", "sources"])
def test_a_part_that_is_no_table_is_refused(part: str) -> None:
    kept, rest = TEXT.split(f"[{part}]\n")
    following = rest.partition("\n[")
    tables = kept.replace('name = "', f'{part} = "none"\nname = "', 1)
    with pytest.raises(PrinterError, match=f"{part}: it is 'none'|{part} is 'none'"):
        printer_from_toml(tables + "".join(following[1:]))


def test_an_empty_file_is_refused() -> None:
    with pytest.raises(PrinterError, match="the printer file: field name is missing"):
        printer_from_toml("")


def test_whole_numbers_and_a_perfect_print_are_allowed() -> None:
    printer = printer_from_toml(TEXT.replace("mm = 1.6,", "mm = 2,").replace("mm = 0.1,", "mm = 0,"))
    assert (printer.limits.wall, printer.limits.web, printer.limits.rim) == (2e-3, 2e-3, 2e-3)
    assert (printer.diameter_sd, printer.place_sd, printer.bore_sd) == (0.0, 0.0, 0.0)
