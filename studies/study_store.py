"""Keeps a study in a database: its request, every choice asked, every result with its front.

The place is a folder with an SQLite file of its own, or a database URL that several machines share. A result
is kept in one transaction when it arrives, so that a kill at any moment loses only what was being worked on.
"""

from __future__ import annotations

import json
import math
import os
import shlex
import socket
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from typing import Any

import numpy as np
import sqlalchemy as sql

from wrenpipe.constraints.margins import Margin, Severity
from wrenpipe.search.aims import Figures
from wrenpipe.search.choices import Choice
from wrenpipe.search.front import Front, Member
from wrenpipe.search.study import Result, Slot
from wrenpipe.search.tuner import Goal
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import shown
from wrenpipe.studies.store import require_folder
from wrenpipe.studies.study_place import FILE_NAME, Place, refusals
from wrenpipe.studies.study_request import StudyRequest, request_from_values

__all__ = ["StudyStore"]

STALE = 120.0
"""Seconds after which a worker elsewhere that gave no sign of life is taken for gone."""
FORGOTTEN = 3600.0
"""The same for a worker of this machine whose process number is still there."""

TABLES = sql.MetaData()
STUDIES = sql.Table(
    "wrenpipe_study",
    TABLES,
    sql.Column("name", sql.String(200), primary_key=True),
    sql.Column("schema", sql.Integer, nullable=False),
    sql.Column("version", sql.String(40), nullable=False),
    sql.Column("request", sql.Text, nullable=False),
    sql.Column("begun", sql.Float, nullable=False),
    sql.Column("worker", sql.String(200)),
    sql.Column("seen", sql.Float),
    sql.Column("stop", sql.Boolean, nullable=False),
)
CHOICES = sql.Table(
    "wrenpipe_choice",
    TABLES,
    sql.Column("study", sql.String(200), primary_key=True),
    sql.Column("cell", sql.Integer, primary_key=True),
    sql.Column("number", sql.Integer, primary_key=True),
    sql.Column("choice", sql.Text, nullable=False),
    sql.Column("state", sql.String(10), nullable=False),
    sql.Column("shortfall", sql.Float),
    sql.Column("unsettled", sql.Integer),
    sql.Column("seconds", sql.Float),
    sql.Column("attempts", sql.Integer),
    sql.Column("reason", sql.Text),
    sql.Column("finished", sql.Float),
)
MEMBERS = sql.Table(
    "wrenpipe_member",
    TABLES,
    sql.Column("study", sql.String(200), primary_key=True),
    sql.Column("cell", sql.Integer, primary_key=True),
    sql.Column("number", sql.Integer, primary_key=True),
    sql.Column("place", sql.Integer, primary_key=True),
    sql.Column("intonation", sql.Double, nullable=False),
    sql.Column("twelfths", sql.Double, nullable=False),
    sql.Column("margin", sql.Double, nullable=False),
    sql.Column("scatter", sql.Double, nullable=False),
    sql.Column("keys", sql.Integer, nullable=False),
    sql.Column("goal", sql.Text, nullable=False),
    sql.Column("binding", sql.Text, nullable=False),
    # the design vector, little-endian doubles
    sql.Column("v", sql.LargeBinary, nullable=False),
)
SCHEMA = 1

ASKED, DONE, BROKEN = "asked", "done", "broken"


class StudyStore:
    """One study at its place. Methods raise StorageError when the database fails."""

    def __init__(self, place: Place, name: str, engine: sql.Engine) -> None:
        self.place, self.name, self._engine = place, name, engine

    @classmethod
    def create(cls, place: Place, request: StudyRequest, version: str) -> StudyStore:
        """Begin a study; refuses a place that holds one of the same name."""
        if place.folder is not None:
            require_folder(place.folder)
            try:
                place.folder.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise RequestError(f"{place.words} cannot be made: {error.strerror}.") from None
        store = cls(place, request.name, _engine(place))
        with refusals(place):
            TABLES.create_all(store._engine)
        row = {
            "name": request.name,
            "schema": SCHEMA,
            "version": version,
            "request": json.dumps(request.values()),
            "begun": time.time(),
            "stop": False,
        }
        if request.name in _names(store):
            raise RequestError(
                f"{place.words} holds a study named {shown(request.name)} already; go on with it by "
                "`wrenpipe study resume`, or choose another place or name."
            )
        with store._transaction() as connection:
            connection.execute(sql.insert(STUDIES).values(**row))
        return store

    @classmethod
    def open(cls, place: Place, name: str | None) -> StudyStore:
        """A study that is there: the only one, or the one named."""
        if place.folder is not None and not (place.folder / FILE_NAME).is_file():
            raise RequestError(
                f"{place.words} holds no study; needed is a folder or URL given to study start."
            )
        store = cls(place, "", _engine(place))
        names = _names(store)
        if name is None and len(names) == 1:
            name = names[0]
        if name not in names:
            given = "no name is given" if name is None else f"there is none named {shown(name)}"
            found = ", ".join(shown(n) for n in names) or "none"
            raise RequestError(f"{place.words}: {given}; studies there: {found} (choose with --name).")
        store.name = str(name)
        return store

    @property
    def again(self) -> str:
        """Place and name as the next command wants them."""
        place = shlex.quote(self.place.words) if self.place.folder is not None else "URL"
        return f"{place} --name {shlex.quote(self.name)}" if len(_names(self)) > 1 else place

    def version(self) -> str:
        """The version that the study was begun with."""
        return str(self._row().version)

    def request(self) -> StudyRequest:
        """The request that the study was begun with."""
        row = self._row()
        if row.schema != SCHEMA:
            raise RequestError(
                f"{self.place.words} was written as schema {row.schema}; this version reads {SCHEMA}."
            )
        return request_from_values(json.loads(row.request))

    def change_request(self, request: StudyRequest) -> None:
        """Keep a request with a larger budget."""
        self._update(request=json.dumps(request.values()))

    def asked(self) -> dict[Slot, Choice]:
        """Every choice asked so far."""
        with self._transaction() as connection:
            rows = connection.execute(self._mine(CHOICES)).all()
        return {Slot(row.cell, row.number): _choice(row.choice) for row in rows}

    def results(self) -> dict[Slot, Result]:
        """Every result so far."""
        with self._transaction() as connection:
            choices = connection.execute(self._mine(CHOICES)).all()
            rows = connection.execute(self._mine(MEMBERS).order_by(MEMBERS.c.place)).all()
        members: dict[Slot, list[Member]] = {}
        for row in rows:
            members.setdefault(Slot(row.cell, row.number), []).append(_member(row))
        found = {}
        for row in choices:
            if row.state == ASKED:
                continue
            slot, choice, front = Slot(row.cell, row.number), _choice(row.choice), None
            if row.state == DONE:
                shortfall = math.inf if row.shortfall is None else row.shortfall
                front = Front(choice, tuple(members.get(slot, ())), shortfall, row.unsettled)
            found[slot] = Result(choice, front, row.seconds, row.reason or "", row.attempts)
        return found

    def finish_times(self) -> list[float]:
        """When results arrived, seconds since the epoch, in order."""
        query = sql.select(CHOICES.c.finished).where(
            CHOICES.c.study == self.name, CHOICES.c.finished.is_not(None)
        )
        with self._transaction() as connection:
            return sorted(row.finished for row in connection.execute(query))

    def keep_asked(self, new: Mapping[Slot, Choice]) -> None:
        """Keep choices about to be worked on, all or none."""
        if not new:
            return
        rows = [
            {
                "study": self.name,
                "cell": slot.cell,
                "number": slot.number,
                "choice": json.dumps(asdict(choice)),
                "state": ASKED,
            }
            for slot, choice in new.items()
        ]
        with self._transaction() as connection:
            connection.execute(sql.insert(CHOICES), rows)

    def keep_result(self, slot: Slot, result: Result) -> None:
        """Keep a result with its whole front, all or nothing."""
        front = result.front
        values: dict[str, Any] = {
            "state": BROKEN if front is None else DONE,
            "seconds": result.seconds,
            "attempts": result.attempts,
            "reason": result.reason or None,
            "finished": time.time(),
        }
        members: tuple[Member, ...] = ()
        if front is not None:
            members = front.members
            values["shortfall"] = front.shortfall if math.isfinite(front.shortfall) else None
            values["unsettled"] = front.unsettled
        key = {"study": self.name, "cell": slot.cell, "number": slot.number}
        with self._transaction() as connection:
            at = sql.and_(*(CHOICES.c[name] == value for name, value in key.items()))
            connection.execute(sql.update(CHOICES).where(at).values(**values))
            if members:
                rows = [{**key, "place": n, **_member_values(m)} for n, m in enumerate(members)]
                connection.execute(sql.insert(MEMBERS), rows)

    def take(self) -> None:
        """Take the study for this process; refuses while another that lives works on it."""
        row = self._row()
        if row.worker is not None and row.worker != _me() and _lives(row.worker, row.seen):
            host, pid = row.worker.rsplit(":", 1)
            raise RequestError(
                f"{self.place.words} is being worked on by process {pid} on {host}; see `wrenpipe study "
                "status`, or end that by `wrenpipe study stop`."
            )
        with self._transaction() as connection:
            # Only from the state just looked at: two that look at once must not both take it.
            here = sql.and_(
                STUDIES.c.name == self.name,
                STUDIES.c.worker.is_not_distinct_from(row.worker),
                STUDIES.c.seen.is_not_distinct_from(row.seen),
            )
            values = {"worker": _me(), "seen": time.time(), "stop": False}
            taken = connection.execute(sql.update(STUDIES).where(here).values(**values)).rowcount
        if not taken:
            raise RequestError(
                f"{self.place.words} has just been taken by another process; see study status."
            )

    def renew(self) -> bool:
        """Give a sign of life; False when somebody asked to stop, or has taken the study over."""
        return self._while_mine(seen=time.time()) and not self._row().stop

    def release(self) -> None:
        """Let others take the study, unless somebody already has."""
        self._while_mine(worker=None, seen=None, stop=False)

    def ask_to_stop(self) -> bool:
        """Ask whoever works on the study to stop; False when nobody does."""
        row = self._row()
        if row.worker is None or not _lives(row.worker, row.seen):
            return False
        self._update(stop=True)
        return True

    def worker(self) -> str | None:
        """Host and process that works on the study now, None for nobody."""
        row = self._row()
        return row.worker if row.worker is not None and _lives(row.worker, row.seen) else None

    def _row(self) -> Any:
        with self._transaction() as connection:
            return connection.execute(sql.select(STUDIES).where(STUDIES.c.name == self.name)).one()

    def _while_mine(self, **values: Any) -> bool:
        here = sql.and_(STUDIES.c.name == self.name, STUDIES.c.worker == _me())
        with self._transaction() as connection:
            return bool(connection.execute(sql.update(STUDIES).where(here).values(**values)).rowcount)

    def _update(self, **values: Any) -> None:
        with self._transaction() as connection:
            connection.execute(sql.update(STUDIES).where(STUDIES.c.name == self.name).values(**values))

    def _mine(self, table: sql.Table) -> sql.Select[Any]:
        return sql.select(table).where(table.c.study == self.name)

    @contextmanager
    def _transaction(self) -> Iterator[sql.Connection]:
        with refusals(self.place), self._engine.begin() as connection:
            yield connection


def _engine(place: Place) -> sql.Engine:
    return sql.create_engine(place.url, connect_args=place.connect)


def _names(store: StudyStore) -> list[str]:
    with refusals(store.place):
        if not sql.inspect(store._engine).has_table(STUDIES.name):
            return []
    with store._transaction() as connection:
        return [row.name for row in connection.execute(sql.select(STUDIES.c.name).order_by(STUDIES.c.name))]


def _me() -> str:
    return f"{socket.gethostname()}:{os.getpid()}"


def _lives(worker: str, seen: float | None) -> bool:
    """Whether a worker of this machine still runs, or one elsewhere gave a sign of life lately."""
    age = math.inf if seen is None else time.time() - seen
    host, pid = worker.rsplit(":", 1)
    if host != socket.gethostname():
        return age <= STALE
    if age > FORGOTTEN:
        return False  # another process may have got its number since
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _choice(text: str) -> Choice:
    values = json.loads(text)
    return Choice(
        tuple(values["keys"]), tuple(values["aids"]), values["bore"], values["wall"], values["holes"]
    )


def _member_values(member: Member) -> dict[str, Any]:
    goal = {name: value if math.isfinite(value) else None for name, value in asdict(member.goal).items()}
    return {
        **asdict(member.figures),
        "goal": json.dumps(goal),
        "binding": json.dumps(asdict(member.binding)),
        "v": np.asarray(member.v, dtype="<f8").tobytes(),
    }


def _member(row: Any) -> Member:
    goal = {name: math.inf if value is None else value for name, value in json.loads(row.goal).items()}
    binding = json.loads(row.binding)
    return Member(
        figures=Figures(row.intonation, row.twelfths, row.margin, row.scatter, row.keys),
        v=np.frombuffer(row.v, dtype="<f8").astype(np.float64),
        goal=Goal(**goal),
        binding=Margin(**{**binding, "severity": Severity(binding["severity"])}),
    )
