"""The review page: one file beside the clips, opened from disk, to watch and judge them without an editor.

A course's page shows the clips of several lessons, which lie in folders beside it.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from math import radians
from pathlib import Path
from typing import Any
from urllib.parse import quote

from aimgeo.construct import Quantity, QuantityKind
from lessons.deliver import Delivered, Wishes
from lessons.deliver.captions import clip_captions
from lessons.deliver.footage import Footage
from lessons.deliver.over_footage import preview_of
from lessons.deliver.pictures import about
from lessons.deliver.writing import write_text
from lessons.lesson.wording import Wording, plural_rule
from lessons.rendering.manifest import Clip
from lessons.rendering.verdicts import version_of

TEMPLATES = Path(__file__).parent / "templates"

FILTERS = ("lesson", "kind", "method", "cut", "side", "distance", "eye")
"""What clips can be picked by; each is a word of the page."""

SCRIPTED = (
    "name", "file", "poster", "width", "height", "fps", "frames", "steps", "captions", "digest", "key", "where",
    "shot",
)  # fmt: skip
"""What the page's script is told about a clip."""

TOLD = (
    "fine", "redo", "again", "differ", "earlier", "captions", "play", "pause", "clips", "clips_of", "tally",
    "clock", "cannot_play",
)  # fmt: skip
"""The words that the page's script needs."""

SPEEDS = (0.1, 0.25, 0.5, 1, 1.5, 2)
"""How quickly a clip can be played, against its own pace."""

NUMBERS: dict[str, QuantityKind] = {
    "cut_deg": "angle_rad",
    "overlap": "overlap",
    "line_of_centres_deg": "angle_rad",
    "contact_offset_mm": "half_mm",
    "aim_offset_mm": "length_mm",
    "distance_mm": "distance_mm",
    "travel_mm": "distance_mm",
    "cue_ball_mm": "length_mm",
    "object_ball_mm": "length_mm",
    "ghost_ball_mm": "length_mm",
    "target_mm": "length_mm",
}
"""The numbers of a shot: key of `solve`, and the kind of quantity. Places are x and y on the table."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>_review.html."""
    path = footage.folder / f"{footage.identity}_review.html"
    return Delivered((write_text(path, page(footage, wishes.accuracy)),))


def deliver_course(folder: Path, lessons: Sequence[tuple[Footage, Sequence[Mapping[str, Any]]]]) -> Path:
    """course_review.html in the folder that holds the lessons' folders; each lesson with its accuracy rows."""
    clips, accuracy = [], []
    for footage, rows in lessons:
        within = footage.folder.relative_to(folder).as_posix() + "/"
        words = footage.wording()
        clips += [clip_told(clip, words, footage.identity, within, footage.title) for clip in footage.clips]
        accuracy += [accuracy_told(row, words, within) for row in rows]
    name = folder.resolve().name
    first = lessons[0][0]
    title = first.wording().counted("review", "course", count=len(lessons), name=name)
    text = _page(title, f"course {name}", first, clips, accuracy)
    return write_text(folder / "course_review.html", text)


def page(footage: Footage, accuracy: Sequence[Mapping[str, Any]] = ()) -> str:
    """The text of a lesson's page."""
    words = footage.wording()
    clips = [clip_told(clip, words, footage.identity) for clip in footage.clips]
    rows = [accuracy_told(row, words) for row in accuracy]
    return _page(footage.title, footage.identity, footage, clips, rows)


def _page(
    title: str,
    identity: str,
    footage: Footage,
    clips: list[dict[str, Any]],
    accuracy: list[dict[str, str]],
) -> str:
    """A page's text, in the words of this footage.

    Everything from a lesson is escaped; scripts and styles run by their digests alone.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    style, script = ((TEMPLATES / f"review.{kind}").read_text("utf-8") for kind in ("css", "js"))
    environment = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined)
    policy = "; ".join(
        [
            "default-src 'none'",
            "img-src 'self' file:",
            "media-src 'self' file:",
            f"style-src '{digest(style)}'",
            f"script-src '{digest(script)}'",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )
    wording = footage.wording()
    words = wording.words["review"]
    rule = plural_rule(wording.words["language"]["plural"])
    made_with = ", ".join(f"{name} {version}" for name, version in footage.made_with.items())
    return environment.get_template("review.html").render(
        title=title,
        language=footage.language,
        document=wording.text("review", "document", title=title),
        kept=wording.text("review", "kept", made_with=made_with),
        words=words,
        policy=policy,
        style=Markup(style),
        script=Markup(script),
        clips=clips,
        accuracy=accuracy,
        speeds=[(speed, f"{speed:g}×".replace(".", wording.words["decimal"])) for speed in SPEEDS],
        filters=[(key, words[key], values) for key, values in offered(clips)],
        told={
            "identity": identity,
            "clips": [{key: clip[key] for key in SCRIPTED} for clip in clips],
            "words": {key: words[key] for key in TOLD} | {"decimal": wording.words["decimal"]},
            # the form of the word for each count of clips that can come up
            "plural": [rule(count) for count in range(len(clips) + 1)],
        },
    )


def clip_told(
    clip: Clip, words: Wording, identity: str, within: str = "", lesson: str | None = None
) -> dict[str, Any]:
    """What the page knows about a clip: where its files are, how it is picked, and its numbers as texts.

    `within` is the lesson's folder as seen from the page, with a slash at its end.
    """
    names = words.words["names"]
    hidden = clip.hides_its_answer
    cut = clip.cut_deg
    picks = {
        "lesson": lesson,
        "kind": clip.kind,
        "method": names.get(clip.method or "", clip.method),
        "cut": None if hidden or cut is None else f"{words.decimal(cut, 1)}°",
        "side": None if hidden else names.get(clip.side),
        "distance": clip.distance_name and words.called("distance", clip.distance_name),
        "eye": clip.eye and words.called("eye", clip.eye),
    }
    return {
        "name": within + clip.name,
        "cut_deg": cut,
        # browsers play no ProRes with alpha, and lines without the table say little
        "file": quote(within + (clip.file if clip.filmed is None else preview_of(clip))),
        "poster": quote(f"{within}pictures/{clip.name}.jpg"),
        "small": quote(f"{within}pictures/small/{clip.name}.jpg"),
        "key": f"{identity}/{clip.name}",
        "width": clip.width_px,
        "height": clip.height_px,
        "fps": float(clip.rate),
        "frames": clip.frames,
        "digest": version_of(clip),
        "where": clip.where,
        "about": about(clip, words),
        "picks": {key: value for key, value in picks.items() if value is not None},
        "hides_its_answer": hidden,
        "steps": [{"name": s.name, "first": s.first_frame, "end": s.end_frame} for s in clip.steps],
        "captions": [
            {"first": c.first_frame, "end": c.end_frame, "text": " ".join(c.lines)} for c in clip_captions(clip)
        ],
        "shot": within + clip.shots[0].identity if len(clip.shots) == 1 and not hidden else "",
        "numbers": list(numbers(clip.shot or (clip.filmed.set_up.shot if clip.filmed else {}), words)),
    }


def accuracy_told(row: Mapping[str, Any], words: Wording, within: str = "") -> dict[str, str]:
    """A row of the accuracy table as texts: what the reading makes of the shot, or that it cannot be used."""
    names, told = words.words["names"], words.words["review"]

    def written(key: str, write: Callable[[float], str]) -> str:
        return "–" if row[key] is None else write(row[key]).replace("-", "−")

    def degrees_of(value: float) -> str:
        return f"{words.decimal(value, 2, signed=True)}°"

    def length_of(value: float) -> str:
        return f"{words.signed(value)} {words.words['units']['in' if words.units == 'in' else 'mm']}"

    return {
        "shot": within + row["shot"],
        "method": names.get(row["method"].replace("-", "_"), row["method"]),
        "reading": names.get(f"reading.{row['reading']}", ""),
        "eye": words.called("eye", str(row["eye"])),
        "aim": written("aim_error_deg", degrees_of),
        "path": written("object_error_deg", degrees_of),
        "miss": written("miss_mm", length_of),
        "pocketed": {True: told["yes"], False: told["no"], None: "–"}[row["pocketed"]],
    }


def numbers(shot: dict[str, Any], words: Wording) -> Iterable[tuple[str, str]]:
    """Names and numbers of a shot, as texts."""
    for key, name in words.words["review"]["shot"].items():
        value, kind = shot.get(key), NUMBERS[key]
        if isinstance(value, list):
            yield name, "; ".join(words.shown(_quantity(v, kind)) for v in value[:2])
        elif value is not None:
            side = words.words["names"].get(shot.get("side"), "") if key == "cut_deg" else ""
            yield name, f"{words.shown(_quantity(value, kind))} {side}".strip()


def _quantity(value: float, kind: QuantityKind) -> Quantity:
    return Quantity(radians(value) if kind == "angle_rad" else value, kind)


def offered(clips: list[dict[str, Any]]) -> Iterable[tuple[str, list[str]]]:
    """The filters worth showing: key, and the values in the lesson's order, where there are at least two."""
    for key in FILTERS:
        values = dict.fromkeys(clip["picks"][key] for clip in clips if key in clip["picks"])
        by_size = {clip["picks"].get("cut"): clip["cut_deg"] for clip in clips}
        ordered = sorted(values, key=by_size.__getitem__) if key == "cut" else list(values)
        if len(ordered) > 1:
            yield key, ordered


def digest(text: str) -> str:
    """The source expression of an inline style or script for a content security policy."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
