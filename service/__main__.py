"""The command line: serve, plan one screen, check and compare packs, write the contract.

Over 400 lines, because every verb stands beside its flags in one place.
"""

import argparse
import os
import re
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn, TypeVar

import msgspec

from service import __version__
from service.authoring.cases import read_cases
from service.authoring.comparison import compare
from service.authoring.counts import counts_of
from service.authoring.run import run_cases
from service.authoring.words import cases_lines, comparison_lines, counts_lines
from service.compiler import compile_pack
from service.compiler.compile import read_draft
from service.compiler.draft import Draft
from service.engine.plan import CONTRACT, plan
from service.engine.review import review
from service.engine.series import series
from service.landmarks import analyse
from service.model.errors import PackError, PackFault, SettingError
from service.model.graph import Pack
from service.model.landmarks import Clip
from service.model.review import ReviewRequest
from service.model.screen import Screen
from service.model.series import SeriesRequest
from service.web.app import create_app
from service.web.bench import lines, measure, report, scaled_lines, scaling
from service.web.contract.document import contract_bytes
from service.web.contract.released import drift, release, write
from service.web.edge import Edge
from service.web.keys import new_key
from service.web.pages.card import CardForm, card
from service.web.pages.clip import render_clip
from service.web.pages.plain import render
from service.web.pages.review import render_review
from service.web.pages.series import render_series
from service.web.problems import PROBLEMS, RefusalError
from service.web.reading import Reader
from service.web.routes.landmarks import LANGUAGE
from service.web.running import Running
from service.web.server import serve
from service.web.settings import settings_lines, settings_of
from service.web.shards import Progress, Shard, run_shard, shard_of
from service.web.shipped import examples

_B = TypeVar("_B", bound=msgspec.Struct)
DOES_NOT_HOLD = 1
"""Exit code where a golden case does not hold, or a live record never works."""
FAULT = 2
"""Exit code where the input, the pack or a setting is at fault."""


class PackReport(msgspec.Struct, frozen=True, kw_only=True):
    """What `check --json` prints."""

    ok: bool
    pack: Pack | None
    faults: tuple[PackFault, ...]


def main(arguments: Sequence[str] | None = None) -> int:
    """The exit code: 0, 1 for a contract that drifted or a case that fails, 2 for a fault."""
    try:
        chosen = _parser().parse_args(arguments)
        run: Callable[[argparse.Namespace], int] = chosen.run
        return run(chosen)
    except (PackError, SettingError) as error:
        print(error, file=sys.stderr)
        return FAULT


class _Parser(argparse.ArgumentParser):
    """Says a fault of the command line in one line, as every other fault is said."""

    def error(self, message: str) -> NoReturn:
        """End with what is wrong."""
        self.exit(FAULT, f"{self.prog}: {message}; see `{self.prog} --help`\n")


class _Versions(argparse.Action):
    """Prints the versions of service, contract and pack, and the digest of the pack."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object, **__: object) -> None:
        """Compile the shipped pack, print and end."""
        pack = compile_pack().pack
        print(f"service {__version__}\ncontract {CONTRACT}\npack {pack.version} {pack.digest}")
        parser.exit()


def _parser() -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = _Parser(
        prog="movewright",
        description="From a screen of how a client moves to a drill plan that says why.",
        epilog="example: movewright plan openapi/examples/knees_in_heels_help.json",
    )
    parser.add_argument("--version", action=_Versions, nargs=0, help="print what answers and end")
    verbs = parser.add_subparsers(title="verbs", required=True, metavar="VERB")
    serve = _verb(verbs, "serve", _serve, "start the service", "serve --port 8000")
    serve.add_argument("--host", help="address to listen on (loopback)")
    serve.add_argument("--port", type=_port, help="port to listen on (8000)")
    serve.add_argument("--workers", type=_count, help="processes that share the port (1)")
    serve.formatter_class = argparse.RawDescriptionHelpFormatter
    serve.epilog = "\n".join([f"{serve.epilog}\n\nenvironment (default):", *settings_lines()])
    _overlay(serve)
    many = _verb(verbs, "bulk", _bulk, "plan for a file of screens", "bulk in.ndjson --out out/")
    many.add_argument("file", metavar="FILE", help="one screen a line (NDJSON)")
    many.add_argument("--out", metavar="DIR", required=True, help="folder of output and manifest")
    many.add_argument("--workers", type=_count, default=1, help="processes (1)")
    many.add_argument("--shard", type=_shard, default="1/1", help="i/n: this part only (1/1)")
    _overlay(many)
    key = _verb(verbs, "key", _key, "make an API key", "key front-desk >> keys.toml")
    key.add_argument("name", metavar="NAME", type=_key_name, help="who gets it: a-z, 0-9, - or _")
    one = _verb(verbs, "plan", _plan, "print the plan for one screen", "plan screen.json")
    one.add_argument("file", metavar="FILE", help="a JSON file, or - for standard input")
    as_what = one.add_mutually_exclusive_group()
    as_what.add_argument("--card", action="store_true", help="print a page of HTML, for paper")
    as_what.add_argument("--json", action="store_true", help="print the raw answer")
    _overlay(one)
    again = _verb(verbs, "review", _review, "see whether it worked", "review two_screens.json")
    again.add_argument("file", metavar="FILE", help="a JSON file, or - for standard input")
    again.add_argument("--json", action="store_true", help="print the raw answer")
    _overlay(again)
    weeks = _verb(verbs, "series", _series, "lay out the weeks ahead", "series screen.json")
    weeks.add_argument("file", metavar="FILE", help="a JSON screen, or - for standard input")
    weeks.add_argument("--weeks", type=_weeks, default=6, help="1 to 12 (6)")
    weeks.add_argument("--sessions", type=_sessions, default=3, help="a week, 1 to 7 (3)")
    weeks.add_argument("--json", action="store_true", help="print the raw answer")
    _overlay(weeks)
    film = _verb(verbs, "landmarks", _landmarks, "read a clip of landmarks", "landmarks clip.json")
    film.add_argument("file", metavar="FILE", help="a JSON file, or - for standard input")
    film.add_argument("--json", action="store_true", help="print the raw answer")
    _overlay(film)
    check = _verb(verbs, "check", _check, "name every fault of the pack", "check --json")
    check.add_argument(
        "pack", metavar="PACK", nargs="?", type=_folder, help="its folder (the shipped one)"
    )
    check.add_argument("--counts", action="store_true", help="print how much it holds instead")
    check.add_argument("--json", action="store_true", help="print a JSON report")
    _overlay(check)
    cases = _verb(verbs, "try", _try, "run golden cases", "try cases/ --coverage")
    cases.add_argument("folder", metavar="FOLDER", nargs="?", type=_folder, help="*.toml of cases")
    cases.add_argument("--coverage", action="store_true", help="name records that never work too")
    cases.add_argument("--json", action="store_true", help="print a JSON report")
    _overlay(cases)
    two = _verb(verbs, "compare", _compare, "tell two packs apart", "compare old/ new/")
    two.add_argument("old", metavar="OLD", type=_folder, help="folder of the older pack")
    two.add_argument("new", metavar="NEW", type=_folder, help="folder of the newer pack")
    two.add_argument("--screens", metavar="FOLDER", type=_folder, help="*.json (the examples)")
    two.add_argument("--json", action="store_true", help="print a JSON report")
    timing = _verb(verbs, "bench", _bench, "time this machine", "bench --screens 500")
    timing.add_argument("--screens", type=_count, default=1000, help="of each size (1000)")
    timing.add_argument("--worst", type=_count, default=20, help="of the largest size (20)")
    timing.add_argument("--seed", type=int, default=1, help="of the mix (1)")
    timing.add_argument("--json", action="store_true", help="print the figures as JSON")
    contract = _verb(verbs, "contract", _contract, "print the contract", "contract --check")
    how = contract.add_mutually_exclusive_group()
    how.add_argument("--check", action="store_true", help="compare with the committed file")
    how.add_argument("--write", action="store_true", help="write the committed file")
    how.add_argument("--release", action="store_true", help="keep a copy as a promise to callers")
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


def _overlay(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--overlay", metavar="DIR", type=_folder, help="a gym's own records")


def _folder(text: str) -> Path:
    if Path(text).is_dir():
        return Path(text).resolve()
    raise argparse.ArgumentTypeError(f"`{text}` is no folder")


def _shard(text: str) -> Shard:
    try:
        return shard_of(text)
    except SettingError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _key_name(text: str) -> str:
    if re.fullmatch(r"[a-z0-9_-]{1,64}", text):
        return text
    raise argparse.ArgumentTypeError(f"`{text}` is no name; use a-z, 0-9, - and _, at most 64")


def _port(text: str) -> int:
    if text.isascii() and text.isdigit() and 1 <= int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError("a port is a whole number from 1 to 65535")


def _count(text: str) -> int:
    if text.isascii() and text.isdigit() and 1 <= int(text) <= 1_000_000:
        return int(text)
    raise argparse.ArgumentTypeError("a count is a whole number from 1 to 1000000")


def _weeks(text: str) -> int:
    if text in map(str, range(1, 13)):
        return int(text)
    raise argparse.ArgumentTypeError("weeks are a whole number from 1 to 12")


def _sessions(text: str) -> int:
    if text in map(str, range(1, 8)):
        return int(text)
    raise argparse.ArgumentTypeError("sessions are a whole number from 1 to 7")


def _bench(chosen: argparse.Namespace) -> int:
    graph = compile_pack()
    timed = measure(graph, count=chosen.screens, worst=chosen.worst, seed=chosen.seed)
    scaled = scaling(graph, count=max(1, chosen.screens // 10), seed=chosen.seed)
    if chosen.json:
        made = report(timed, scaled, graph.pack, chosen.seed)
        print(msgspec.json.format(msgspec.json.encode(made)).decode())
        return 0
    for line in (*lines(timed, graph.pack, chosen.seed), "", *scaled_lines(scaled)):
        print(line)
    return 0


def _serve(chosen: argparse.Namespace) -> int:
    given = {"host": chosen.host, "port": chosen.port, "workers": chosen.workers}
    settings = settings_of(os.environ, {k: v for k, v in given.items() if v is not None})

    def make(running: Running | None) -> Edge:
        return create_app(compile_pack(overlay=chosen.overlay), settings, running=running)

    return serve(make, settings)


def _bulk(chosen: argparse.Namespace) -> int:
    source = Path(chosen.file)
    if not source.is_file():
        raise SettingError(f"`{chosen.file}` is no file")
    graph = compile_pack(overlay=chosen.overlay)
    progress = Progress()
    try:
        made = run_shard(source, Path(chosen.out), chosen.shard, chosen.workers, graph, progress)
    except OSError as error:
        raise SettingError(f"cannot write under `{chosen.out}`: {error.strerror}") from None
    progress.end()
    print(f"{made.output}: {made.answers} answers, {made.problems} problems")
    return 0


def _key(chosen: argparse.Namespace) -> int:
    key, entry = new_key(chosen.name)
    print(f"give this key to the caller; it is not shown again:\n{key}", file=sys.stderr)
    print(entry, end="")
    return 0


def _plan(chosen: argparse.Namespace) -> int:
    screen, graph = _screen(_raw(chosen)), compile_pack(overlay=chosen.overlay)
    answer = plan(screen, graph)
    if chosen.card:
        print(card(answer, graph, screen.options.language, CardForm()).html)
    else:
        print(_json(answer) if chosen.json else render(answer), end="\n" if chosen.json else "")
    return 0


def _review(chosen: argparse.Namespace) -> int:
    answer = review(_body(_raw(chosen), ReviewRequest), compile_pack(overlay=chosen.overlay))
    print(_json(answer) if chosen.json else render_review(answer), end="\n" if chosen.json else "")
    return 0


def _series(chosen: argparse.Namespace) -> int:
    asked = SeriesRequest(
        screen=_screen(_raw(chosen)), weeks=chosen.weeks, sessions_a_week=chosen.sessions
    )
    answer = series(asked, compile_pack(overlay=chosen.overlay))
    print(_json(answer) if chosen.json else render_series(answer), end="\n" if chosen.json else "")
    return 0


def _landmarks(chosen: argparse.Namespace) -> int:
    clip = _body(_raw(chosen), Clip)
    graph = compile_pack(overlay=chosen.overlay)
    answer = analyse(clip, graph.cutoffs, graph.texts[LANGUAGE])
    print(_json(answer) if chosen.json else render_clip(answer), end="\n" if chosen.json else "")
    return 0


def _raw(chosen: argparse.Namespace) -> bytes:
    try:
        return sys.stdin.buffer.read() if chosen.file == "-" else Path(chosen.file).read_bytes()
    except OSError as error:
        raise SettingError(f"cannot read `{chosen.file}`: {error.strerror}") from None


def _screen(raw: bytes, name: str = "") -> Screen:
    return _body(raw, Screen, name)


def _body(raw: bytes, kind: type[_B], name: str = "") -> _B:
    try:
        return Reader(kind).read(raw)
    except RefusalError as refusal:
        where = f"{name}: " if name else ""
        raise SettingError(f"{where}{_refusal_lines(refusal)}") from None


def _refusal_lines(refusal: RefusalError) -> str:
    kind = PROBLEMS[refusal.problem]
    lines = [f"{kind.title}. {kind.fix}"]
    lines += [f"  at {fault.pointer or '/'}: {fault.detail}" for fault in refusal.errors]
    return "\n".join(lines)


def _check(chosen: argparse.Namespace) -> int:
    started = time.perf_counter()
    try:
        report = PackReport(
            ok=True, pack=compile_pack(chosen.pack, overlay=chosen.overlay).pack, faults=()
        )
    except PackError as error:
        report = PackReport(ok=False, pack=None, faults=error.faults)
    took_s = time.perf_counter() - started
    if chosen.counts and report.ok:
        counts = counts_of(read_draft(chosen.pack, overlay=chosen.overlay)[0])
        print(_json(counts) if chosen.json else counts_lines(counts, took_s))
    elif chosen.json:
        print(_json(report))
    elif report.pack is not None:
        print(f"{report.pack.name} {report.pack.version}: no faults, digest {report.pack.digest}")
    else:
        print(PackError(report.faults))
    return 0 if report.ok else FAULT


def _try(chosen: argparse.Namespace) -> int:
    if chosen.folder is None and not chosen.coverage:
        raise SettingError("name a folder of cases, or ask for --coverage alone")
    cases = () if chosen.folder is None else read_cases(chosen.folder)
    report = run_cases(cases, compile_pack(overlay=chosen.overlay), coverage=chosen.coverage)
    print(_json(report) if chosen.json else cases_lines(report))
    return 0 if report.ok else DOES_NOT_HOLD


def _compare(chosen: argparse.Namespace) -> int:
    files = (
        {path.stem: path.read_bytes() for path in sorted(chosen.screens.glob("*.json"))}
        if chosen.screens
        else examples()
    )
    screens = {name: _screen(raw, name) for name, raw in files.items()}
    found = compare(_draft(chosen.old), _draft(chosen.new), screens)
    print(_json(found) if chosen.json else comparison_lines(found))
    return 0


def _draft(root: Path) -> Draft:
    draft, shape = read_draft(root)
    if shape:
        raise PackError(tuple(sorted(shape)))
    return draft


def _json(value: msgspec.Struct) -> str:
    return msgspec.json.format(msgspec.json.encode(value), indent=2).decode()


def _contract(chosen: argparse.Namespace) -> int:
    told: tuple[str, ...] = ()
    if chosen.check:
        told = drift()
    elif chosen.release:
        told = release()
    elif chosen.write:
        write()
    else:
        sys.stdout.buffer.write(contract_bytes())
    for line in told:
        print(line, file=sys.stderr)
    return DOES_NOT_HOLD if told else 0


if __name__ == "__main__":
    sys.exit(main())
