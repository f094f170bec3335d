"""Proposes choices, and keeps Optuna's own record of them. The only file that knows Optuna.

Proposals are a function of what is known (choices with their costs, choices still being worked on) and of
their seeds, and of nothing else: they are drawn from a study in memory that is filled with just that. The
tree-structured Parzen estimator takes a seed per draw, so that no state has to survive a crash.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import moocore
import numpy as np
import optuna
from optuna.distributions import BaseDistribution, CategoricalDistribution, IntDistribution
from optuna.samplers import TPESampler
from optuna.trial import FrozenTrial, TrialState, create_trial
from sqlalchemy.exc import SQLAlchemyError

from wrenpipe.search.choices import Choice, Menu

__all__ = ["Ledger", "LedgerError", "draw_seed", "open_ledgers", "propose"]

optuna.logging.set_verbosity(optuna.logging.WARNING)
warnings.filterwarnings("ignore", category=optuna.exceptions.ExperimentalWarning)

DRAWS = 8
"""Draws of a choice not seen before; after that one is taken at random."""
STARTUP = 16
"""Finished choices before the estimator is trusted; until then draws are uniform."""

MOST_TOLD = 200
"""Choices that the estimator is shown: those that no other beats, then the latest. With more, a draw for five
aims takes a third of a second, and old losers teach nothing new."""

Costs = tuple[float, ...]


def draw_seed(*key: int) -> int:
    """A seed for one draw, well mixed from whole numbers such as (seed, cell, generation, index)."""
    return int(np.random.SeedSequence(key).generate_state(1)[0])


def propose(
    menu: Menu,
    told: Sequence[tuple[Choice, Costs]],
    pending: Sequence[Choice],
    aims: int,
    seeds: Sequence[int],
) -> list[Choice]:
    """A choice for each seed, drawn one after another, none of them told, pending or drawn before; fewer when
    the menu is used up.

    told: with the least cost of each aim. aims: how many costs there are.
    """
    seen = {choice for choice, _ in told} | set(pending)
    space = _distributions(menu)
    study = optuna.create_study(directions=["minimize"] * aims)
    study.add_trials(
        [
            *(
                create_trial(params=_params(menu, choice), distributions=space, values=list(costs))
                for choice, costs in _worth_telling(told)
            ),
            *(_running(menu, choice, space) for choice in pending),
        ]
    )
    out: list[Choice] = []
    for seed in seeds:
        if len(seen) >= len(menu):
            break
        study.sampler = _sampler(seed)
        draws = (_choice(menu, study.ask(space).params) for _ in range(DRAWS))
        drawn = next((choice for choice in draws if choice not in seen), None)
        if drawn is None:
            rest = [choice for choice in menu.all() if choice not in seen]
            drawn = rest[int(np.random.default_rng(seed).integers(len(rest)))]
        seen.add(drawn)
        out.append(drawn)
    return out


def _worth_telling(told: Sequence[tuple[Choice, Costs]]) -> Sequence[tuple[Choice, Costs]]:
    if len(told) <= MOST_TOLD:
        return told
    unbeaten = np.flatnonzero(moocore.is_nondominated(np.array([costs for _, costs in told])))
    kept = set(unbeaten[-MOST_TOLD:].tolist())
    latest = [n for n in range(len(told) - 1, -1, -1) if n not in kept]
    kept.update(latest[: MOST_TOLD - len(kept)])
    return [told[n] for n in sorted(kept)]


def _sampler(seed: int) -> TPESampler:
    return TPESampler(seed=seed, multivariate=True, constant_liar=True, n_startup_trials=STARTUP)


def _running(menu: Menu, choice: Choice, space: dict[str, BaseDistribution]) -> FrozenTrial:
    return create_trial(state=TrialState.RUNNING, params=_params(menu, choice), distributions=space)


def _distributions(menu: Menu) -> dict[str, BaseDistribution]:
    there = CategoricalDistribution([False, True])
    space: dict[str, BaseDistribution] = {f"key {key}": there for key in menu.free_keys}
    space |= {f"aid {aid}": there for aid in menu.aids}
    for name, options in (("bore", menu.bores), ("wall", menu.walls), ("holes", menu.holes)):
        space[name] = IntDistribution(0, len(options) - 1)
    return space


def _params(menu: Menu, choice: Choice) -> dict[str, Any]:
    params: dict[str, Any] = {f"key {key}": key in choice.keys for key in menu.free_keys}
    params |= {f"aid {aid}": aid in choice.aids for aid in menu.aids}
    params["bore"] = menu.bores.index(choice.bore)
    params["wall"] = menu.walls.index(choice.wall)
    params["holes"] = menu.holes.index(choice.holes)
    return params


def _choice(menu: Menu, params: Mapping[str, Any]) -> Choice:
    return Choice(
        keys=menu.keys(frozenset(key for key in menu.free_keys if params[f"key {key}"])),
        aids=tuple(aid for aid in menu.aids if params[f"aid {aid}"]),
        bore=menu.bores[params["bore"]],
        wall=menu.walls[params["wall"]],
        holes=menu.holes[params["holes"]],
    )


class LedgerError(ValueError):
    """A storage that cannot be written or read; the message is one phrase."""


def open_ledgers(
    url: str, names: Sequence[str], menu: Menu, aims: Sequence[str], connect: Mapping[str, Any]
) -> tuple[Ledger, ...]:
    """One ledger for each name at a database URL. connect: arguments of the database's driver.

    Raises LedgerError.
    """
    with _refusals():
        storage = optuna.storages.RDBStorage(url, engine_kwargs={"connect_args": dict(connect)})
        return tuple(Ledger(storage, name, menu, aims) for name in names)


class Ledger:
    """One cell's trials in Optuna's own storage, numbered as our own table numbers them, for whoever likes
    to look at them with Optuna's means. Methods raise LedgerError when the storage fails."""

    def __init__(
        self, storage: optuna.storages.BaseStorage, name: str, menu: Menu, aims: Sequence[str]
    ) -> None:
        self._menu, self._space = menu, _distributions(menu)
        with _refusals():
            self._study = optuna.create_study(
                storage=storage, study_name=name, directions=["minimize"] * len(aims), load_if_exists=True
            )
            if not self._study.metric_names:
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
                    self._study.set_metric_names(list(aims))
            self._trials = {trial.number: trial.state for trial in self._study.get_trials(deepcopy=False)}

    def ask(self, number: int, choice: Choice) -> None:
        """Record a choice being worked on; nothing when it stands there already."""
        if number in self._trials:
            return
        if number != len(self._trials):
            raise LedgerError(f"trial {number} is missing before trial {len(self._trials)}")
        with _refusals():
            self._study.add_trial(_running(self._menu, choice, self._space))
        self._trials[number] = TrialState.RUNNING

    def tell(self, number: int, costs: Costs | None) -> None:
        """Record its costs, or that it broke (None); nothing when that stands there already."""
        if self._trials[number] is not TrialState.RUNNING:
            return
        state = TrialState.FAIL if costs is None else TrialState.COMPLETE
        with _refusals():
            self._study.tell(number, None if costs is None else list(costs), state=state)
        self._trials[number] = state


@contextmanager
def _refusals() -> Iterator[None]:
    try:
        yield
    except (optuna.exceptions.OptunaError, SQLAlchemyError) as error:
        raise LedgerError(_phrase(error)) from error


def _phrase(error: BaseException) -> str:
    """The driver's own words, without the statement that Optuna's and SQLAlchemy's messages carry."""
    while error.__cause__ is not None:
        error = error.__cause__
    return " ".join(str(getattr(error, "orig", None) or error).split())
