"""The forms that clips are written in. To add one: write its line in FORMS (plain values, nothing is opened)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace


@dataclass(frozen=True, slots=True)
class Form:
    """A form that clips are written in: container, codec and settings. Two runs give the same bytes.

    `is_master`: whole pictures for an editor, written by `scenes.film.masters`; with `alpha` they have no ground,
    and lie over other footage. `every_picture_alone`: a held picture's packet can be written again; with
    `holds_once` the file stores it once, and all its frames point there.
    """

    extension: str
    container: str
    codec: str
    pixel_format: str
    options: Mapping[str, str]
    container_options: Mapping[str, str] = field(default_factory=dict)
    is_master: bool = False
    alpha: bool = False
    every_picture_alone: bool = False
    holds_once: bool = False

    @property
    def has_timecode(self) -> bool:
        """True for the files that can carry one."""
        return self.container in ("mp4", "mov")


def _h264(preset: str, crf: int) -> Form:
    # nothing ahead is looked at: every picture stands for itself, and a held one is seen once. Lines and letters
    # are what a clip is about: adaptive quantisation would take from them for what is flat, deblocking soften them
    tuning = "weightp=0:rc-lookahead=0:mbtree=0:aq-mode=0:scenecut=0:subme=0:no-deblock=1"
    # colour samples are means of two by two pixels, so they lie at their centre (H.264 table E, type 1)
    tuning += ":chromaloc=1"
    options = {"preset": preset, "crf": str(crf), "profile": "high", "forced-idr": "1", "x264-params": tuning}
    # no B pictures: decoding order is showing order, so no edit list that an editor might ignore
    options["bf"] = "0"
    return Form(".mp4", "mp4", "libx264", "yuv420p", options, {"movflags": "+faststart+write_colr"})


MOV = {"movflags": "+faststart+write_colr"}
WEBM = {"fflags": "+bitexact"}  # else every file has a random number in it
VP9 = {"crf": "18", "b": "0", "deadline": "realtime", "cpu-used": "6", "row-mt": "0", "auto-alt-ref": "0"}


def _prores(pixel_format: str, profile: str, alpha: bool = False) -> Form:
    options = {"profile": profile, "vendor": "apl0"} | ({"alpha_bits": "16"} if alpha else {})
    return Form(".mov", "mov", "prores_ks", pixel_format, options, MOV, True, alpha, True)


EVERY_FRAME: dict[str, Form] = {
    "h264": _h264("superfast", 21),
    "draft": _h264("ultrafast", 24),
    "prores": _prores("yuv422p10le", "3"),
    "prores-alpha": _prores("yuva444p10le", "4", alpha=True),
    "png-alpha": Form(".mov", "mov", "png", "rgba", {"compression_level": "1"}, MOV, True, True, True),
    "vp9-alpha": Form(".webm", "webm", "libvpx-vp9", "yuva420p", VP9, WEBM, True, True, False),
}
"""To add a form: write its line here; `Film` or `MasterFilm` opens what the line says."""

FORMS: dict[str, Form] = EVERY_FRAME | {
    f"{name}-once": replace(form, holds_once=True)
    for name, form in EVERY_FRAME.items()
    if form.container == "mov" and form.every_picture_alone
}
"""All forms: those above, and for editing also with held pictures stored once."""

CHOSEN_FORMS = tuple(name for name in FORMS if name != "draft")
"""The forms that a lesson or the command line can name; the draft has its own option."""


def counted(timecode: str, rate: tuple[int, int]) -> str:
    """A timecode as the file counts on from it: at 29.97 with drop frame, as timelines do.

    >>> counted("00:00:00:00", (30000, 1001)), counted("00:00:00:00", (30, 1))
    ('00:00:00;00', '00:00:00:00')
    """
    is_own = timecode == "00:00:00:00"
    return "00:00:00;00" if is_own and rate == (30000, 1001) else timecode
