"""The command line: serve, plan one screen, check the pack, write the contract."""

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec
import uvicorn

from service import __version__
from service.compiler import compile_pack
from service.engine.plan import plan
from service.model.errors import PackError, PackFault, SettingError
from service.model.graph import Pack
from service.model.screen import Screen
from service.web.app import create_app
from service.web.contract.document import contract_bytes
from service.web.pages.plain import render
from service.web.problems import PROBLEMS, RefusalError
from service.web.reading import Reader
from service.web.settings import Settings
from service.web.shipped import contract_file

FAULT = 2
"""Exit code where the input, the pack or a setting is at fault."""


class PackReport(msgspec.Struct, frozen=True, kw_only=True):
    """What `check --json` prints."""

    ok: bool
    pack: Pack | None
    faults: tuple[PackFault, ...]


def main(arguments: Sequence[str] | None = None) -> int:
    """The exit code: 0, 1 for a contract that drifted, 2 for a fault that is printed."""
    chosen = _parser().parse_args(arguments)
    run: Callable[[argparse.Namespace], int] = chosen.run
    try:
        return run(chosen)
    except (PackError, SettingError) as error:
        print(error, file=sys.stderr)
        return FAULT


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="movewright",
        description="From a screen of how a client moves to a drill plan that says why.",
        epilog="example: movewright plan openapi/examples/knees_in_heels_help.json",
    )
    parser.add_argument("--version", action="version", version=f"movewright {__version__}")
    verbs = parser.add_subparsers(title="verbs", required=True, metavar="VERB")
    serve = _verb(verbs, "serve", _serve, "start the service", "serve --port 8000")
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (loopback)")
    serve.add_argument("--port", type=_port, default=8000, help="port to listen on (8000)")
    one = _verb(verbs, "plan", _plan, "print the plan for one screen", "plan screen.json")
    one.add_argument("file", metavar="FILE", help="a JSON file, or - for standard input")
    one.add_argument("--json", action="store_true", help="print the raw answer")
    check = _verb(verbs, "check", _check, "name every fault of the pack", "check --json")
    check.add_argument("--json", action="store_true", help="print a JSON report")
    contract = _verb(verbs, "contract", _contract, "print the contract", "contract --check")
    how = contract.add_mutually_exclusive_group()
    how.add_argument("--check", action="store_true", help="compare with the committed file")
    how.add_argument("--write", action="store_true", help="write the committed file")
    return parser


def _verb(
    verbs: "argparse._SubParsersAction[argparse.ArgumentParser]",
    name: str,
    run: Callable[[argparse.Namespace], int],
    words: str,
    example: str,
) -> argparse.ArgumentParser:
    parser = verbs.add_parser(
        name, help=words, description=f"{words}.", epilog=f"example: movewright {example}"
    )
    parser.set_defaults(run=run)
    return parser


def _port(text: str) -> int:
    if text.isascii() and text.isdigit() and 1 <= int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError("a port is a whole number from 1 to 65535")


def _serve(chosen: argparse.Namespace) -> int:
    settings = Settings(host=chosen.host, port=chosen.port)
    graph = compile_pack()
    print(
        f"movewright {__version__} with pack {graph.pack.version} "
        f"on http://{settings.host}:{settings.port}",
        file=sys.stderr,
        flush=True,
    )
    uvicorn.run(
        create_app(graph, settings),
        host=settings.host,
        port=settings.port,
        loop="asyncio" if sys.platform == "win32" else "uvloop",
        http="httptools",
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=settings.stop_after_s,
    )
    return 0


def _plan(chosen: argparse.Namespace) -> int:
    try:
        raw = sys.stdin.buffer.read() if chosen.file == "-" else Path(chosen.file).read_bytes()
    except OSError as error:
        raise SettingError(f"cannot read `{chosen.file}`: {error.strerror}") from None
    try:
        screen = Reader(Screen).read(raw)
    except RefusalError as refusal:
        print(_refusal_lines(refusal), file=sys.stderr)
        return FAULT
    answer = plan(screen, compile_pack())
    if chosen.json:
        print(msgspec.json.format(msgspec.json.encode(answer), indent=2).decode())
    else:
        print(render(answer), end="")
    return 0


def _refusal_lines(refusal: RefusalError) -> str:
    kind = PROBLEMS[refusal.problem]
    lines = [f"{kind.title}. {kind.fix}"]
    lines += [f"  at {fault.pointer or '/'}: {fault.detail}" for fault in refusal.errors]
    return "\n".join(lines)


def _check(chosen: argparse.Namespace) -> int:
    try:
        report = PackReport(ok=True, pack=compile_pack().pack, faults=())
    except PackError as error:
        report = PackReport(ok=False, pack=None, faults=error.faults)
    if chosen.json:
        print(msgspec.json.format(msgspec.json.encode(report), indent=2).decode())
    elif report.pack is not None:
        print(f"{report.pack.name} {report.pack.version}: no faults, digest {report.pack.digest}")
    else:
        print(PackError(report.faults))
    return 0 if report.ok else FAULT


def _contract(chosen: argparse.Namespace) -> int:
    written = contract_bytes()
    file = contract_file()
    if chosen.check:
        if file.is_file() and file.read_bytes() == written:
            return 0
        print("openapi/openapi.json differs: run `movewright contract --write`", file=sys.stderr)
        return 1
    if chosen.write:
        Path(str(file)).write_bytes(written)
        return 0
    sys.stdout.buffer.write(written)
    return 0


if __name__ == "__main__":
    sys.exit(main())
