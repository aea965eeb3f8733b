"""A page that opens from disk: click the named points and the balls on the picture, save the match file."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from aimgeo.landmarks import MEASURES, NAMED, measures_of
from aimgeo.tables import POCKET_NAMES, TABLES
from lessons.files import ENDINGS
from lessons.footage.frames import Footage, open_footage, picture_at
from lessons.footage.model import CLICKED, MatchFile, load
from lessons.lesson.read import plain
from scenes.files import write_whole

QUALITY = 92


def write_page(path: Path) -> Path:
    """Write NAME.points.html beside a clip, a still, or a match file, with whose clicks it begins; its path.

    Raises UnreadableError, and LessonError for a match file.
    """
    file = load(path) if path.suffix.lower() in ENDINGS else None
    footage, seconds = (path, 0.0) if file is None else (file.footage, float(file.keys.at))
    opened = open_footage(footage)
    made = page(
        str(path.name if file is None else file.keys.footage),
        opened.size_px,
        seconds,
        jpeg(opened, opened.frame_at(seconds)),
        {} if file is None else clicks_of(file, opened.size_px),
        "" if file is None else _others(file),
        path.stem,
    )
    written = path.with_name(f"{path.stem}.points.html")
    write_whole(written, made.encode())
    return written


def jpeg(footage: Footage, frame: int) -> bytes:
    """The picture to click on. Raises UnreadableError."""
    import cv2

    image = np.clip(np.round(picture_at(footage, frame)), 0, 255).astype(np.uint8)
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert done
    return data.tobytes()


def clicks_of(file: MatchFile, size_px: tuple[int, int]) -> dict[str, Any]:
    """The clicks of a match file in pixels of its picture, as the page takes them up. Raises LessonError."""
    clicks = file.clicks(size_px)
    foot = clicks.towards[1] if clicks.towards is not None and clicks.towards[0] == "foot" else None
    balls = {"cue": clicks.cue, "object": clicks.object, "others": list(clicks.others)}
    return {
        "points": dict(clicks.points), "balls": balls, "foot": foot,
        "table": file.keys.table, "target": file.keys.target,
    }  # fmt: skip


def _others(file: MatchFile) -> str:
    """The keys that the page doesn't write, as lines of the file that it saves. JSON is YAML."""
    told = plain(file.tree)
    return "".join(f"{key}: {orjson.dumps(told[key]).decode()}\n" for key in told if key not in CLICKED)


def page(
    name: str,
    size_px: tuple[int, int],
    seconds: float,
    jpeg: bytes,
    given: Mapping[str, Any],
    more: str = "",
    stem: str = "",
) -> str:
    """The page's text: one file, nothing is fetched.

    `given` is what is clicked already, `more` stands behind what is saved, as `stem`.yaml.
    """
    measures = np.array([measures_of(TABLES["9ft"])[key].mm for key in MEASURES])
    told = {
        "footage": name,
        "stem": stem or Path(name).stem,
        "given": given,
        "more": more,
        "size": list(size_px),
        "at": seconds,
        "tables": list(TABLES),
        "pockets": list(POCKET_NAMES),
        "points": {key: (matrix @ measures)[:2].round(1).tolist() for key, matrix in NAMED.items()},
        "bed": measures[:2].tolist(),
    }
    # "</" would end the script
    values = orjson.dumps(told).decode().replace("</", "<\\/")
    templates = files("lessons.footage").joinpath("templates")
    script = templates.joinpath("points.js").read_text("utf-8").replace("/*values*/null", values)
    style = templates.joinpath("points.css").read_text("utf-8")
    policy = f"default-src 'none'; img-src data:; style-src {_sha(style)}; script-src {_sha(script)}"
    html = templates.joinpath("points.html").read_text("utf-8")
    parts = {
        "policy": policy,
        "style": style,
        "script": script,
        "picture": "data:image/jpeg;base64," + base64.b64encode(jpeg).decode(),
    }
    for key, value in parts.items():
        html = html.replace("{{ " + key + " }}", value)
    return html


def _sha(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
