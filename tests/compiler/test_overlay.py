"""A gym's own folder adds and switches off, and what it may not do refuses the start."""

from pathlib import Path

import pytest

from service.compiler import compile_pack
from service.compiler.checks.reachability import AIM_FOR
from service.engine.plan import plan
from service.model.errors import PackError, PackFault
from service.model.graph import Graph
from service.model.screen import Observation, Screen

MANIFEST = 'name = "north-hall"\nversion = "1.0.0"\n'
KIT = """[[kit]]
id = "{id}"
name = "balance beam"
status = "live"
sources = ["practice"]
checked = 2026-11-25
setup_s = 10
"""
DRILL = """[[drills]]
id = "{id}"
name = "Beam stand"
status = "live"
sources = ["estimate", "practice"]
checked = 2026-11-25
reasoning = "Effect as that of other one-leg stands of this pack."
aim = "control"
region = "hip"
trains = [{{ cause = "{cause}", effect = 0.5 }}]
level = "new"
kit = [["{kit}"]]
each_side = true
remote = true
dose = "hold_control"
setup_s = 10
position = "one_leg"
load = "none"
loads = ["ankle", "hip", "knee"]
balance = true
cue = "Stand on the beam as if it were the top of a narrow wall."
good_looks_like = "The beam stays silent under the foot."
stop_when = "Stop when the free foot has come down on the beam twice."
errors = [
  {{ seen = "The toes claw the edge of the beam", fix = "Let them lie long on the wood." }},
  {{ seen = "The eyes drop to the beam", fix = "Pick a brick on the far side of the hall." }},
]
wrong_when = "The beam rocks: then it is the beam that is trained."
"""


def overlay_at(root: Path, files: dict[str, str]) -> Path:
    for name, text in {"manifest.toml": MANIFEST, **files}.items():
        file = root / "north" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)
    return root / "north"


def faults_of(root: Path, files: dict[str, str]) -> tuple[PackFault, ...]:
    with pytest.raises(PackError) as refused:
        compile_pack(overlay=overlay_at(root, files))
    return refused.value.faults


def own_drill(**changed: str) -> dict[str, str]:
    values = {"id": "beam_stand", "cause": "hip_abductors.control", "kit": "beam"} | changed
    return {
        "manifest.toml": MANIFEST + f'stand_alone = ["{values["id"]}"]\n',
        "kit/own.toml": KIT.format(id="beam"),
        "drills/own.toml": DRILL.format(**values),
    }


def test_own_kit_and_drills_join_the_pack_and_change_its_digest(
    tmp_path: Path, graph: Graph
) -> None:
    with_own = compile_pack(overlay=overlay_at(tmp_path, own_drill()))
    assert set(with_own.drills) - set(graph.drills) == {"beam_stand"}
    assert set(with_own.kit) - set(graph.kit) == {"beam"}
    assert with_own.drills.keys() >= graph.drills.keys()
    assert with_own.pack.version == f"{graph.pack.version}+north-hall.1.0.0"
    assert with_own.pack.digest != graph.pack.digest
    assert list(with_own.drills) == sorted(with_own.drills)
    for kind in ("alerts", "cautions", "causes", "findings", "links", "rules"):
        assert getattr(with_own, kind) == getattr(graph, kind)


def test_a_drill_switched_off_is_planned_no_more_and_its_ladder_closes_up(
    tmp_path: Path, graph: Graph
) -> None:
    screen = Screen(
        observations=(
            Observation(
                movement="squat", view="front", finding="knee_in", grade="marked", side="left"
            ),
        )
    )
    session = plan(screen, graph).session
    assert session
    off = session.steps[0].drill
    manifest = MANIFEST + f'switch_off = ["{off}"]\n'
    without = compile_pack(overlay=overlay_at(tmp_path, {"manifest.toml": manifest}))
    after = plan(screen, without).session
    assert off not in without.drills
    assert after
    assert off not in {step.drill for step in after.steps}
    offers = {offer.drill: offer for offer in without.offers}
    (was,) = (offer for offer in graph.offers if offer.drill == off)
    for neighbour, of in ((was.easier, "harder"), (was.harder, "easier")):
        if neighbour is not None:
            assert getattr(offers[neighbour], of) != off


def test_a_ladder_left_with_one_rung_goes_and_the_drill_stays(tmp_path: Path, graph: Graph) -> None:
    ladder = min(graph.ladders.values(), key=lambda one: (len(one.rungs), one.id))
    stays = ladder.rungs[0]
    off = ", ".join(f'"{rung}"' for rung in ladder.rungs[1:])
    files = {"manifest.toml": MANIFEST + f"switch_off = [{off}]\n"}
    without = compile_pack(overlay=overlay_at(tmp_path, files))
    assert ladder.id not in without.ladders
    assert stays in without.drills


def test_a_text_can_be_renamed_and_no_other_changes(tmp_path: Path, graph: Graph) -> None:
    text = '[[texts]]\nid = "no_kit"\ntext = "Needs nothing from the rack."\n'
    renamed = compile_pack(overlay=overlay_at(tmp_path, {"texts/en/own.toml": text}))
    assert renamed.texts["en"] == {**graph.texts["en"], "no_kit": "Needs nothing from the rack."}


@pytest.mark.parametrize("kind", ["alerts", "cautions"])
def test_an_alert_or_a_caution_cannot_be_switched_off(
    tmp_path: Path, graph: Graph, kind: str
) -> None:
    name = next(iter(getattr(graph, kind)))
    manifest = MANIFEST + f'switch_off = ["drop_this", "{name}"]\n'
    _, said = faults_of(tmp_path, {"manifest.toml": manifest})
    assert (said.file, said.field) == ("north/manifest.toml", "switch_off[1]")
    assert f"`{name}` is one of the {kind}, and none of them is ever switched off" in said.wrong


def test_no_help_loses_the_plain_drill_that_takes_it_away(tmp_path: Path, graph: Graph) -> None:
    patterns = {drill.pattern for drill in graph.drills.values() if drill.helper}
    pattern = sorted(p for p in patterns if p)[0]
    plain = [d.id for d in graph.drills.values() if d.pattern == pattern and d.helper is None]
    off = ", ".join(f'"{name}"' for name in plain)
    faults = faults_of(tmp_path, {"manifest.toml": MANIFEST + f"switch_off = [{off}]\n"})
    said = [fault for fault in faults if "is never taken away" in fault.wrong]
    assert said
    assert {(fault.file, fault.field) for fault in faults} == {
        ("north/manifest.toml", "switch_off")
    }


def test_an_overlay_that_removes_an_alert_is_refused(tmp_path: Path) -> None:
    source = Path(__file__).parents[2] / "knowledge" / "alerts"
    text = "".join(file.read_text() for file in sorted(source.glob("*.toml")))
    start = text.index('[[alerts]]\nid = "calf_swelling"')
    record = text[start : text.index("[[alerts]]", start + 1)]
    retired = record.replace('status = "live"', 'status = "retired"')
    assert retired != record
    (said,) = faults_of(tmp_path, {"alerts/own.toml": retired})
    assert (said.file, said.record, said.field) == ("north/alerts/own.toml", "calf_swelling", "id")
    assert "an overlay never changes, weakens or removes one" in said.wrong


def test_an_overlay_that_weakens_a_caution_is_refused(tmp_path: Path) -> None:
    weaker = """[[cautions]]
id = "pregnancy"
name = "Pregnancy"
status = "live"
sources = ["practice"]
checked = 2026-11-25
when = [[{ condition = "pregnancy", cleared = false }]]
say = "Carry on."
wrong_when = "Never."
closes = { head_low = true }
"""
    said = faults_of(tmp_path, {"cautions/own.toml": weaker})
    assert [(f.file, f.record, f.field) for f in said] == [
        ("north/cautions/own.toml", "pregnancy", "id")
    ]


def test_a_caution_may_be_added_and_only_holds_more_back(tmp_path: Path, graph: Graph) -> None:
    added = """[[cautions]]
id = "hall_no_jumps"
name = "House rule: no jumps"
status = "live"
sources = ["practice"]
checked = 2026-11-25
when = [[{ age_from = 5 }]]
say = "No jumps in this hall."
wrong_when = "The hall below is empty."
closes = { impact = true }
"""
    more = compile_pack(overlay=overlay_at(tmp_path, {"cautions/own.toml": added}))
    assert set(more.cautions) - set(graph.cautions) == {"hall_no_jumps"}


def test_what_carries_a_caution_or_an_alert_keeps_its_words(tmp_path: Path, graph: Graph) -> None:
    text = '[[texts]]\nid = "summary_refer"\ntext = "All fine, carry on."\n'
    (said,) = faults_of(tmp_path, {"texts/en/own.toml": text})
    assert (said.file, said.field) == ("north/texts/en/own.toml", "id")
    assert "carries a caution or an alert" in said.wrong


def test_no_cause_loses_its_way_without_kit(tmp_path: Path, graph: Graph) -> None:
    cause = graph.causes["ankle_dorsiflexion.range"]
    free = [
        drill.id
        for drill in graph.drills.values()
        if drill.aim == AIM_FOR[cause.mode]
        and () in drill.kit
        and any(trained.cause == cause.id for trained in drill.trains)
    ]
    assert free
    off = ", ".join(f'"{name}"' for name in free)
    faults = faults_of(tmp_path, {"manifest.toml": MANIFEST + f"switch_off = [{off}]\n"})
    said = [f for f in faults if f"`{cause.id}` has no live range drill without kit" in f.wrong]
    assert [(f.file, f.record, f.field) for f in said] == [
        ("north/manifest.toml", cause.id, "switch_off")
    ]


@pytest.mark.parametrize(
    ("files", "file", "record", "field", "words"),
    [
        (own_drill(cause="hip_abductor.control"), "drills/own.toml", "beam_stand", "trains",
         "names `hip_abductor.control`, which no file"),
        (own_drill(id="clam"), "drills/own.toml", "clam", "id", "stands in the pack"),
        (own_drill(kit="beam_long"), "drills/own.toml", "beam_stand", "kit", "names `beam_long`"),
        ({"manifest.toml": MANIFEST + 'keep = ["x"]\n'}, "manifest.toml", "", "keep", "no such"),
        ({"manifest.toml": MANIFEST + 'switch_off = ["clams"]\n'}, "manifest.toml", "",
         "switch_off[0]", "the pack has no drill `clams`"),
        ({"rules/own.toml": '[[rules]]\nid = "x"\n'}, "rules/own.toml", "x", "", "leaves as they"),
        ({"texts/en/own.toml": '[[texts]]\nid = "no_kit"\ntext = "{kit} is not needed."\n'},
         "texts/en/own.toml", "en/no_kit", "text", "has places that nothing fills: `kit`"),
        ({"texts/en/own.toml": '[[texts]]\nid = "left_rule"\ntext = "{by:>999999999}"\n'},
         "texts/en/own.toml", "en/left_rule", "text", "that nothing fills: `by:>999999999`"),
        ({"texts/en/own.toml": '[[texts]]\nid = "no_kits"\ntext = "None."\n'},
         "texts/en/own.toml", "en/no_kits", "id", "no text of the pack has this id"),
        ({"kit/own.toml": KIT.format(id="beam").replace("setup_s = 10", "setup_s = -1")},
         "kit/own.toml", "beam", "setup_s", "expected"),
    ],
)  # fmt: skip
def test_a_fault_of_an_overlay_is_named_with_file_record_and_field(
    tmp_path: Path, files: dict[str, str], file: str, record: str, field: str, words: str
) -> None:
    faults = faults_of(tmp_path, files)
    found = [f for f in faults if (f.file, f.record, f.field) == (f"north/{file}", record, field)]
    assert any(words in f.wrong for f in found), "\n".join(map(str, faults))
    assert all(f.do for f in faults)


def test_a_folder_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(PackError, match="is no folder that can be read"):
        compile_pack(overlay=tmp_path / "nowhere")
    (tmp_path / "empty").mkdir()
    with pytest.raises(PackError, match=r"empty/manifest\.toml: \(file\): is not there"):
        compile_pack(overlay=tmp_path / "empty")


def test_an_own_drill_that_hides_what_follows_from_itself_is_refused(tmp_path: Path) -> None:
    files = own_drill()
    drill = files["drills/own.toml"]
    hidden = drill.replace('load = "none"', 'load = "heavy"').replace("one_leg", "half_kneeling")
    files["drills/own.toml"] = hidden.replace('"hip", "knee"', '"hip"')
    told = {(fault.record, fault.field) for fault in faults_of(tmp_path, files)}
    assert {("beam_stand", "braced"), ("beam_stand", "loads")} <= told
