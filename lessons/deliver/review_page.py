"""The review page: one file beside the clips, opened from disk, to watch and judge them without an editor.

A course's page shows the clips of several lessons, which lie in folders beside it.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from lessons.deliver import Delivered, Wishes
from lessons.deliver.captions import clip_captions
from lessons.deliver.manifest import Clip, Footage
from lessons.deliver.pictures import about
from lessons.deliver.writing import write_text
from lessons.lesson.wording import words_of

TEMPLATES = Path(__file__).parent / "templates"

FILTERS = {
    "lesson": "Lesson",
    "kind": "Kind",
    "method": "Method",
    "cut": "Cut",
    "side": "Side",
    "distance": "Distance",
    "eye": "Eye",
}
"""What clips can be picked by, each with its name on the page."""

SCRIPTED = ("name", "file", "poster", "fps", "frames", "steps", "captions", "digest", "where", "shot")
"""What the page's script is told about a clip."""

NUMBERS = (
    ("cut_deg", "Cut", "{:.1f}°"),
    ("overlap", "Overlap", "{:.3f}"),
    ("line_of_centres_deg", "Line of centres to target line", "{:.1f}°"),
    ("contact_offset_mm", "Contact offset", "{:.1f} mm"),
    ("aim_offset_mm", "Aim offset", "{:.1f} mm"),
    ("distance_mm", "Between centres", "{:.0f} mm"),
    ("travel_mm", "Cue ball travels", "{:.0f} mm"),
    ("cue_ball_mm", "Cue ball at", "{:.1f}, {:.1f}"),
    ("object_ball_mm", "Object ball at", "{:.1f}, {:.1f}"),
    ("ghost_ball_mm", "Ghost ball at", "{:.1f}, {:.1f}"),
    ("target_mm", "Target at", "{:.1f}, {:.1f}"),
)
"""The numbers of a shot: key of `solve`, name, how it is written. Places are table millimetres."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>_review.html."""
    path = footage.folder / f"{footage.identity}_review.html"
    return Delivered((write_text(path, page(footage, wishes.accuracy)),))


def deliver_course(folder: Path, lessons: Sequence[tuple[Footage, Sequence[Mapping[str, Any]]]]) -> Path:
    """course_review.html in the folder that holds the lessons' folders; each lesson with its accuracy rows."""
    clips, accuracy = [], []
    for footage, rows in lessons:
        within = footage.folder.relative_to(folder).as_posix() + "/"
        clips += [clip_told(clip, within, footage.title) for clip in footage.clips]
        accuracy += [accuracy_told(row, within) for row in rows]
    name = folder.resolve().name
    made_with = lessons[0][0].made_with
    text = _page(f"{name}, {len(lessons)} lessons", f"course {name}", made_with, clips, accuracy)
    return write_text(folder / "course_review.html", text)


def page(footage: Footage, accuracy: Sequence[Mapping[str, Any]] = ()) -> str:
    """The text of a lesson's page."""
    clips = [clip_told(clip) for clip in footage.clips]
    rows = [accuracy_told(row) for row in accuracy]
    return _page(footage.title, footage.identity, footage.made_with, clips, rows)


def _page(
    title: str,
    identity: str,
    made_with: Mapping[str, Any],
    clips: list[dict[str, Any]],
    accuracy: list[dict[str, str]],
) -> str:
    """A page's text. Everything from a lesson is escaped; scripts and styles run by their digests alone."""
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
    return environment.get_template("review.html").render(
        title=title,
        made_with=", ".join(f"{name} {version}" for name, version in made_with.items()),
        policy=policy,
        style=Markup(style),
        script=Markup(script),
        clips=clips,
        accuracy=accuracy,
        filters=list(offered(clips)),
        told={"identity": identity, "clips": [{key: clip[key] for key in SCRIPTED} for clip in clips]},
    )


def clip_told(clip: Clip, within: str = "", lesson: str | None = None) -> dict[str, Any]:
    """What the page knows about a clip: where its files are, how it is picked, and its numbers as texts.

    `within` is the lesson's folder as seen from the page, with a slash at its end.
    """
    told = clip.entry
    names = words_of("en")["names"]
    hidden = clip.hides_its_answer
    cut = told.get("cut_deg")
    picks = {
        "lesson": lesson,
        "kind": clip.kind,
        "method": names.get(told.get("method") or "", told.get("method")),
        "cut": None if hidden or cut is None else f"{cut:.1f}°",
        "side": None if hidden else told.get("side"),
        "distance": told.get("distance_name"),
        "eye": told.get("eye"),
    }
    return {
        "name": within + clip.name,
        "file": quote(within + clip.file),
        "poster": quote(f"{within}pictures/{clip.name}.jpg"),
        "fps": float(clip.rate),
        "frames": clip.frames,
        "digest": clip.sha256[:16],
        "where": clip.where,
        "about": about(clip),
        "picks": {key: value for key, value in picks.items() if value is not None},
        "hides_its_answer": hidden,
        "steps": [{"name": s.name, "first": s.first_frame, "end": s.end_frame} for s in clip.steps],
        "captions": [
            {"first": c.first_frame, "end": c.end_frame, "text": " ".join(c.lines)} for c in clip_captions(clip)
        ],
        "shot": "" if hidden else shot_key(told, within),
        "numbers": list(numbers(told.get("shot") or {})),
    }


def accuracy_told(row: Mapping[str, Any], within: str = "") -> dict[str, str]:
    """A row of the accuracy table as texts: what the reading makes of the shot, or that it cannot be used."""
    names = words_of("en")["names"]

    def written(key: str, digits: int, unit: str) -> str:
        # adding 0.0 turns a rounded -0.0 into 0.0
        return "–" if row[key] is None else f"{round(row[key], digits) + 0.0:+.{digits}f}{unit}".replace("-", "−")

    return {
        "shot": shot_key({**row, "distance_name": row["distance"]}, within),
        "method": names.get(row["method"].replace("-", "_"), row["method"]),
        "reading": str(row["reading"] or "").replace("_", " "),
        "eye": str(row["eye"]),
        "aim": written("aim_error_deg", 2, "°"),
        "path": written("object_error_deg", 2, "°"),
        "miss": written("miss_mm", 1, " mm"),
        "pocketed": {True: "yes", False: "no", None: "–"}[row["pocketed"]],
    }


def shot_key(told: Mapping[str, Any], within: str = "") -> str:
    """What a clip and a row of the accuracy table share when they are about the same shot; empty for no shot."""
    if told.get("cut_deg") is None:
        return ""
    return f"{within}{told['cut_deg']:.3f} {told.get('side')} {told.get('distance_name')}"


def numbers(shot: dict[str, Any]) -> Iterable[tuple[str, str]]:
    """Names and numbers of a shot, as texts."""
    for key, name, written in NUMBERS:
        value = shot.get(key)
        if value is not None:
            text = written.format(*value) if isinstance(value, list) else written.format(value)
            yield name, f"{text} {shot['side']}" if key == "cut_deg" and shot.get("side") else text


def offered(clips: list[dict[str, Any]]) -> Iterable[tuple[str, str, list[str]]]:
    """The filters worth showing: key, name, and the values in the lesson's order, where there are at least two."""
    for key, name in FILTERS.items():
        values = dict.fromkeys(clip["picks"][key] for clip in clips if key in clip["picks"])
        ordered = sorted(values, key=lambda v: float(v.rstrip("°"))) if key == "cut" else list(values)
        if len(ordered) > 1:
            yield key, name, ordered


def digest(text: str) -> str:
    """The source expression of an inline style or script for a content security policy."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
