"""What makes a clip's pixels, as digests by name: an unchanged clip is known, a changed one explained.

A clip's key covers everything that can change its pixels: the resolved brief without its name and its spoken
words, the code that draws, the libraries, the font, the OpenGL renderer where one draws, and the encoder's
settings. The folder's record keeps, for every finished clip, these parts by name.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from lessons.planning.planned import PlannedClip
from scenes.board.brief import Brief
from scenes.board.clauses import speaks_of
from scenes.kinds import CLIP_KINDS
from scenes.look.fonts import FontFile
from scenes.look.look import Look

LIBRARIES = ("manim", "numpy", "av", "pycairo", "moderngl", "uharfbuzz")

ROOMS_THAT_DRAW = ("aimgeo", "scenes")
DRAWS_NOTHING = ("aimgeo/asking",)
"""The question service lies over the geometry, and nothing that draws asks it."""


def digest(value: Any) -> str:
    """A short digest of plain values, dataclasses and arrays; mappings whatever their order.

    >>> digest({"a": 1, "b": (2.5, None)}) == digest({"b": (2.5, None), "a": 1})
    True
    """
    # orjson writes the shortest digits that read back as the same number: nothing is lost
    plain = orjson.dumps(value, default=_plain, option=orjson.OPT_SORT_KEYS | orjson.OPT_SERIALIZE_NUMPY)
    return hashlib.sha256(plain).hexdigest()[:16]


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, set | frozenset):
        return sorted(value)
    raise TypeError(f"a brief holds a {type(value).__name__}, which has no digest")


@cache
def drawing_code() -> str:
    """Digest of every file that has a hand in drawing."""
    return code_digest(Path(__file__).resolve().parents[2])


def code_digest(root: Path) -> str:
    """Digest of the files below a folder that have a hand in drawing."""
    found = hashlib.sha256()
    for room in ROOMS_THAT_DRAW:
        for path in sorted((root / room).rglob("*")):
            name = path.relative_to(root).as_posix()
            if path.suffix in (".py", ".glsl") and not name.startswith(tuple(f"{one}/" for one in DRAWS_NOTHING)):
                found.update(name.encode() + b"\0" + path.read_bytes())
    return found.hexdigest()[:16]


@cache
def libraries() -> dict[str, str]:
    """Version of everything that has a hand in the pixels, by name; Cairo and FFmpeg as they are linked."""
    import cairo

    found = {name: metadata.version(name) for name in LIBRARIES}
    found["cairo"] = cairo.cairo_version_string()
    return found


@cache
def font() -> str:
    """Digest of the built-in font's file."""
    from scenes.look.fonts import font_file

    return hashlib.sha256(font_file().read_bytes()).hexdigest()[:16]


def fonts(look: Look) -> str:
    """Digests of the fonts that a look sets its words with, and its balls' numbers."""
    own = {style.face.file.sha256[:16] for style in look.types.values() if style.face.file is not None}
    return " ".join([font(), *sorted(own)])


@dataclass(frozen=True, slots=True)
class Key:
    """What a clip's pixels depend on: digests by part, and the facts that a reason can tell in numbers."""

    parts: Mapping[str, str]
    facts: Mapping[str, Any]

    @property
    def digest(self) -> str:
        """All parts in one."""
        return digest(self.parts)


def clip_key(clip: PlannedClip, form: str, encoder: str) -> Key:
    """The key of a planned clip written in a form whose encoder settings have the given digest."""
    brief = clip.brief
    parts = {
        "shot": digest((brief.subject.shot, brief.subject.companions)),
        "subject": digest(_without_shots(brief)),
        "words": digest(
            (brief.labels, brief.rows, [(s.name, s.title, s.measures) for s in brief.steps], brief.lower_third)
        ),
        "timing": digest(_timing(brief)),
        "output": digest(brief.output),
        "theme": digest(_look(brief)),
        "encoder": f"{form} {encoder}",
        "sound": digest(clip.sound.key) if clip.sound else "",
        "drawing": drawing_code(),
        "libraries": digest(libraries()),
        "font": fonts(brief.look),
        "opengl": opengl_renderer() if brief.subject.eye is not None else "",
    }
    facts = {
        "kind": clip.kind,
        "method": clip.method,
        "cut_deg": clip.cut_deg,
        "side": clip.side,
        "distance_mm": clip.distance_mm,
        "eye": clip.eye,
        "size": f"{brief.output.width_px}x{brief.output.height_px}",
        "rate": "/".join(map(str, brief.output.rate)),
        "frames": clip.frames,
        "libraries": libraries(),
    }
    return Key(parts, facts)


def _look(brief: Brief) -> Any:
    look, shows = brief.look, CLIP_KINDS[brief.subject.kind].shows_logo(brief.look)
    # where a file lies does not matter, what is in it does: of a font it is told apart
    types = {
        name: replace(style, face=replace(style.face, file=style.face.file and FontFile("", "")))
        for name, style in look.types.items()
    }
    return replace(
        look, logo=replace(look.logo, file="") if look.logo is not None and shows else None, types=types
    )


def _timing(brief: Brief) -> Any:
    skipped = [(at, step.name, step.frames) for at, step in brief.skipped]
    words = [speaks_of(step, brief.labels) for step in brief.steps]
    return [(s.frames, s.pace) for s in brief.steps], words, brief.handle_frames, skipped


def _without_shots(brief: Brief) -> Any:
    subject = brief.subject
    shown = [getattr(subject, f.name) for f in fields(subject) if f.name not in ("shot", "companions", "media")]
    # where a picture lies does not matter, what is in it does
    return [shown, subject.media and replace(subject.media, file="")]


@cache
def opengl_renderer() -> str:
    """Name and version of the OpenGL renderer that draws the player's-eye picture; empty when there is none."""
    from scenes.plate import NoOpenGLError, renderer_name

    try:
        return renderer_name()
    except NoOpenGLError:
        # the clip itself will say so
        return ""


def spoken_digest(brief: Brief) -> str:
    """Digest of what the manifest tells and the picture does not show: the names and words of the steps."""
    return digest([(s.name, s.narration) for s in brief.steps])
