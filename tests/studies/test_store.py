"""Files are written whole or not at all, and refused in one sentence."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrenpipe.studies import store
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.store import json_text, read_text, write_bytes, write_folder, write_text

PLAIN_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


def _everything(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_file_appears_whole_and_alone(tmp_path: Path) -> None:
    write_text(tmp_path / "a.json", "ö")
    assert _everything(tmp_path) == {"a.json": "ö".encode()}


def test_an_existing_file_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text("old and longer")
    write_text(tmp_path / "a.json", "new")
    assert _everything(tmp_path) == {"a.json": b"new"}


def test_a_new_file_has_the_permissions_that_any_new_file_has(tmp_path: Path) -> None:
    (tmp_path / "plain").touch()
    write_text(tmp_path / "ours", "")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_link_is_followed_and_kept(tmp_path: Path) -> None:
    (tmp_path / "there").write_text("old")
    (tmp_path / "link").symlink_to("there")
    write_text(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "there").read_text() == "new"


def test_a_failed_rename_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").write_text("old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(RequestError, match=r"a cannot be written: no space left on device\.$"):
        write_text(tmp_path / "a", "new")
    assert _everything(tmp_path) == {"a": b"old"}


def test_ctrl_c_while_writing_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_text(tmp_path / "a", "new")
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "kit", {"a": b""})
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    for write in (lambda p: write_bytes(p, b"x"), lambda p: write_folder(p, {"a": b"x"})):
        with pytest.raises(RequestError, match="file/below cannot be written: "):
            write(tmp_path / "file" / "below")
    with pytest.raises(RequestError, match="missing/below cannot be written: "):
        write_bytes(tmp_path / "missing" / "below", b"x")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_folder_makes_the_folders_above_it_and_takes_them_back(tmp_path: Path) -> None:
    write_folder(tmp_path / "new" / "deep", {"a": b"x"})
    assert (tmp_path / "new" / "deep" / "a").read_bytes() == b"x"
    with pytest.raises(RequestError):
        write_folder(tmp_path / "other" / "deep", {"a" * 300: b"x"})
    assert not (tmp_path / "other").exists()


def test_folders_and_devices_are_never_replaced(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="it is a folder"):
        write_text(tmp_path, "x")
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(RequestError, match="not a plain file"):
        write_text(tmp_path / "pipe", "x")
    with pytest.raises(RequestError, match="a file has that name"):
        write_folder(tmp_path / "pipe", {"a": b""})


def test_a_new_folder_appears_whole(tmp_path: Path) -> None:
    write_folder(tmp_path / "kit", {"a": b"1", "b": b"2"})
    assert _everything(tmp_path) == {"kit/a": b"1", "kit/b": b"2"}


def test_an_existing_folder_keeps_what_is_not_in_the_set(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old")
    (tmp_path / "mine").write_text("mine")
    write_folder(tmp_path, {"a": b"1", "b": b"2"})
    assert _everything(tmp_path) == {"a": b"1", "b": b"2", "mine": b"mine"}
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "b", "mine"]


def test_an_existing_folder_is_put_back_when_one_file_cannot_be_placed(tmp_path: Path) -> None:
    kit = tmp_path / "kit"
    (kit / "c").mkdir(parents=True)
    (kit / "a").write_text("old")
    with pytest.raises(RequestError, match="c cannot be written: it is a folder"):
        write_folder(kit, {"a": b"1", "b": b"2", "c": b"3"})
    assert _everything(kit) == {"a": b"old"}
    assert sorted(p.name for p in kit.iterdir()) == ["a", "c"]


@pytest.mark.parametrize("fail_at", [1, 2, 3])
def test_an_existing_folder_is_put_back_when_a_rename_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fail_at: int
) -> None:
    (tmp_path / "a").write_text("old")
    (tmp_path / "c").write_text("old")
    real, calls = os.replace, []

    def flaky(source: Path, target: Path) -> None:
        calls.append(target)
        if len(calls) == fail_at:
            raise OSError(5, "Input/output error")
        real(source, target)

    monkeypatch.setattr(os, "replace", flaky)
    with pytest.raises(RequestError, match="input/output error"):
        write_folder(tmp_path, {"a": b"1", "b": b"2", "c": b"3"})
    assert _everything(tmp_path) == {"a": b"old", "c": b"old"}
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "c"]


@pytest.mark.parametrize("name", ["", ".", "..", "a/b", "../a", "/a", "a\0b"])
def test_a_folder_takes_plain_names_only(tmp_path: Path, name: str) -> None:
    with pytest.raises(RequestError, match="plain name"):
        write_folder(tmp_path / "kit", {name: b""})
    assert list(tmp_path.iterdir()) == []


def test_a_byte_order_mark_is_dropped(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"\xef\xbb\xbf{}")
    assert read_text(tmp_path / "a") == "{}"


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"\xff\xfe{\0}\0", "not text in UTF-8: byte 1"),
        (b"ab\x80", "not text in UTF-8: byte 3"),
        (b"a\0b", "zero byte"),
    ],
)
def test_what_is_not_text_is_refused(tmp_path: Path, content: bytes, reason: str) -> None:
    (tmp_path / "a").write_bytes(content)
    with pytest.raises(RequestError, match=reason):
        read_text(tmp_path / "a")


def test_what_cannot_be_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(RequestError, match="is a folder; needed is a file"):
        read_text(tmp_path)
    with pytest.raises(RequestError, match="there is no such file"):
        read_text(tmp_path / "missing")
    (tmp_path / "a").write_text("12345")
    with pytest.raises(RequestError, match="not a directory"):
        read_text(tmp_path / "a" / "b")
    monkeypatch.setattr(store, "LARGEST_BYTES", 4)
    with pytest.raises(RequestError, match="too large"):
        read_text(tmp_path / "a")


@given(PLAIN_JSON)
def test_json_text_says_what_json_says(value: Any) -> None:
    assert json.loads(json_text(value)) == value


def test_json_text_keeps_a_row_on_one_line_and_refuses_nan() -> None:
    assert json_text({"bore_mm": [[0.0, 5.0], [1.0, 5.0]]}).splitlines() == [
        "{",
        '  "bore_mm": [',
        "    [0.0, 5.0],",
        "    [1.0, 5.0]",
        "  ]",
        "}",
    ]
    with pytest.raises(ValueError, match="JSON compliant"):
        json_text([float("nan")])
