"""The discrete side of a design: which keys, which aids, how wide a bore, how thick a wall, how large holes.

A *choice* fixes all of these; a *menu* says which choices there are; a *case* is what they are made for. With
a case, a choice becomes a programme whose continuous side the tuner settles.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

from wrenpipe.constraints.aids import COMMON_AIDS, system_with_aids
from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.walls import WallLimits
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import System
from wrenpipe.model.pitch import Size
from wrenpipe.model.sensitivity import PrintErrors
from wrenpipe.model.system import candidate_keys, needed_keys, preset_keys, system_with_keys
from wrenpipe.search.reach import Tolerance
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import Programme, programme_for
from wrenpipe.search.unknowns import mapping_for

__all__ = ["HOLE_SIZES", "Case", "Choice", "Menu", "programme_of", "system_of", "with_hole_sizes"]

HOLE_SIZES = ("small", "usual", "large")
"""Hole-size policies: no hole above its usual diameter, any that its place allows, none below it (policy:
small holes are easy to cover, large ones loud and forgiving)."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One discrete design. keys: names in the system file's order. bore, wall: over what the size's stock
    has. holes: a name of HOLE_SIZES."""

    keys: tuple[str, ...]
    aids: tuple[str, ...] = ()
    bore: float = 1.0
    wall: float = 1.0
    holes: str = "usual"


@dataclass(frozen=True, slots=True)
class Menu:
    """Which choices there are: free keys may be there or not, and one of each other list is taken.

    system: a packaged system file, or any preset in it. free_keys, aids: each by itself present or absent.
    bores, walls, holes: options in growing order.
    """

    system: str
    free_keys: tuple[str, ...]
    fixed_keys: tuple[str, ...]
    aids: tuple[str, ...] = COMMON_AIDS
    bores: tuple[float, ...] = (1.0,)
    walls: tuple[float, ...] = (1.0,)
    holes: tuple[str, ...] = ("usual",)

    @classmethod
    def of(
        cls,
        system: str,
        aids: tuple[str, ...] = COMMON_AIDS,
        bores: tuple[float, ...] = (1.0,),
        walls: tuple[float, ...] = (1.0,),
        holes: tuple[str, ...] = ("usual",),
        keys: tuple[str, ...] | None = None,
        always: tuple[str, ...] = (),
    ) -> Menu:
        """Every key free that some choice can do without; or only those of `keys`, the others not there, and
        those of `always` there. Raises SystemFileError for an unknown system."""
        needed, known = needed_keys(system), candidate_keys(system)
        spare = [key for key in known if key not in needed and (keys is None or key in keys)]
        free = tuple(key for key in spare if key not in always)
        fixed = tuple(key for key in known if key in needed or key in always)
        return cls(system, free, fixed, aids, bores, walls, holes)

    def keys(self, present: frozenset[str]) -> tuple[str, ...]:
        """The fixed keys and those of the free ones that are present, in the system file's order."""
        chosen = (present & set(self.free_keys)) | set(self.fixed_keys)
        return tuple(key for key in candidate_keys(self.system) if key in chosen)

    def __len__(self) -> int:
        """How many choices there are."""
        each = 1 << (len(self.free_keys) + len(self.aids))
        return each * len(self.bores) * len(self.walls) * len(self.holes)

    def all(self) -> Iterator[Choice]:
        """Every choice, in a fixed order."""
        key_sets = [self.keys(frozenset(some)) for some in _subsets(self.free_keys)]
        for keys, aids in itertools.product(key_sets, _subsets(self.aids)):
            for bore, wall, holes in itertools.product(self.bores, self.walls, self.holes):
                yield Choice(keys, aids, bore, wall, holes)

    def plain(self) -> tuple[Choice, ...]:
        """What a maker would build first: all free keys, the presets' and none, the most first, each with
        every set of aids, and the middle of every other list."""
        middle = [options[len(options) // 2] for options in (self.bores, self.walls)]
        holes = self.holes[len(self.holes) // 2]
        key_sets = sorted([*preset_keys(self.system), self.free_keys, ()], key=len, reverse=True)
        out = [
            Choice(self.keys(frozenset(some)), aids, middle[0], middle[1], holes)
            for some, aids in itertools.product(key_sets, _subsets(self.aids))
        ]
        return tuple(dict.fromkeys(out))


def _subsets(names: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    for n in range(len(names) + 1):
        yield from itertools.combinations(names, n)


@dataclass(frozen=True, slots=True)
class Case:
    """What instruments are searched for: one size, one hand, one system file, one printer."""

    size: Size
    hand: Hand
    system: str
    tolerance: Tolerance
    air: Air
    pitch_standard_hz: float
    limits: WallLimits
    errors: PrintErrors


def system_of(system: str, choice: Choice) -> System:
    """The system with the choice's keys and limits of hole sizes. Raises SystemFileError."""
    chosen = system_with_keys(system, choice.keys)
    return with_hole_sizes(chosen, choice.holes)


def with_hole_sizes(system: System, holes: str) -> System:
    """A system whose holes keep to a policy of HOLE_SIZES."""
    match holes:
        case "small":
            places = tuple(replace(place, most=place.usual) for place in system.places)
        case "large":
            places = tuple(replace(place, least=place.usual) for place in system.places)
        case _:
            return system
    return replace(system, places=places)


def programme_of(case: Case, choice: Choice) -> Programme:
    """The tuning of one choice for one case."""
    space = design_space(system_with_aids(system_of(case.system, choice), choice.aids))
    mapping = mapping_for(space, case.size, stock_of(case.size, choice.bore, choice.wall))
    return programme_for(
        mapping,
        case.air,
        case.pitch_standard_hz,
        case.hand,
        frozenset(choice.aids),
        case.limits,
        case.errors,
    )
