"""From a filmed clip to what the editor gets: matched, rendered, decoded against the truth, delivered."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import av
import cv2
import numpy as np
import opentimelineio as otio
import pypdf
import pytest
from click.testing import CliRunner

from lessons.cli import main
from lessons.deliver import Wishes, over_footage
from lessons.deliver.footage import Measured, measure, read_footage
from lessons.rendering.audit import audit_clip, audit_picture, pictures, straightened
from lessons.rendering.manifest import Lens, read_manifest
from tests.lessons.footage.clicks import MATCHED, Still, still
from tests.lessons.footage.clips import film, rolled

FRAMES, LEAVES, RATE, CODE = 110, 100, Fraction(24), "01:02:03:04"


def run(*arguments: str | Path) -> str:
    """What a command prints; it must end well."""
    done = CliRunner().invoke(main, [str(part) for part in arguments])
    assert done.exit_code == 0, done.output
    return done.output


@dataclass(frozen=True)
class Made:
    """A delivered folder, and the truth of what was filmed."""

    folder: Path
    truth: Still
    said: str


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A still of half the size, filmed for five seconds; near the end the cue ball leaves."""
    folder = tmp_path_factory.mktemp("film")
    shot = half(still("phone-26"))
    picture = cv2.resize(cv2.imread(str(shot.picture)), shot.size_px, interpolation=cv2.INTER_AREA)
    x, y = shot.balls_px(0.0)[0]
    film(
        folder / "shot-3.mp4", picture, FRAMES,
        lambda p, k: rolled(p, (x, y), 9, (6 * (k - LEAVES), 0)) if k > LEAVES else p, RATE, CODE,
    )  # fmt: skip
    path = shot.match_file(folder, shot.picks(6, 0.5))
    planned = {
        "cut": 11,
        "side": "right",
        "distance": "575 mm",
        "object": [f"{shot.truth['balls_mm'][1][0] + 30} mm", f"{shot.truth['balls_mm'][1][1]} mm"],
    }
    told = json.loads(path.read_text()) | {"footage": "shot-3.mp4", "plan": planned}
    path = folder / "shot-3.yaml"
    path.write_text(json.dumps(told, indent=1))
    said = run("match", path, "--no-picture")
    lesson = folder / "real.yaml"
    clip = "{kind: on-footage, footage: shot-3.yaml, methods: ghost-ball}"
    lesson.write_text(f"title: On the real table\nclips: [{clip}]\n")
    run("render", lesson, "--out", folder / "out")
    run("deliver", lesson, "--out", folder / "out")
    return Made(folder / "out", shot, said)


def half(shot: Still) -> Still:
    """The truth of the same still at half its size."""
    camera = dict(shot.truth["camera"])
    camera["focal_px"] = camera["focal_px"] / 2
    camera["principal_px"] = [v / 2 for v in camera["principal_px"]]
    points = {name: [v / 2 for v in at] for name, at in shot.truth["points_px"].items()}
    size = [v // 2 for v in shot.truth["size_px"]]
    return Still(shot.name, shot.truth | {"camera": camera, "points_px": points, "size_px": size})


def test_size_rate_length_and_timecode_are_those_of_the_footage(made: Made) -> None:
    (clip,) = read_manifest(made.folder).clips
    path = made.folder / clip.file
    assert (
        measure(path) == Measured(FRAMES, RATE, *made.truth.size_px) == measure(made.folder.parent / "shot-3.mp4")
    )
    with av.open(str(path)) as container:
        assert container.streams.video[0].metadata["timecode"] == CODE == clip.timecode


def test_decoded_lines_and_rims_stand_within_a_pixel_of_the_truth(made: Made) -> None:
    (clip,) = read_manifest(made.folder).clips
    own = audit_clip(made.folder / clip.file, clip)
    assert own.is_exact
    # at this size the aim line runs too near to the edge lines to be measured
    assert "target_line" in {f.role for f in own.findings if f.what == "line"}
    camera = made.truth.truth["camera"]
    axes = np.array([camera[key] for key in ("right", "down", "forward")])
    x, y = camera["principal_px"]
    K = np.array([[camera["focal_px"], 0, x], [0, camera["focal_px"], y], [0, 0, 1]])
    P = K @ np.concatenate([axes, -axes @ np.array(camera["eye_mm"])[:, None]], 1)
    lens = Lens(camera["focal_px"], (x, y), camera["k1"], camera["k2"])
    rest = clip.still[-2] if not clip.still[-1].panes else clip.still[-1]
    at = (rest.first_frame + rest.end_frame) // 2
    ((_, grey),) = pictures(made.folder / clip.file, [at], clip.rate)
    rows: list[Any] = [tuple(row) for row in P.tolist()]
    panes = [replace(pane, projection=(rows[0], rows[1], rows[2]), lens=lens) for pane in rest.panes]
    found, _ = audit_picture(straightened(grey, lens), panes)
    assert max(f.error_px for f in found if f.what == "line") < 1.0


def test_when_the_balls_have_left_nothing_is_drawn(made: Made) -> None:
    (clip,) = read_manifest(made.folder).clips
    with av.open(str(made.folder / clip.file)) as container:
        alpha = [f.reformat(format="rgba").to_ndarray()[..., 3].max() for f in container.decode(video=0)]
    assert alpha[LEAVES - 2] > 200
    assert alpha[-1] < 8


def test_the_footage_lies_under_the_clip_in_every_timeline(made: Made) -> None:
    timeline = otio.adapters.read_from_file(str(made.folder / "real.otio"))
    ground, above = timeline.video_tracks()
    (below,), (over,) = ground.find_clips(), above.find_clips()
    assert below.media_reference.target_url == "../shot-3.mp4"
    start = otio.opentime.from_timecode(CODE, 24)
    assert below.source_range.start_time == start
    assert below.trimmed_range_in_parent() == over.trimmed_range_in_parent()
    sequence = ET.parse(made.folder / "real.xml").getroot()
    names = [[item.findtext("name") for item in track.iter("clipitem")] for track in sequence.iter("track")]
    assert names == [["shot-3.mp4"], [f"{read_manifest(made.folder).clips[0].name}.mov"]]
    newer = ET.parse(made.folder / "real.fcpxml").getroot()
    (laid,) = newer.iter("spine")
    outer = laid.find("asset-clip")
    assert outer is not None
    inner = outer.find("asset-clip")
    assert inner is not None
    assert (outer.get("name"), inner.get("lane")) == ("shot-3.mp4", "1")
    assert inner.get("offset") == outer.get("start")
    assert f"* FOOTAGE UNDER IT: shot-3.mp4 {CODE}" in (made.folder / "real.edl").read_text()


def test_a_preview_shows_the_footage_with_its_lines(made: Made) -> None:
    (clip,) = read_manifest(made.folder).clips
    preview = made.folder / "over-footage" / f"{clip.name}.mp4"
    assert measure(preview) == Measured(FRAMES, RATE, *made.truth.size_px)
    page = (made.folder / "real_review.html").read_text()
    assert f"over-footage/{clip.name}.mp4" in page
    both = []
    for path in (preview, made.folder.parent / "shot-3.mp4"):
        with av.open(str(path)) as container:
            both.append([f.to_ndarray(format="gray").astype(float) for f in container.decode(video=0)])
    last = [np.abs(a - b).mean() for a, b in zip(*both, strict=True)]
    assert last[-1] < 3.0  # the balls have left: the footage alone
    assert last[LEAVES - 2] > last[-1] + 0.5


def test_the_set_up_sheets_tell_how_the_balls_really_lay(made: Made) -> None:
    text = pypdf.PdfReader(made.folder / "sheets" / "set-up_a4.pdf").pages[0].extract_text().replace("\u202f", " ")
    assert "As set up: shot-3.mp4" in text
    # within a few mm: the ball is nine pixels wide here
    assert re.search(r"(2[5-9]|3[0-5]) mm towards the foot rail", " ".join(text.split()))
    # nothing is measured to a tenth of a millimetre
    assert re.findall(r"\d mm from the nose", text)
    assert not re.findall(r"\d\.\d+ mm (from the nose|between|±)", text)
    assert re.search(r"push it (2[5-9]|3[0-5]) mm towards the foot", made.said)


def test_the_preview_of_footage_that_is_gone_is_said(made: Made, tmp_path: Path) -> None:
    from lessons.deliver import Wishes
    from lessons.deliver.footage import Footage
    from lessons.deliver.over_footage import deliver

    manifest = read_manifest(made.folder)
    done = deliver(Footage(tmp_path, manifest), Wishes())
    assert done.files == ()
    assert "there is no footage 'shot-3.mp4'" in done.warnings[0]


def test_a_photograph_is_held_below_its_clip_in_every_timeline(tmp_path: Path) -> None:
    for path in (MATCHED, MATCHED.with_name("shot.match.json"), still("behind-35").picture):
        (tmp_path / path.name).symlink_to(path)
    lesson = tmp_path / "photo.yaml"
    clip = "{kind: on-footage, footage: shot.yaml, methods: ghost-ball}"
    lesson.write_text(f"title: A photograph\nclips: [{clip}]\n")
    run("render", lesson, "--out", tmp_path / "out", "--draft")
    run("deliver", lesson, "--out", tmp_path / "out")
    (clip_made,) = read_manifest(tmp_path / "out").clips
    held = f"over-footage/{clip_made.name}_still.mp4"
    path = tmp_path / "out" / held
    size = clip_made.width_px, clip_made.height_px
    assert measure(path) == Measured(clip_made.frames, clip_made.rate, *size)
    photo = cv2.resize(cv2.imread(str(still("behind-35").picture)), size, interpolation=cv2.INTER_AREA)
    with av.open(str(path)) as container:
        shown = [f.to_ndarray(format="bgr24").astype(float) for f in container.decode(video=0)]
        assert container.streams.video[0].metadata.get("timecode", clip_made.timecode) == clip_made.timecode
    assert max(np.abs(one - photo).mean() for one in (shown[0], shown[-1])) < 4.0
    ground, above = otio.adapters.read_from_file(str(tmp_path / "out" / "photo.otio")).video_tracks()
    (below,), (over,) = ground.find_clips(), above.find_clips()
    assert below.media_reference.target_url == held
    assert below.trimmed_range_in_parent() == over.trimmed_range_in_parent()
    assert held in (tmp_path / "out" / "photo.fcpxml").read_text()
    assert held in (tmp_path / "out" / "photo.xml").read_text()
    assert f"* FOOTAGE UNDER IT: {Path(held).name}" in (tmp_path / "out" / "photo.edl").read_text()


def test_tall_and_odd_footage_with_a_ball_before_the_aim_line(tmp_path: Path) -> None:
    """A window of a still, higher than wide, its sides odd; another ball is said to lie before the aim line."""
    by, size = 0.6, (381, 539)
    told = json.loads(MATCHED.with_name("shot.match.json").read_text())
    camera, balls = told["camera"], told["balls"]
    eye = np.array(camera["eye_mm"])
    cue, ghost = (np.array(told["shot"][f"{ball}_ball_mm"]) for ball in ("cue", "ghost"))
    middle = (cue + ghost) / 2
    left = round(by * project_told(camera, middle)[0]) - size[0] // 2
    picture = cv2.resize(
        cv2.imread(str(still("behind-35").picture)), None, fx=by, fy=by, interpolation=cv2.INTER_AREA
    )
    film(tmp_path / "tall.mkv", picture[: size[1], left : left + size[0]], 30, rate=Fraction(25))
    before = middle + 50 * np.append((eye - middle)[:2] / np.hypot(*(eye - middle)[:2]), 0.0)
    camera["focal_px"] *= by
    camera["principal_px"] = [by * camera["principal_px"][0] - left, by * camera["principal_px"][1]]
    balls["others"] = [{"centre_mm": before.tolist(), "error_mm": [1.0, 1.0], "seen": 1.0}]
    path = tmp_path / "shot.yaml"
    path.write_bytes(MATCHED.read_bytes())
    more = {"footage": "tall.mkv", "size_px": size, "rate": [25, 1], "frames": 30}
    path.with_name("shot.match.json").write_text(json.dumps(told | more))
    lesson = tmp_path / "tall.yaml"
    clip = "{kind: on-footage, footage: shot.yaml, methods: ghost-ball, only: [target line, aim line]}"
    lesson.write_text(f"title: Tall\noutput: {{rate: 25, form: png-alpha}}\nclips: [{clip}]\n")
    run("render", lesson, "--out", tmp_path / "out")
    (made_clip,) = read_manifest(tmp_path / "out").clips
    assert measure(tmp_path / "out" / made_clip.file) == Measured(30, Fraction(25), *size)
    with av.open(str(tmp_path / "out" / made_clip.file)) as container:
        *_, last = container.decode(video=0)
    alpha = last.reformat(format="rgba").to_ndarray()[..., 3].astype(float) / 255
    ys, xs = np.mgrid[0 : size[1], 0 : size[0]] + 0.5

    def around(place: np.ndarray, radius_px: float) -> np.ndarray:
        x, y = project_told(camera, place)
        return np.asarray(np.hypot(xs - x, ys - y) < radius_px)

    radius = 28.575 * camera["focal_px"] / np.linalg.norm(before - eye)
    # decoded, the lines stand where the camera that took the still sees them, not only where the matched one does
    shot = still("behind-35")
    C, O = (np.array([*at, 28.575]) for at in shot.truth["balls_mm"])
    to = shot.truth["table"]
    in_mm = to["corner_mouth_mm"] / np.sqrt(2) / 2
    target = np.array([to["length_mm"] / 2 - in_mm, -(to["width_mm"] / 2 - in_mm), 28.575])
    assert told["target"] == "foot-right"
    u = (target - O) / np.linalg.norm(target - O)
    for start, end, first, last in ((O, target, 0.2, 0.7), (C, O - 57.15 * u, 0.55, 0.9)):
        line = start + np.linspace(first, last, 40)[:, None] * (end - start)
        off = across(alpha, by * shot.project(line) - [left, 0])
        assert len(off) > 10
        assert np.abs(off).max() < 1.0
    # beside the ball the line's casing and core; on it, where the line lies behind, a few dots
    assert alpha[around((2 * cue + ghost) / 3, 1.0)].max() > 0.95
    assert alpha[around(before, 0.8 * radius)].mean() < 0.25
    over = {
        preview.name: preview for preview in (over_footage.deliver(read_footage(tmp_path / "out"), Wishes())).files
    }
    assert measure(over[f"{made_clip.name}.mp4"]) == Measured(30, Fraction(25), size[0] + 1, size[1] + 1)


def across(alpha: np.ndarray, line_px: np.ndarray, reach_px: float = 5.0) -> np.ndarray:
    """How far the middle of what is drawn lies from a line's places (n, 2), square to it; without those where
    nothing is drawn, or something beside the line too.
    """
    along = np.gradient(line_px, axis=0)
    normals = np.stack([-along[:, 1], along[:, 0]], -1) / np.linalg.norm(along, axis=-1, keepdims=True)
    steps = np.arange(-reach_px, reach_px + 0.1, 0.25)
    at = (line_px[:, None] + steps[:, None] * normals[:, None] - 0.5).astype(np.float32)
    seen = cv2.remap(alpha.astype(np.float32), at, None, cv2.INTER_LINEAR)
    weight = seen.sum(1)
    alone = (weight > 4) & (np.maximum(seen[:, 0], seen[:, -1]) < 0.05)
    return np.asarray((seen @ steps)[alone] / weight[alone])


def project_told(camera: dict[str, Any], place_mm: np.ndarray) -> np.ndarray:
    """Pixels (2,) by a written camera, as the page that fixes its form says."""
    w = place_mm - np.array(camera["eye_mm"])
    X, Y, Z = (w @ np.array(camera[k]) for k in ("right", "down", "forward"))
    x, y = X / Z, Y / Z
    rr = x * x + y * y
    bent = 1 + camera["lens"]["k1"] * rr + camera["lens"]["k2"] * rr**2
    return np.array(camera["principal_px"]) + camera["focal_px"] * np.array([x, y]) * bent
