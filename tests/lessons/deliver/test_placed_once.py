"""A shot is placed once: plan, clips, manifest, table, sheets, charts and review page tell the same of it."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from aimgeo.asking.solve import answer
from aimgeo.construct import Quantity
from aimgeo.methods import METHODS
from lessons.deliver import review_page
from lessons.deliver.aim_charts import chart_told
from lessons.deliver.footage import Footage
from lessons.deliver.set_up_sheets import shot_told
from lessons.deliver.shots import table_shots
from lessons.lesson.model import loads
from lessons.planning.accuracy import Accuracy, accuracy
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from lessons.rendering import manifest

LESSON = """
title: Each in its place
cuts: [15, 1/2, 45]
distances: {near: 300 mm, far: 1500 mm}
eyes:
  over: {back: 600 mm, height: 300 mm}
  left: {back: 700 mm, height: 350 mm, offset: 32 mm}
  edge: {back: 600 mm, height: 300 mm, alignment: cue-edge-right}
clips:
  - {kind: build-up, methods: ghost-ball, cuts: [15, 1/2], exclude: [{sides: right, distances: far}]}
  - {kind: table, name: side, pocket: side-left, cuts: [15], distances: near}
  - {kind: table, name: given, spot: [700 mm, 200 mm], distances: near, overrides: [{cuts: 15, pocket: side-left}]}
  - {kind: players-eye, methods: ghost-ball, cuts: [45], distances: near, eyes: left}
  - {kind: two-cuts, methods: ghost-ball, cuts: [15, 45], distances: near, sides: left, eyes: over}
  - {kind: quiz, cuts: [1/2], distances: near, eyes: over}
  - {kind: title}
"""
PLACES = ("cue_ball_mm", "object_ball_mm", "target_mm")


@pytest.fixture(scope="module")
def made() -> Plan:
    return plan(loads(LESSON), draft=True)


@pytest.fixture(scope="module")
def table(made: Plan) -> Accuracy:
    return accuracy(made)


@pytest.fixture(scope="module")
def footage(made: Plan, tmp_path_factory: pytest.TempPathFactory, stock: SimpleNamespace) -> Footage:
    """The lesson's manifest beside tiny clips."""
    entries = []
    for clip in made.clips:
        short = stock.entry(clip.name, 2, (25, 1), [("s", 2, "")])
        told = json.loads(manifest.as_json(manifest.clip_told(clip, short["file"], "", manifest.Drawn((), ()))))
        entries.append(told | {key: short[key] for key in ("width_px", "height_px", "rate", "frames", "steps")})
    found: Footage = stock.write_folder(tmp_path_factory.mktemp("placed"), entries)
    return found


def test_the_lesson_lies_in_several_places_and_a_shot_of_several_clips_in_one(made: Plan) -> None:
    lie = {(shot.pocket, *shot.shot.object_ball_mm[:2].tolist()) for shot in made.shots}
    # into the side pocket from a spot of its own and from the given one, into the foot pocket likewise
    assert len(lie) == 4
    assert {place[0] for place in lie} == {"foot-left", "side-left"}
    by_name = {clip.name: clip for clip in made.clips}
    one = by_name["ghost-ball_players-eye_cut-45_left_near_left"]
    two = by_name["ghost-ball_two-cuts_left_near_over"]
    assert one.shots[0] is two.shots[1]
    for clip in made.clips:
        assert [s.shot for s in clip.shots][:1] == [s for s in [clip.brief.subject.shot] if s is not None]


def test_the_manifest_tells_the_plans_shots(made: Plan, footage: Footage) -> None:
    for clip, told in zip(made.clips, footage.clips, strict=True):
        assert [shot.identity for shot in told.shots] == [shot.identity for shot in clip.shots]
        for shot, said in zip(clip.shots, told.shots, strict=True):
            for place in PLACES:
                assert said.shot[place] == pytest.approx(getattr(shot.shot, place).tolist(), abs=1e-9)
            assert (said.cut_deg, said.side, said.distance_name) == (shot.cut_deg, shot.side, shot.distance_name)
            assert said.shot["cut_deg"] == pytest.approx(said.cut_deg, abs=1e-9)
            assert said.shot["side"] == said.side
        assert told.shot == (told.shots[0].shot if told.shots else None)


def test_the_accuracy_table_holds_the_readings_of_every_clips_own_shot_and_eye(
    made: Plan, table: Accuracy, footage: Footage
) -> None:
    """Asked again of `solve` from the positions that the manifest tells, one shot at a time."""
    eyes = {
        "over": {"back_mm": 600, "height_mm": 300, "offset_mm": 0},
        "left": {"back_mm": 700, "height_mm": 350, "offset_mm": 32},
        "edge": {"back_mm": 600, "height_mm": 300, "offset_mm": -28.575},
    }
    rows = {(row["shot"], row["eye"], row["method"], row["reading"]): row for row in table.rows}
    assert len(rows) == len(table.rows)
    seen = set()
    for told in (shot for clip in footage.clips for shot in clip.shots):
        for eye, asked in eyes.items():
            places = {key: told.shot[key][:2] for key in ("cue_ball_mm", "object_ball_mm")}
            (got,) = answer([{**places, "target_mm": told.target_name, "eye": asked}])
            for method, part in got["methods"].items():
                for reading, found in part["readings"].items():
                    row = rows[told.identity, eye, method, reading]
                    seen.add((told.identity, eye, method, reading))
                    for key in ("aim_error_deg", "miss_mm"):
                        assert row[key] == (found[key] and pytest.approx(found[key], abs=1e-6))
                    assert row["pocketed"] == found["pocketed"]
    assert seen == rows.keys()


def test_sheets_charts_and_review_page_show_the_same(made: Plan, table: Accuracy, footage: Footage) -> None:
    clips, words = {clip.name: clip for clip in made.clips}, footage.wording()
    sheets = table_shots(footage)
    open_shots = {shot.identity for clip in made.clips for shot in clip.shots if clip.kind != "quiz"}
    assert len(sheets) == len(open_shots)
    for number, sheet in enumerate(sheets, 1):
        told = shot_told(sheet, words, number, len(sheets))
        for name in told["clips"]:
            shown = {tuple(shot.shot.object_ball_mm.round(6)): shot for shot in clips[name].shots}
            assert tuple(round(v, 6) for v in told["object"]) in shown
        assert any(told["cue"] == pytest.approx(shot.shot.cue_ball_mm.tolist(), abs=1e-6) for shot in made.shots)
    rows = [review_page.accuracy_told(row, words) for row in table.rows]
    for clip in footage.clips:
        told = review_page.clip_told(clip, words, "lesson")
        mine = [row for row in rows if row["shot"] == told["shot"]]
        if clip.kind in ("quiz", "title", "two-cuts"):  # a secret, no shot, more than one
            assert mine == []
        else:
            assert len(mine) == len(table.rows) / len(made.shots)
            (shot,) = clips[clip.name].shots
            x, y, _ = shot.shot.object_ball_mm
            at = "; ".join(words.shown(Quantity(v, "length_mm")) for v in (x, y))
            assert dict(told["numbers"])["Object ball at"] == at
    shots = [shot for clip in footage.clips if clip.method for shot in clip.shots]
    chart = chart_told(METHODS["ghost_ball"], shots, footage.title, footage.wording())
    assert [row["cut"] for row in chart["rows"]] == ["15.0°", "30.0°", "45.0°"]
    assert [distance["name"] for distance in chart["distances"]] == ["near", "far"]


def test_a_manifest_of_the_first_revision_is_brought_up_to_date(
    tmp_path: Path, footage: Footage, made: Plan, stock: SimpleNamespace
) -> None:
    """It told of a clip's first shot alone."""
    told = json.loads((footage.folder / "manifest.json").read_text())
    for clip in told["clips"]:
        del clip["shots"], clip["language"]
    (tmp_path / "manifest.json").write_text(json.dumps(told | {"lesson": told["lesson"] | {"language": "de"}}))
    old = manifest.read_manifest(tmp_path)
    assert {clip.language for clip in old.clips} == {"de"}
    for clip, before in zip(old.clips, footage.clips, strict=True):
        assert [s.shot for s in clip.shots] == [s.shot for s in before.shots[:1]]
    firsts = {clip.shots[0].identity for clip in footage.clips if clip.shots}
    assert len({clip.shots[0].identity for clip in old.clips if clip.shots}) == len(firsts)
