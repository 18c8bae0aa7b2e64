"""A gym's own records laid over a pack: what it adds, renames and switches off.

Apart from reading because a pack stands by itself and an overlay never does: all that is judged
here is whether it stays within what an overlay may do. The checks then judge the whole.
"""

import string
from collections.abc import Iterator, Mapping
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Annotated

from msgspec import Meta, Struct
from msgspec.structs import replace

from service.compiler.checks.helpers import CHECK as HELPERS
from service.compiler.checks.reachability import CHECK as REACHABILITY
from service.compiler.checks.references import nearest
from service.compiler.draft import MANIFEST, AnyRecord, Draft, Kind, Manifest
from service.compiler.read import KINDS, live_of, read_manifest, read_parts
from service.model.errors import PackFault
from service.model.knowledge import LadderRecord, Slug, TextRecord

CHECK = "overlay"
MAY_HOLD: tuple[Kind, ...] = (
    "alerts",
    "cautions",
    "doses",
    "drills",
    "kit",
    "ladders",
    "sources",
    "texts",
)
"""What a gym may add. An added alert or caution can only hold more back."""


class OverlayManifest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What an overlay says of itself, in its `manifest.toml`."""

    name: Annotated[str, Meta(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$(?!\n)", max_length=40)]
    version: Annotated[str, Meta(pattern=r"^\d+\.\d+\.\d+$(?!\n)")]
    switch_off: tuple[Slug, ...] = ()
    """Drills of the pack that are not to be planned here."""
    stand_alone: tuple[Slug, ...] = ()
    """Own drills that have no easier and no harder neighbour."""


class Laid(Struct, frozen=True, kw_only=True):
    """A pack with an overlay on it. `faults` are of the overlay's form and of its manners."""

    draft: Draft
    faults: tuple[PackFault, ...]


def lay(base: Draft, root: Traversable | Path) -> Laid:
    """Return the pack with the overlay at `root` on it, and what the overlay may not do.

    What an overlay may not do is left undone, so that the checks that follow find no second
    fault in it.
    """
    at = f"{root.name}/"
    chosen, own = read_manifest(root, OverlayManifest)
    top, shape = read_parts(root, Manifest(name=at, version="0.0.0", kinds=KINDS))
    if chosen is None:
        chosen = OverlayManifest(name="unnamed", version="0.0.0")
    faults = [*own, *shape, *_added(base, top), *_renamed(base, top), *_switched(base, chosen)]
    placed = [replace(fault, file=f"{at}{fault.file}") for fault in faults]
    return Laid(draft=_merged(base, top, chosen, at), faults=tuple(placed))


def no_folder(root: Traversable | Path) -> PackFault:
    """Return the fault of an overlay that is not there."""
    return PackFault(
        file=f"{root.name}/",
        record="",
        field="",
        check=CHECK,
        wrong="is no folder that can be read",
        do="name the folder that holds the overlay's manifest.toml",
    )


def blame(fault: PackFault, root: Traversable | Path) -> PackFault:
    """Return a fault of the whole as the overlay's, where what it switches off has made it.

    A way that is missing stands at a record of the pack, which was whole without the overlay.
    """
    if fault.check not in (HELPERS, REACHABILITY) or fault.file.startswith(f"{root.name}/"):
        return fault
    return replace(
        fault,
        file=f"{root.name}/{MANIFEST}",
        field="switch_off",
        wrong=f"what is switched off leaves a gap: `{fault.record}` {fault.wrong}",
        do=f"leave one of them on, or {fault.do}",
    )


def _say(kind: Kind, draft: Draft, record: str, field: str, *, wrong: str, do: str) -> PackFault:
    return draft.fault(kind, record, field, check=CHECK, wrong=wrong, do=do)


def _added(base: Draft, top: Draft) -> Iterator[PackFault]:
    """Yield a fault for each record that an overlay may not hold, or that the pack has already."""
    for kind, key in sorted(top.place):
        if kind not in MAY_HOLD:
            wrong = f"is one of the {kind}, which an overlay leaves as they are"
            yield _say(kind, top, key, "", wrong=wrong, do=f"hold only {', '.join(MAY_HOLD)}")
        elif kind != "texts" and (kind, key) in base.place:
            held = kind in ("alerts", "cautions")
            yield _say(
                kind,
                top,
                key,
                "id",
                wrong=f"stands in the pack ({base.place[kind, key]}), and an overlay "
                + ("never changes, weakens or removes one" if held else "changes no record"),
                do="give the record an id of its own",
            )


def _renamed(base: Draft, top: Draft) -> Iterator[PackFault]:
    """Yield a fault for each text that may not be renamed, or not like that."""
    for key, text in top.every.texts.items():
        if key not in base.every.texts:
            known = nearest(key, base.every.texts)
            yield _say("texts", top, key, "id", wrong="no text of the pack has this id in this "
                       "language", do=f"rename one that there is{known}")  # fmt: skip
            continue
        if text.id in base.manifest.kept_texts:
            yield _say("texts", top, key, "id", wrong="carries a caution or an alert, and stays "
                       "as it is", do="take it out")  # fmt: skip
        new = sorted(_names(text) - _names(base.every.texts[key]))
        if new:
            yield _say(
                "texts",
                top,
                key,
                "text",
                wrong=f"has places that nothing fills: {', '.join(f'`{name}`' for name in new)}",
                do="use the places of the pack's own text",
            )


def _names(text: TextRecord) -> set[str]:
    """Return the places of a template as written, a width or a conversion being part of them."""
    try:
        parsed = list(string.Formatter().parse(text.text))
    except ValueError:
        return {text.text}
    return {
        f"{name}{f'!{turn}' if turn else ''}{f':{spec}' if spec else ''}"
        for _, name, spec, turn in parsed
        if name is not None
    }


def _switched(base: Draft, chosen: OverlayManifest) -> Iterator[PackFault]:
    for n, name in enumerate(chosen.switch_off):
        if name in base.every.drills or ("drills", name) in base.unreadable:
            continue
        held = next((k for k in ("alerts", "cautions") if (k, name) in base.place), None)
        yield PackFault(
            file=MANIFEST,
            record="",
            field=f"switch_off[{n}]",
            check=CHECK,
            wrong=f"`{name}` is one of the {held}, and none of them is ever switched off"
            if held
            else f"the pack has no drill `{name}`",
            do="take it out" if held else f"name a drill{nearest(name, base.every.drills)}",
        )


def _merged(base: Draft, top: Draft, chosen: OverlayManifest, at: str) -> Draft:
    """Return both as one draft; a record that the overlay may not hold is not in it."""
    off = frozenset(chosen.switch_off)
    parts: dict[str, Mapping[str, AnyRecord]] = {}
    for kind in KINDS:
        under, over = dict(base.every.of(kind)), top.every.of(kind)
        for key, record in over.items() if kind in MAY_HOLD else ():
            allowed = kind == "texts" and key in under and _may(base, record, under[key])
            if allowed or (kind != "texts" and (kind, key) not in base.place):
                under[key] = record
        parts[kind] = dict(sorted(under.items()))
    parts["drills"] = {key: drill for key, drill in parts["drills"].items() if key not in off}
    every = replace(base.every, **parts)
    ladders = {key: _without(ladder, off) for key, ladder in every.ladders.items()}
    short = {key for key, ladder in ladders.items() if len(ladder.rungs) < 2}
    left = {rung for key in short for rung in ladders[key].rungs if ladders[key].status == "live"}
    every = replace(every, ladders={k: v for k, v in ladders.items() if k not in short})
    alone = {*base.manifest.stand_alone, *chosen.stand_alone, *left} - off
    return replace(
        base,
        manifest=replace(
            base.manifest,
            version=f"{base.manifest.version}+{chosen.name}.{chosen.version}",
            stand_alone=tuple(sorted(alone)),
        ),
        every=every,
        live=live_of(every),
        files=(*base.files, *(replace(file, path=f"{at}{file.path}") for file in top.files)),
        place={**{key: f"{at}{path}" for key, path in top.place.items()}, **base.place},
        unreadable=base.unreadable | top.unreadable,
    )


def _may(base: Draft, over: AnyRecord, under: AnyRecord) -> bool:
    return (
        isinstance(over, TextRecord)
        and isinstance(under, TextRecord)
        and over.id not in base.manifest.kept_texts
        and _names(over) <= _names(under)
    )


def _without(ladder: LadderRecord, off: frozenset[str]) -> LadderRecord:
    """Return the ladder without the drills that are switched off; its neighbours close up."""
    return replace(ladder, rungs=tuple(rung for rung in ladder.rungs if rung not in off))
