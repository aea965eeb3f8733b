"""The same quantity is the same text in pictures, list, table, sheets, charts and on the review page."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from pathlib import Path

import pytest

from aimgeo.methods import METHODS
from lessons.commands.plan import shot_text
from lessons.deliver.aim_charts import chart_told
from lessons.deliver.footage import Footage
from lessons.deliver.review_page import clip_told
from lessons.deliver.set_up_sheets import shot_told
from lessons.deliver.shots import table_shots
from lessons.lesson.model import loads
from lessons.lesson.wording import THIN, words_of
from lessons.planning.accuracy import accuracy, as_text
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from lessons.rendering.manifest import About, Drawn, Manifest, Step
from lessons.rendering.manifest import clip_told as manifest_clip

COURSE = Path("lessons/course/demo.yaml")
Texts = dict[tuple[str, str], dict[str, str]]
"""By quantity and shot: what each place prints."""


def found_in(pattern: str, text: str) -> str:
    """What fits the pattern in a text with plain spaces."""
    match = re.search(pattern, text.replace(THIN, " "))
    assert match, (pattern, text)
    return match[0]


def footage_of(made: Plan) -> Footage:
    """The plan's clips as their manifest tells them, without their files."""
    clips = []
    for clip in made.clips:
        drawn = Drawn((Step("all", 0, clip.frames),), ())
        clips.append(manifest_clip(clip, f"{clip.name}.mp4", "", drawn, made.language))
    about = About(made.title, made.identity, language=made.language, units=made.units, names=dict(made.names))
    return Footage(Path(), Manifest(about, {}, tuple(clips)))


def printed(made: Plan, footage: Footage) -> Texts:
    """What is printed where about cut, offsets and overlap (by cut) and distance (by its name)."""
    found: Texts = defaultdict(dict)
    words = words_of(made.language)
    sides = [words["names"][side] for side in ("left", "right", "straight")]

    def put(quantity: str, of: str | float | None, place: str, text: str) -> None:
        for side in sides:
            text = text.removesuffix(f" {side}")
        key = quantity, f"{abs(of):.3f}" if isinstance(of, float) else str(of)
        assert found[key].setdefault(place, text) == text, (key, place)

    def put_all(cut_deg: float, place: str, **texts: str) -> None:
        for quantity, text in texts.items():
            put(quantity, cut_deg, place, text.replace(THIN, " "))

    for clip, told in zip(made.clips, footage.clips, strict=True):
        if len(clip.shots) != 1 or told.hides_its_answer or clip.cut_deg is None:
            continue
        place = f"{clip.kind} {clip.method}"
        for step in clip.brief.steps:
            for measure in step.measures:
                text = f"{measure.number} {measure.unit}".strip()
                if measure.key in ("cut", "contact_offset", "aim_offset", "overlap"):
                    put(measure.key, clip.cut_deg, place, text)
                elif measure.key == "distance":
                    put("distance", clip.distance_name, place, text)
        put("cut", clip.cut_deg, "plan", found_in(r"[\d.,]+°", shot_text(clip, made.words)))
        put(
            "distance",
            clip.distance_name,
            "plan",
            found_in(r"[\d.,]+( \d+/\d+)? (mm|in)", shot_text(clip, made.words)),
        )
        numbers, names = dict(clip_told(told, footage.wording(), "lesson")["numbers"]), words["review"]["shot"]
        for key in ("cut_deg", "overlap", "contact_offset_mm", "aim_offset_mm"):
            quantity = key.removesuffix("_deg").removesuffix("_mm")
            put_all(clip.cut_deg, "review page", **{quantity: numbers[names[key]]})
        put("distance", clip.distance_name, "review page", numbers[names["distance_mm"]].replace(THIN, " "))
    for shot in table_shots(footage):
        sheet = shot_told(shot, footage.wording(shot.ball_mm), 1, 1)
        cut_deg = math.degrees(abs(float(shot.shot.cut_rad)))
        put_all(cut_deg, "set-up sheet", cut=found_in(r"[\d.,]+°", sheet["heading"]))
        if made.units == "mm":  # inches are sixteenths of a tape there
            put("distance", shot.distance_name, "set-up sheet", sheet["centres"][0].replace(THIN, " "))
        put(
            "distance",
            shot.distance_name,
            "set-up sheet, heading",
            found_in(r"[\d.,]+( \d+/\d+)? (mm|in)", sheet["under"]),
        )
    for method in METHODS:
        shots = [s for c in footage.clips if c.method == method and c.kind == "build-up" for s in c.shots]
        if not shots:
            continue
        chart = chart_told(METHODS[method], shots, footage.title, footage.wording())
        for row, cut in zip(chart["rows"], sorted({abs(s.cut_deg) for s in shots}), strict=True):
            put_all(cut, "aim chart", cut=row["cut"], contact_offset=row["contact"][0], aim_offset=row["aim"][0])
        for distance in chart["distances"]:
            put("distance", distance["name"], "aim chart", distance["shown"].replace(THIN, " "))
    for name, text in re.findall(r"distance (\S+) \((.*?)\)", as_text(accuracy(made))):
        put("distance", name, "table", text)
    return found


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_same_quantity_is_printed_alike_everywhere(units: str) -> None:
    text = re.sub(r"^units:.*\n", "", COURSE.read_text("utf-8"), flags=re.M) + f"\nunits: {units}\n"
    made = plan(loads(text), draft=True)
    found = printed(made, footage_of(made))
    assert {key: places for key, places in found.items() if len(set(places.values())) > 1} == {}
    places = {place for each in found.values() for place in each}
    assert {"plan", "review page", "set-up sheet", "aim chart", "table"} <= places
    assert any(place.startswith("build-up") for place in places)
    assert {quantity for quantity, _ in found} == {"cut", "overlap", "contact_offset", "aim_offset", "distance"}
