"""Programmes by size, system, glove and aids, and the tuned instruments that several tests look at."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest

from wrenpipe.constraints.aids import system_with_aids
from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.hand import Hand, hand_from_glove
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.reach import DEFAULT_TOLERANCE, Reach, free_optimum, greatest_margin
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import Programme, Tuned, programme_for
from wrenpipe.search.unknowns import Mapping, mapping_for

AIR = dry_air()
HZ = 440.0


@cache
def _hand(glove: float | None) -> Hand | None:
    return None if glove is None else hand_from_glove(glove, adult_population())


@cache
def _mapping(size: str, system: str, *aids: str) -> Mapping:
    parsed = parse_size(size)
    space = design_space(system_with_aids(load_system(system), aids))
    return mapping_for(space, parsed, stock_of(parsed))


@cache
def _programme(size: str, system: str, glove: float | None, *aids: str) -> Programme:
    return programme_for(_mapping(size, system, *aids), AIR, HZ, _hand(glove), frozenset(aids))


@cache
def _free(size: str, system: str, *aids: str) -> Tuned:
    return free_optimum(_programme(size, system, None, *aids), DEFAULT_TOLERANCE)


@cache
def _reach(size: str, system: str, glove: float, *aids: str, decide_only: bool = False) -> Reach:
    programme = _programme(size, system, glove, *aids)
    free = _free(size, system, *aids)
    return greatest_margin(programme, free, DEFAULT_TOLERANCE, decide_only=decide_only)


@pytest.fixture(scope="session")
def mapping() -> Callable[[str, str], Mapping]:
    return _mapping


@pytest.fixture(scope="session")
def programme() -> Callable[..., Programme]:
    """(size, system, glove or None, *aids) -> its programme, made once."""
    return _programme


@pytest.fixture(scope="session")
def free() -> Callable[..., Tuned]:
    """(size, system, *aids) -> its free optimum, tuned once."""
    return _free


@pytest.fixture(scope="session")
def reach() -> Callable[..., Reach]:
    """(size, system, glove, *aids, decide_only=False) -> its reach, decided once."""
    return _reach
