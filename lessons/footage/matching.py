"""A match file from beginning to end: read, looked at, solved, written. A refusal leaves older files alone."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from math import ceil, floor
from pathlib import Path

import numpy as np

from aimgeo.camera import project
from aimgeo.landmarks import measures_of
from aimgeo.vectors import BoolArray
from lessons.footage.answer import Answer, exchanged, filmed_shot, planned, written
from lessons.footage.frames import Footage, Stillness, UnreadableError, open_footage, picture_at, stillness
from lessons.footage.match import match
from lessons.footage.matched import BallRole, NoMatch, Warned, ball_key
from lessons.footage.model import MatchFile, load
from lessons.footage.picture import Picture
from lessons.footage.seen import drawn
from lessons.footage.suspects import accused
from scenes.files import write_whole

NEEDED = {"cv2": "opencv-python-headless", "scipy": "scipy", "av": "av", "PIL": "pillow"}

ODD = 5.0
"""A measure is odd beyond so many standard errors of what is usual."""

CLICKED = 0.008
"""Part of a picture's longer side: what is looked at around a click where no ball was found."""

LASTS = 5
"""What differs for so many frames, up to the end, has changed for good."""


class NeedsError(Exception):
    """What has to be installed first: a sentence."""


def check_installed(writes_maps: bool = False) -> None:
    """Raise NeedsError where what looks at pictures (and writes ST maps) is not installed."""
    from importlib.util import find_spec

    needed = NEEDED | ({"OpenEXR": "openexr"} if writes_maps else {})
    lacks = [package for module, package in needed.items() if find_spec(module) is None]
    if lacks:
        raise NeedsError(
            f"matching footage needs {' and '.join(lacks)}; install it with: pip install 'aimgeo[footage]'"
        )


def answer(path: Path) -> tuple[Answer, Picture]:
    """The answer to a match file, and the picture that it is about. Raises LessonError."""
    file = load(path)
    plan = planned(file)
    try:
        footage = open_footage(file.footage)
        clicks = file.clicks(footage.size_px)
        frame = footage.frame_at(file.keys.at)
        if frame >= footage.frames:
            last = (footage.frames - 1) / (footage.rate[0] / footage.rate[1]) if footage.rate else 0.0
            raise file.fault(f"the footage ends before that; its last frame is at {last:.2f} s.", ("at",))
        picture = picture_at(footage, frame)
    except UnreadableError as error:
        raise file.fault(str(error), ("footage",)) from None
    try:
        found = match(clicks, picture, footage.size_px)
    except NoMatch as error:
        if error.at[:1] == ("balls",) and not footage.is_still:
            # a ball that rolls is smeared, and not found for that
            clicked = [(role, index, (*at, CLICKED * max(footage.size_px))) for role, index, at in clicks.balls()]
            no_marks = np.zeros((0, 2))
            still = stillness(footage, picture, no_marks, [disc for _, _, disc in clicked], 0)
            _refuse_moving(file, footage, frame, still, [(role, index) for role, index, _ in clicked])
            keys = [ball_key(role, index) for role, index, _ in clicked]
            error.sentence += _comes_later(footage, still, keys.index(error.at), frame) if error.at in keys else ""
        sentence, key = accused(file, clicks, picture, footage.size_px) or (error.sentence, error.at)
        raise file.fault(sentence, key) from None
    shot, more = filmed_shot(found, file.keys.target)
    warnings = [*found.warnings, *more, *exchanged(found, plan), *_odd_measures(file)]
    if footage.is_still and file.keys.at:
        warnings.append(Warned("a photograph has one moment; `at` is not used.", ("at",)))
    if footage.rate_varies and footage.rate is not None:
        rate = footage.rate[0] / footage.rate[1]
        warnings.append(
            Warned(f"the frame rate of the footage varies; {rate:.4g} frames a second are taken.", ("footage",))
        )
    timecode = footage.timecode
    if timecode is not None and footage.rate is not None and not _counts(timecode, footage.rate):
        told = f"'{timecode}' names no frame at {footage.rate[0] / footage.rate[1]:.5g} frames a second"
        warnings.append(Warned(f"the timecode {told}; it is counted from 00:00:00:00.", ("footage",)))
        timecode = None
    made = Answer(
        file,
        found,
        frame,
        footage.rate,
        shot,
        plan,
        tuple(warnings),
        frames=footage.frames,
        timecode=timecode,
    )
    if not footage.is_still:
        made = _kept_still(made, footage, picture)
    return made, picture


def _odd_measures(file: MatchFile) -> list[Warned]:
    """What was measured and is far from what tables of the told size have: a match follows it."""
    usual = measures_of(file.table, file.ball_mm)
    told = [(name, mm, usual[name]) for name, mm in file.measured_mm().items()]
    return [
        Warned(
            f"a {file.keys.table} table has about {prior.mm:.4g} mm there, not {mm:.4g}; all places follow what "
            "was measured, so measure it again.",
            ("measured", name),
        )
        for name, mm, prior in told
        if abs(mm - prior.mm) > ODD * prior.error_mm
    ]


def _counts(timecode: str, rate: tuple[int, int]) -> bool:
    """True for hours, minutes, seconds and a frame's number that there is at a rate.

    >>> [_counts(told, (30000, 1001)) for told in ("01:00:59;29", "01:00:59:30", "1 h", "25:00:00:00")]
    [True, False, False, False]
    """
    found = re.fullmatch(r"(\d\d):(\d\d):(\d\d)[:;](\d\d)", timecode)
    most = (24, 60, 60, round(rate[0] / rate[1]))
    return found is not None and all(int(n) < limit for n, limit in zip(found.groups(), most, strict=True))


def _kept_still(made: Answer, footage: Footage, picture: Picture) -> Answer:
    """The answer with what moves in the clip: a knocked camera, balls that leave their places."""
    found = made.match
    marks = np.array([p.at_px for p in found.points.values() if p.kind == "found"]).reshape(-1, 2)
    discs = [(*project(found.camera, b.centre_mm).tolist(), 0.8 * max(b.radius_px, 4.0)) for b in found.balls]
    still = stillness(footage, picture, marks, discs, 0)
    _refuse_moving(made.file, footage, made.frame, still, [(b.role, b.index) for b in found.balls])
    after = replace_first(still, made.frame)
    warnings = list(made.warnings)
    holds = None
    if (knock := after.knocked()) is not None:
        holds = knock[0]
        warnings.append(
            Warned(
                f"the picture moves by {knock[1]:.1f} px at frame {knock[0]}; the match holds up to there.",
                ("footage",),
            )
        )
    camera, balls = still.holds_from(made.frame)
    if camera > 0:
        warnings.append(
            Warned(
                f"the camera stands still only from frame {camera} on; the match holds from there.", ("footage",)
            )
        )
    if balls > camera:
        warnings.append(
            Warned(f"the balls lie in their places only from frame {balls} on; lines begin there.", ("footage",))
        )
    return replace(
        made,
        warnings=tuple(warnings),
        holds_from_frame=max(camera, balls),
        holds_to_frame=holds,
        fades_from_frame=after.leaves(),
    )


def replace_first(still: Stillness, frame: int) -> Stillness:
    """The same from a frame on."""
    return Stillness(frame, still.moved_px[frame:], still.in_place[frame:], still.changing[frame:])


def _refuse_moving(
    file: MatchFile, footage: Footage, frame: int, still: Stillness, balls: Sequence[tuple[BallRole, int]]
) -> None:
    """Raise LessonError where a ball moves at the moment that is measured."""
    assert footage.rate is not None
    low, high = max(frame - 3, 0), frame + 8
    for k, (role, index) in enumerate(balls):
        if not still.changing[low:high, k].any():
            continue
        seconds = footage.rate[1] / footage.rate[0]
        quiet = _longest(np.asarray(~still.changing.any(1)))
        name = {"cue": "the cue ball", "object": "the object ball"}.get(role, f"ball {index + 1} of `others`")
        rest = "; write `at` for a moment at which all balls lie still"
        if quiet is not None and (quiet[1] - quiet[0]) * seconds > 0.3:
            begins, ends = ceil(10 * quiet[0] * seconds) / 10, floor(10 * (quiet[1] - 1) * seconds) / 10
            rest = f"; it lies still from {begins:.1f} s to {ends:.1f} s"
        raise file.fault(f"{name} moves at {file.keys.at:g} s{rest}.", ("at",))


def _comes_later(footage: Footage, still: Stillness, ball: int, frame: int) -> str:
    """That the picture changes for good where no ball was found: it may come to lie there only then."""
    assert footage.rate is not None
    there = still.in_place[frame:, ball]
    changed = frame + (int(np.flatnonzero(there)[-1]) + 1 if there.any() else 0)
    quiet = _longest(np.asarray(~still.changing[changed:, ball]))
    if changed == frame or quiet is None or quiet[1] - quiet[0] < LASTS:
        return ""
    rests = ceil(10 * (changed + quiet[0]) * footage.rate[1] / footage.rate[0]) / 10
    told = f"if the ball lies there only then, write `at: {rests:.1f} s`."
    return f" The picture changes there, up to {rests:.1f} s: {told}"


def _longest(flags: BoolArray) -> tuple[int, int] | None:
    """The longest run [first, end) of True."""
    best: tuple[int, int] | None = None
    start = None
    for k, flag in enumerate([*flags.tolist(), False]):
        if flag and start is None:
            start = k
        if not flag and start is not None:
            if best is None or k - start > best[1] - best[0]:
                best = (start, k)
            start = None
    return best


def paths(file: Path) -> tuple[Path, Path]:
    """Where the answer to a match file is written: JSON and picture."""
    return file.with_name(f"{file.stem}.match.json"), file.with_name(f"{file.stem}.match.jpg")


def write(made: Answer, picture: Picture | None) -> list[Path]:
    """Write the answer beside the match file, with the picture that it is drawn over unless that is None."""
    told, seen = paths(made.file.path)
    content = {told: written(made)} | ({} if picture is None else {seen: drawn(made.match, picture)})
    for path, data in content.items():
        write_whole(path, data)
    return list(content)
