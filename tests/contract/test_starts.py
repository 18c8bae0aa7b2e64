"""A start that cannot be: the process ends with 2 and one line that says why; and one that can."""

import os
import shutil
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.contract.running import free_port, service
from tests.contract.test_workers import READ, children, eventually, exchange

MANIFEST = 'name = "north-hall"\nversion = "1.0.0"\n'
EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
WITHOUT_PACK = (
    "import sys; sys.modules['knowledge'] = None; "
    "from service.__main__ import main; sys.exit(main(['serve']))"
)


def refused(*command: str, **settings: str) -> str:
    """What a process that must not start says: one line, with exit code 2."""
    environ = {k: v for k, v in os.environ.items() if not k.startswith("MOVEWRIGHT_")}
    environ |= {f"MOVEWRIGHT_{name}": value for name, value in settings.items()}
    ran = subprocess.run(
        [sys.executable, *command], env=environ, capture_output=True, text=True, timeout=60
    )
    assert ran.returncode == 2, ran.stdout + ran.stderr
    assert not ran.stdout
    assert ran.stderr.count("\n") == 1, ran.stderr
    return ran.stderr


def test_a_wrong_setting_ends_the_start() -> None:
    assert "`MOVEWRIGHT_MAX_WORK`" in refused("-m", "service", "serve", MAX_WORK="many")


def test_beyond_the_loopback_without_keys_ends_the_start() -> None:
    told = refused("-m", "service", "serve", HOST="0.0.0.0")
    assert "MOVEWRIGHT_KEYS_FILE" in told


def test_a_missing_overlay_ends_the_start(tmp_path: Path) -> None:
    told = refused("-m", "service", "serve", "--overlay", str(tmp_path / "none"))
    assert "is no folder" in told


def test_a_missing_pack_ends_the_start() -> None:
    assert "`knowledge` is not installed" in refused("-c", WITHOUT_PACK)


def test_a_missing_key_file_ends_the_start(tmp_path: Path) -> None:
    told = refused("-m", "service", "serve", KEYS_FILE=str(tmp_path / "none.toml"))
    assert "none.toml" in told


def test_a_port_in_use_ends_the_start() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        told = refused("-m", "service", "serve", "--port", port)
    assert f"`127.0.0.1:{port}`" in told


def test_a_shard_that_cannot_be_written_ends_the_run(tmp_path: Path) -> None:
    screens = tmp_path / "screens.ndjson"
    screens.write_text('{"observations": []}\n')
    in_the_way = tmp_path / "file"
    in_the_way.write_text("")
    told = refused("-m", "service", "bulk", str(screens), "--out", str(in_the_way / "out"))
    assert "cannot write under" in told


def test_a_read_only_file_system_ends_a_shard_and_not_the_service(tmp_path: Path) -> None:
    if os.geteuid() != 0 or shutil.which("unshare") is None:
        pytest.skip("needs root and unshare to mount a read-only file system")
    screens = tmp_path / "screens.ndjson"
    screens.write_text('{"observations": []}\n')
    out = tmp_path / "out"
    out.mkdir()
    script = 'mount -t tmpfs -o ro none "$1" && shift && exec "$@"'
    inside = ["unshare", "--mount", "sh", "-c", script, "sh", str(out), sys.executable]
    probe = subprocess.run([*inside, "-c", ""], capture_output=True, text=True)
    if probe.returncode != 0:
        pytest.skip(f"this machine mounts nothing: {probe.stderr.strip()}")
    command = ["-m", "service", "bulk", str(screens), "--out", str(out / "plans")]
    ran = subprocess.run([*inside, *command], capture_output=True, text=True, timeout=60)
    assert ran.returncode == 2
    assert "Read-only file system" in ran.stderr and ran.stderr.count("\n") == 1


def test_it_listens_on_the_address_of_the_next_protocol(tmp_path: Path) -> None:
    if not socket.has_ipv6:
        pytest.skip("this Python has no IPv6")
    try:
        with socket.create_server(("::1", 0), family=socket.AF_INET6):
            pass
    except OSError as error:
        pytest.skip(f"this machine has no IPv6 loopback: {error}")
    port = free_port()
    command = [sys.executable, "-m", "service", "serve", "--host", "::1", "--port", str(port)]
    with subprocess.Popen(command, stderr=subprocess.PIPE) as process:
        try:
            assert process.stderr is not None
            assert f"listening on [::1]:{port} " in process.stderr.readline().decode()
            with socket.create_connection(("::1", port), timeout=10) as connection:
                connection.sendall(b"GET /readyz HTTP/1.1\r\nHost: [::1]\r\n\r\n")
                assert connection.recv(4096).startswith(b"HTTP/1.1 200")
            with pytest.raises(ConnectionRefusedError):
                socket.create_connection(("127.0.0.1", port), timeout=10)
            process.terminate()
            assert process.wait(timeout=30) == 0
        finally:
            process.kill()


def test_a_broken_pack_changes_nothing_on_a_hangup_and_is_logged(tmp_path: Path) -> None:
    gym = tmp_path / "gym"
    gym.mkdir()
    (gym / "manifest.toml").write_text(MANIFEST)
    with service(tmp_path, {"WORKERS": "2"}, "--overlay", str(gym)) as running:
        eventually(lambda: len(children(running)) == 2)
        old, before = set(children(running)), exchange(running.port, READ)
        (gym / "manifest.toml").write_text("name = ")
        running.process.send_signal(signal.SIGHUP)
        eventually(lambda: "the pack was not taken: " in running.log.read_text())
        assert set(children(running)) == old
        assert (
            exchange(running.port, READ).partition(b"\r\n\r\n")[2]
            == (before.partition(b"\r\n\r\n")[2])
        )
        (gym / "manifest.toml").write_text(MANIFEST.replace("1.0.0", "1.1.0"))
        running.process.send_signal(signal.SIGHUP)
        eventually(lambda: not old & set(children(running)), 30.0)
        eventually(lambda: b"1.1.0" in exchange(running.port, READ))


def test_a_hangup_does_not_end_a_worker_that_is_alone(tmp_path: Path) -> None:
    with service(tmp_path) as running:
        running.process.send_signal(signal.SIGHUP)
        eventually(lambda: "one worker cannot be replaced" in running.log.read_text())
        assert exchange(running.port, READ).startswith(b"HTTP/1.1 200")
