"""A page that opens from disk: click the named points and the balls on the picture, save the match file."""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files
from pathlib import Path

import numpy as np
import orjson

from aimgeo.landmarks import MEASURES, NAMED, measures_of
from aimgeo.tables import POCKET_NAMES, TABLES
from lessons.footage.frames import open_footage, picture_at
from scenes.files import write_whole

QUALITY = 92


def write_page(footage: Path, seconds: float = 0.0) -> Path:
    """Write NAME.points.html beside a clip or still; its path. Raises UnreadableError."""
    import cv2

    opened = open_footage(footage)
    picture = picture_at(opened, opened.frame_at(seconds))
    image = np.clip(np.round(picture), 0, 255).astype(np.uint8)
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert done
    path = footage.with_name(f"{footage.stem}.points.html")
    write_whole(path, page(footage.name, opened.size_px, seconds, data.tobytes()).encode())
    return path


def page(name: str, size_px: tuple[int, int], seconds: float, jpeg: bytes) -> str:
    """The page's text: one file, nothing is fetched."""
    measures = np.array([measures_of(TABLES["9ft"])[key].mm for key in MEASURES])
    told = {
        "footage": name,
        "stem": Path(name).stem,
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
