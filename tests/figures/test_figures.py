"""Pictures of drills: bodies that obey geometry, stand on their floor, one for each drill."""

import math
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest
from msgspec.structs import replace

from service.figures import picture
from service.figures.body import points_of, stance_of
from service.figures.kit import room_marks
from service.figures.place import HEIGHT, anchor_of, before_of, lowest, place
from service.model.graph import Graph
from service.model.knowledge import FigureRecord
from service.model.pose import Pose, PoseView

SVG = "{http://www.w3.org/2000/svg}"
LARGEST = 14_000
"""Bytes of a picture with three poses."""
VIEWS: tuple[PoseView, ...] = ("side", "front", "back")


@pytest.fixture(scope="module")
def figure(graph: Graph) -> FigureRecord:
    assert graph.figure is not None
    return graph.figure


def posed(graph: Graph, pose: Pose) -> dict[str, tuple[float, float, float]]:
    assert graph.figure is not None
    return points_of(stance_of(pose, graph.postures[pose.posture]), graph.figure)


def test_every_live_drill_has_a_picture(graph: Graph) -> None:
    assert [drill for drill in graph.drills if picture(graph, drill, "right") is None] == []


def test_pictures_are_small_whole_and_named(graph: Graph) -> None:
    for drill in graph.drills.values():
        for side in ("left", "right"):
            drawn = picture(graph, drill.id, side)  # type: ignore[arg-type]
            assert drawn is not None
            root = ET.fromstring(drawn)
            assert root.tag == f"{SVG}svg" and root.get("role") == "img"
            title = root.findtext(f"{SVG}title", "")
            assert title.startswith(drill.name)
            assert (side in title.removeprefix(drill.name)) == drill.each_side
            assert len(drawn) < LARGEST, drill.id
            _, _, width, height = (float(text) for text in root.get("viewBox", "").split())
            assert 0.15 < width / height < 8, drill.id


def test_the_other_side_is_the_mirror_image(graph: Graph) -> None:
    for drill in graph.drills:
        right, left = picture(graph, drill, "right"), picture(graph, drill, "left")
        assert right is not None and left is not None
        mirrored = left.replace(", left side", ", right side")
        assert 'transform="matrix(-1 0 0 1' in mirrored
        assert mirrored.partition("<g")[2].partition(">")[2] == right.partition("<g>")[2]


def test_a_drill_without_poses_has_no_picture(graph: Graph) -> None:
    bare = {**graph.drills, "clam": replace(graph.drills["clam"], poses=())}
    assert picture(replace(graph, drills=bare), "clam", "right") is None


def test_nothing_is_drawn_outside_its_frame(graph: Graph) -> None:
    for drill in graph.drills:
        drawn = picture(graph, drill, "right")
        assert drawn is not None
        root = ET.fromstring(drawn)
        _, _, width, height = (float(text) for text in root.get("viewBox", "").split())
        for circle in root.iter(f"{SVG}circle"):
            x, y, r = (float(circle.get(name, "")) for name in ("cx", "cy", "r"))
            assert x - r >= -1 and x + r <= width + 1, drill
            assert y - r >= -1 and y + r <= height + 1, drill


def test_a_body_that_stands_straight_is_as_high_as_its_parts(
    graph: Graph, figure: FigureRecord
) -> None:
    body = place(stance_of(Pose(posture="standing"), graph.postures["standing"]), figure)
    lengths = figure.lengths
    hip = lengths["ankle_height"] + lengths["shank"] + lengths["thigh"]
    assert body.points["pelvis"][2] == pytest.approx(hip, abs=1e-9)
    assert body.points["chest"][2] == pytest.approx(hip + lengths["trunk"], abs=1e-9)
    # a head on a neck comes out at about the height that the parts were taken from
    top = body.points["head"][2] + lengths["head"] / 2
    assert top == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("joints", "point", "frm", "way"),
    [
        ({"hip_flexion": 90}, "right_knee", "right_hip", (1, 0, 0)),
        ({"hip_abduction": 60}, "right_knee", "right_hip", (0, -math.sin(math.pi / 3), -0.5)),
        ({"knee_flexion": 90}, "right_ankle", "right_knee", (-1, 0, 0)),
        ({"shoulder_flexion": 180}, "right_elbow", "right_shoulder", (0, 0, 1)),
        ({"shoulder_abduction": 90}, "left_elbow", "left_shoulder", (0, 1, 0)),
        ({"elbow_flexion": 90}, "right_wrist", "right_elbow", (1, 0, 0)),
        ({"hip_flexion": 90, "hip_internal_rotation": 50, "knee_flexion": 90}, "right_ankle",
         "right_knee", (0, -math.sin(math.radians(50)), -math.cos(math.radians(50)))),
        ({"trunk_flexion": 60}, "chest", "waist", (math.sin(math.pi / 3), 0, 0.5)),
        ({"trunk_side": 40}, "chest", "waist", (0, math.sin(math.radians(40)),
                                                math.cos(math.radians(40)))),
    ],
)  # fmt: skip
def test_an_angle_moves_its_part_the_way_anatomy_names_it(
    graph: Graph, joints: dict[str, float], point: str, frm: str, way: tuple[float, float, float]
) -> None:
    """Flexion goes forward, a knee back; turned in, the hip swings the foot out when sitting."""
    pose = Pose(posture="standing", joints={"elbow_flexion": 0, **joints})  # type: ignore[dict-item]
    points = posed(graph, pose)
    step = [b - a for a, b in zip(points[frm], points[point], strict=True)]
    length = math.sqrt(sum(s * s for s in step))
    assert [s / length for s in step] == pytest.approx(way, abs=1e-9)


def test_what_rests_on_the_floor_touches_it(graph: Graph, figure: FigureRecord) -> None:
    checked = 0
    for drill in graph.drills.values():
        for pose in drill.poses:
            body = place(stance_of(pose, graph.postures[pose.posture]), figure)
            for contact, surface in body.stance.on.items():
                if surface == "floor":
                    assert abs(lowest(body.points, contact)) < 0.03, drill.id
                    checked += 1
    assert checked > len(graph.drills)


def test_segments_keep_their_length_in_every_pose(graph: Graph, figure: FigureRecord) -> None:
    for drill in graph.drills.values():
        for pose in drill.poses:
            points = place(stance_of(pose, graph.postures[pose.posture]), figure).points
            for side in ("left", "right"):
                thigh = math.dist(points[f"{side}_hip"], points[f"{side}_knee"])
                assert thigh == pytest.approx(figure.lengths["thigh"], abs=1e-9)
                arm = math.dist(points[f"{side}_elbow"], points[f"{side}_wrist"])
                assert arm == pytest.approx(figure.lengths["forearm"], abs=1e-9)


@pytest.mark.parametrize(("side", "sign"), [("left", 1), ("right", -1)])
def test_a_wall_beside_stands_on_the_side_that_touches_it(
    graph: Graph, figure: FigureRecord, side: str, sign: int
) -> None:
    pose = Pose(
        posture="standing",
        view="front",
        joints={"shoulder_abduction": 60},
        on={"feet": "floor", f"{side}_hand": "wall"},  # type: ignore[dict-item]
    )
    body = place(stance_of(pose, graph.postures["standing"]), figure)
    hand = body.points[f"{side}_hand"][1]
    assert sign * hand < sign * body.surfaces["wall"] < sign * hand + 0.03
    assert all(sign * y < sign * body.surfaces["wall"] for _, y, _ in body.points.values())


def test_a_wall_in_front_is_not_seen_square(graph: Graph, figure: FigureRecord) -> None:
    pose = Pose(
        posture="standing", joints={"shoulder_flexion": 90}, on={"feet": "floor", "hands": "wall"}
    )
    stances = [stance_of(replace(pose, view=view), graph.postures["standing"]) for view in VIEWS]
    upright = [
        sum(abs(m.dots[0][1]) > 1 for m in room_marks(place(stance, figure))) for stance in stances
    ]
    assert dict(zip(VIEWS, upright, strict=True)) == {"side": 1, "front": 0, "back": 0}


def test_what_stays_has_stayed_where_the_arrow_starts(graph: Graph, figure: FigureRecord) -> None:
    moved = 0
    for drill in graph.drills.values():
        bodies = [place(stance_of(p, graph.postures[p.posture]), figure) for p in drill.poses]
        for before, body in pairwise(bodies):
            shifted = before_of(body, before)
            names = anchor_of(body.stance)
            there = sum(shifted[name][0] for name in names)
            assert there == pytest.approx(sum(body.points[name][0] for name in names)), drill.id
            moved += shifted["head"][0] != pytest.approx(before.points["head"][0])
    assert moved > 5


def test_a_box_is_as_high_in_the_next_pose(graph: Graph, figure: FigureRecord) -> None:
    first, second = graph.drills["step_up_low_box"].poses
    foot_up = place(stance_of(first, graph.postures[first.posture]), figure)
    stance = stance_of(second, graph.postures[second.posture])
    stood = place(stance, figure, {**HEIGHT, **foot_up.surfaces})
    assert stood.surfaces["step_box"] == pytest.approx(foot_up.surfaces["step_box"])
    assert foot_up.surfaces["step_box"] != pytest.approx(HEIGHT["step_box"])


def test_hands_overhead_do_not_cross(graph: Graph, figure: FigureRecord) -> None:
    """A stick, a bar and most weights are held with the left hand on the left."""
    for drill in graph.drills.values():
        for pose in drill.poses:
            stance = stance_of(pose, graph.postures[pose.posture])
            points = place(stance, figure).points
            if stance.left.get("shoulder_flexion", 0) < 150 or stance.roll or stance.lean < -45:
                continue
            if stance.right.get("shoulder_flexion", 0) >= 150:
                assert points["left_hand"][1] > points["right_hand"][1], drill.id
