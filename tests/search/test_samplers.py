"""Proposals: new, within the menu, the same for the same knowledge; and Optuna's record of them."""

from __future__ import annotations

from pathlib import Path

import optuna
import pytest
from optuna.trial import TrialState

from wrenpipe.search.choices import Choice, Menu
from wrenpipe.search.samplers import LedgerError, draw_seed, open_ledgers, propose

MENU = Menu.of("simple", bores=(0.97, 1.0, 1.03), walls=(0.9, 1.0), holes=("small", "usual", "large"))
TINY = Menu.of("simple", aids=(), bores=(1.0,))


def _told(n: int) -> list[tuple[Choice, tuple[float, ...]]]:
    """Choices with costs that say: few keys and a narrow bore are good."""
    choices = list(MENU.all())[:: len(MENU) // n][:n]
    return [(c, (float(len(c.keys)), 10.0 * c.bore)) for c in choices]


@pytest.mark.parametrize("known", [0, 10, 60, 230])
def test_proposals_are_new_and_on_the_menu(known: int) -> None:
    told = _told(known) if known else []
    seen = {choice for choice, _ in told}
    every = set(MENU.all())
    pending = [choice for choice in MENU.plain() if choice not in seen][:3]
    drawn = propose(MENU, told, pending, 2, [draw_seed(7, n) for n in range(5)])
    assert len(set(drawn)) == 5
    assert set(drawn) <= every - seen - set(pending)


def test_proposals_depend_on_what_they_are_given_and_on_nothing_else() -> None:
    told = _told(40)
    first, other = (propose(MENU, told, [], 2, [draw_seed(seed, n) for n in range(6)]) for seed in (1, 2))
    assert propose(MENU, told, [], 2, [draw_seed(1, n) for n in range(6)]) == first
    assert first != other
    assert propose(MENU, told, [], 2, [draw_seed(1, 0), draw_seed(1, 1)]) == first[:2]


def test_proposals_learn() -> None:
    """After costs that grow with keys and bore, draws have fewer keys than by chance."""
    drawn = propose(MENU, _told(120), [], 2, [draw_seed(3, n) for n in range(20)])
    keys = sum(len(choice.keys) for choice in drawn) / len(drawn)
    by_chance = sum(len(choice.keys) for choice in MENU.all()) / len(MENU)
    assert keys < by_chance - 0.5


def test_a_menu_can_be_used_up() -> None:
    told = [(choice, (1.0,)) for choice in TINY.all()]
    assert propose(TINY, told, [], 1, [5]) == []
    assert propose(TINY, told[1:], [], 1, [5, 6]) == [told[0][0]]


def test_optuna_can_read_what_the_ledger_wrote(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'x.sqlite'}"
    (ledger,) = open_ledgers(url, ["cell"], TINY, ["intonation", "keys"], {})
    choices = list(TINY.all())
    for n in range(3):
        ledger.ask(n, choices[n])
    ledger.tell(0, (3.0, 9.0))
    ledger.tell(1, None)
    # once more, as after an interruption: nothing is written twice
    (again,) = open_ledgers(url, ["cell"], TINY, ["intonation", "keys"], {})
    for n in range(3):
        again.ask(n, choices[n])
    again.tell(0, (4.0, 9.0))
    study = optuna.load_study(storage=url, study_name="cell")
    assert study.metric_names == ["intonation", "keys"]
    assert [t.state for t in study.trials] == [TrialState.COMPLETE, TrialState.FAIL, TrialState.RUNNING]
    assert study.trials[0].values == [3.0, 9.0]
    assert study.trials[2].params["holes"] == 0
    with pytest.raises(LedgerError, match="trial 7 is missing"):
        again.ask(7, choices[7])


def test_a_storage_that_fails_says_so_in_the_drivers_words(tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="unable to open database file"):
        open_ledgers(f"sqlite:///{tmp_path / 'no' / 'x.sqlite'}", ["cell"], TINY, ["keys"], {})
