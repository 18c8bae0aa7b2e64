"""Settings come from the environment, bounded, and a wrong one is refused by its name."""

from pathlib import Path

import pytest

from service.__main__ import main
from service.model.errors import SettingError
from service.web.settings import PREFIX, WORDS, Settings, is_loopback, settings_lines, settings_of

GUIDE = Path(__file__).parents[2] / "docker" / "OPERATING.md"


def test_nothing_set_is_closed_and_on_the_loopback() -> None:
    chosen = settings_of({}, {})
    assert chosen == Settings()
    assert is_loopback(chosen.host)
    assert chosen.allow_origins == chosen.allow_frames == ()


def test_the_command_line_goes_before_the_environment() -> None:
    environ = {"MOVEWRIGHT_PORT": "9001", "MOVEWRIGHT_MAX_WORK": "3", "PATH": "/bin"}
    chosen = settings_of(environ, {"port": 9002})
    assert (chosen.port, chosen.max_work) == (9002, 3)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("PORT", "0"),
        ("PORT", "x"),
        ("WORKERS", "65"),
        ("MAX_BODY_BYTES", "1"),
        ("RECEIVE_WITHIN_S", "1.5"),
        ("OPEN_BEYOND_LOOPBACK", "maybe"),
        ("LOG", "everything"),
        ("ALLOW_ORIGINS", "*"),
        ("ALLOW_ORIGINS", "https://app.example/path"),
        ("ALLOW_FRAMES", "https://*.example"),
        ("SECURITY_CONTACT", "nobody"),
        ("MAX_WROK", "1"),
    ],
)
def test_a_wrong_setting_is_refused_by_name(name: str, value: str) -> None:
    with pytest.raises(SettingError) as refused:
        settings_of({PREFIX + name: value}, {})
    assert f"`{PREFIX}{name}`" in str(refused.value)


def test_a_misspelt_name_is_told_the_nearest() -> None:
    with pytest.raises(SettingError, match="MOVEWRIGHT_MAX_WORK"):
        settings_of({"MOVEWRIGHT_MAX_WROK": "1"}, {})


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "gym.example"])
def test_beyond_the_loopback_needs_keys_or_a_word(host: str) -> None:
    with pytest.raises(SettingError, match="MOVEWRIGHT_KEYS_FILE"):
        settings_of({}, {"host": host})
    assert settings_of({"MOVEWRIGHT_OPEN_BEYOND_LOOPBACK": "true"}, {"host": host}).host == host
    assert settings_of({"MOVEWRIGHT_KEYS_FILE": "keys.toml"}, {"host": host}).host == host


@pytest.mark.parametrize("host", ["127.0.0.1", "127.1.2.3", "::1", "localhost"])
def test_the_loopback_needs_neither(host: str) -> None:
    assert settings_of({}, {"host": host}).host == host


def test_the_service_does_not_start_on_a_wrong_setting(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("MOVEWRIGHT_MAX_WORK", "none")
    assert main(["serve"]) == 2
    assert "MOVEWRIGHT_MAX_WORK" in capsys.readouterr().err


def test_every_setting_stands_in_help_and_guide(capsys: pytest.CaptureFixture[str]) -> None:
    assert set(WORDS) == set(Settings.__struct_fields__)
    with pytest.raises(SystemExit):
        main(["serve", "--help"])
    told, guide = capsys.readouterr().out, GUIDE.read_text()
    for field, line in zip(WORDS, settings_lines(), strict=True):
        assert line in told
        assert f"`{PREFIX}{field.upper()}`" in guide
