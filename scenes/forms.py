"""The forms that clips are written in. To add one: write its line in FORMS (plain values, nothing is opened)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Form:
    """A form that clips are written in: container, codec and settings. Two runs give the same bytes.

    `look_ahead`: so many pictures ahead the encoder sees what is worth keeping.
    """

    extension: str
    container: str
    codec: str
    pixel_format: str
    options: Mapping[str, str]
    container_options: Mapping[str, str] = field(default_factory=dict)
    look_ahead: int = 0


def _h264(preset: str, crf: int, look_ahead: int) -> Form:
    tuning = f"weightp=0:rc-lookahead={look_ahead}:mbtree={int(look_ahead > 0)}"
    options = {"preset": preset, "crf": str(crf), "profile": "high", "forced-idr": "1", "x264-params": tuning}
    # no B pictures: decoding order is showing order, so no edit list that an editor might ignore
    options["bf"] = "0"
    return Form(".mp4", "mp4", "libx264", "yuv420p", options, {"movflags": "+faststart+write_colr"}, look_ahead)


FORMS: dict[str, Form] = {
    "h264": _h264("superfast", 17, 10),
    "draft": _h264("ultrafast", 24, 0),
}
"""To add a form: write its line here; `Film` opens what the line says."""
