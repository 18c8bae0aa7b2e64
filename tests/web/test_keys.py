"""Keys: only digests are kept, several are valid at once, each ends when it should."""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from service.__main__ import main
from service.model.errors import SettingError
from service.web.keys import LOOK_AGAIN_S, MARK, KeyRing, new_key, read_keys

NOW = datetime(2026, 11, 25, tzinfo=UTC).timestamp()


def entry(name: str, more: str = "") -> tuple[bytes, str]:
    key, text = new_key(name)
    return key.encode(), text + more


def test_each_key_is_found_and_nothing_else_is(tmp_path: Path) -> None:
    (one, first), (two, second) = entry("one"), entry("two", "per_minute = 5\n")
    file = tmp_path / "keys.toml"
    file.write_text(first + second)
    ring = KeyRing(file)
    for place, (key, name) in enumerate(((one, "one"), (two, "two"))):
        found = ring.find(key, NOW)
        assert found is not None and (found[0], found[1].name) == (place, name)
    for wrong in (b"", one[:-1], one + b"x", one.upper(), b"mw_", "ü".encode(), b"\xff" * 1000):
        assert ring.find(wrong, NOW) is None
    assert one not in file.read_bytes()


def test_a_key_ends_when_it_expires(tmp_path: Path) -> None:
    key, text = entry("one", "expires = 2026-11-25T00:01:00Z\n")
    file = tmp_path / "keys.toml"
    file.write_text(text)
    ring = KeyRing(file)
    assert ring.find(key, NOW) is not None
    assert ring.find(key, NOW + timedelta(minutes=1).total_seconds()) is None


def test_a_changed_file_is_taken_without_a_restart(tmp_path: Path) -> None:
    (old, before), (new, after) = entry("old"), entry("new")
    file = tmp_path / "keys.toml"
    file.write_text(before)
    ring = KeyRing(file)
    assert ring.find(old, NOW) is not None
    file.write_text(after)
    os.utime(file, ns=(1, 1))
    later = NOW + 2 * LOOK_AGAIN_S
    assert ring.find(new, later) is not None
    assert ring.find(old, later) is None


@pytest.mark.parametrize("broken", ["", "[[keys]]\nname = 1\n", "\0", None])
def test_a_file_that_breaks_locks_nobody_out(tmp_path: Path, broken: str | None) -> None:
    key, text = entry("one")
    file = tmp_path / "keys.toml"
    file.write_text(text)
    ring = KeyRing(file)
    if broken is None:
        file.unlink()
    else:
        file.write_text(broken)
    assert ring.find(key, NOW + 2 * LOOK_AGAIN_S) is not None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "keys"),
        ('[[keys]]\nname = "Front Desk"\nsha256 = "x"\n', "name"),
        ('[[keys]]\nname = "a"\nsha256 = "mw_secret"\n', "sha256"),
        (
            '[[keys]]\nname = "a"\nsha256 = "' + "0" * 64 + '"\nexpires = 2027-01-01T00:00:00\n',
            "zone",
        ),
        (('[[keys]]\nname = "a"\nsha256 = "' + "0" * 64 + '"\n') * 2, "two keys"),
        ('[[keys]]\nname = "a"\nsha256 = "' + "0" * 64 + '"\nquota = 5\n', "unknown field"),
    ],
)
def test_a_bad_file_is_refused_at_the_start(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "keys.toml"
    file.write_text(text)
    with pytest.raises(SettingError, match=said) as refused:
        read_keys(file)
    assert str(file) in str(refused.value)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="keys file"):
        read_keys(tmp_path / "none.toml")


def test_the_command_prints_an_entry_that_holds_the_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["key", "front-desk"]) == 0
    told = capsys.readouterr()
    key = told.err.split()[-1]
    file = tmp_path / "keys.toml"
    file.write_text(told.out)
    assert key.startswith(MARK) and key not in told.out
    found = KeyRing(file).find(key.encode(), NOW)
    assert found is not None and found[1].name == "front-desk"
