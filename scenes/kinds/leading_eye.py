"""The leading eye: a ten-second check, and what each eye sees, from true geometry.

A finger is pointed at a mark far away, both eyes open. The eye that stays on the mark when the other closes leads.
Both eyes look at the mark, so the finger is seen double: each eye sees it where it hides what lies behind it for
that eye. Shown for an eye pair `PUPIL_DISTANCE_MM` apart, the leading eye on the line from mark through finger.

Then a shot as each eye sees it, both looking at the object ball, and both pictures over each other: what lies
nearer than the object ball is double, the cue ball and the cue.

Sentences: leading_eye.point, leading_eye.close, leading_eye.tell (value leads), leading_eye.shot,
leading_eye.double. Labels: both_eyes, left_eye_only, right_eye_only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from aimgeo.construct import Quantity, position
from aimgeo.eye import PUPIL_DISTANCE_MM
from aimgeo.shot import Shot
from scenes.board import (
    Ball,
    Board,
    EyeCamera,
    Line,
    Mark,
    Move,
    Pane,
    PlanCamera,
    Rect,
    Shade,
    TableTop,
    Text,
    Track,
    constant,
)
from scenes.board.brief import Brief, EyeSpec, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.figure.eye_view import cue_at, eye_mm
from scenes.frame.eye_words import put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.look import Layer

POINT, CLOSE, TELL = "leading_eye.point", "leading_eye.close", "leading_eye.tell"
SHOT, DOUBLE = "leading_eye.shot", "leading_eye.double"
BACK_MM, HEIGHT_MM = 600.0, 300.0
"""Where the eyes are when one is down on the shot: an arm's length behind the cue ball, a forearm above."""
TALL_RAD = math.radians(34.0)
"""So much of the shot is seen from the top of a picture to its bottom."""
BALL_AT = 0.34
"""How far down the object ball stands in a picture."""
FINGER_MM, MARK_MM = 600.0, 5000.0
"""From the eyes to the finger, an arm's length, and to the mark."""
WIDE_MM = 16.0
"""Across a fingertip: a round figure."""
SEEN_RAD = math.radians(16.0)
"""So much is seen across a picture."""
SIDES = ("left", "right")
PICTURES = ("both", *SIDES)


CAPTIONS = {"both": "both_eyes", "left": "left_eye_only", "right": "right_eye_only"}


@dataclass(frozen=True, slots=True)
class LeadingEyeSettings(Settings):
    """What may be set of a leading-eye clip."""

    leads: str = setting("right", "which eye leads in the example", choices=SIDES)


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Point, close one eye after the other, and what it tells."""
    if subject.shot is None:
        raise ValueError("a leading-eye clip needs a shot")
    leads = (("leads", Quantity(LeadingEyeSettings.of(subject).leads, "name")),)
    return (
        OutlineStep("point", POINT, draws_s=5.0),
        OutlineStep("close", CLOSE, draws_s=7.0),
        OutlineStep("tell", TELL, leads, draws_s=5.0),
        OutlineStep("shot", SHOT, draws_s=6.0),
        OutlineStep("double", DOUBLE, draws_s=5.0),
    )


def finger_rad(eye: str, leads: str) -> float:
    """How far to the right of the mark an eye sees the finger that the other one, leading, holds before it.

    Both bearings from the eye, from straight on; the leading eye stands on the line from mark to finger.

    >>> finger_rad("right", "right"), round(math.degrees(finger_rad("left", "right")), 2)
    (0.0, 5.28)
    """
    if eye == leads:
        return 0.0
    aside = PUPIL_DISTANCE_MM if leads == "right" else -PUPIL_DISTANCE_MM  # of the leading eye, to the right
    return math.atan2(aside, FINGER_MM) - math.atan2(aside, MARK_MM)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    brief.check_steps(outline(brief.subject), "a leading-eye clip")
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet, spans, rate = Sheet(), brief.spans, brief.output.rate
    put_titles(sheet, frame, brief.steps, spans, rate, frame.width_px - 2 * frame.title_px[0])
    leads = LeadingEyeSettings.of(brief.subject).leads
    fade = frames_of(TIMING.fade_s, rate)
    pointed, doubled = _with(brief, 0, "finger", "double")
    left, left_finger, right, right_finger = _with(brief, 1, "left", "left_finger", "right", "right_finger")
    told = _with(brief, 2, "leads")[0]
    shown = {"both": None, "left": left, "right": right}
    fingers = {"both": pointed, "left": left_finger, "right": right_finger}
    for picture, rect in zip(PICTURES, _rects(frame), strict=True):
        _put_picture(sheet, brief, frame, picture, leads, rect, shown[picture], fingers[picture], doubled)
        if picture == leads:
            edge = Shade((rect[0] - 6, rect[1] - 6, rect[2] + 12, rect[3] + 12), "window_edge")
            sheet.show(sheet.put("leads", edge, "break", "leads"), told)
    gone = (spans[3][0], spans[3][0] + fade)
    for id in sheet.ids():
        if id.partition(".")[0] in (*PICTURES, "leads"):
            sheet.hide(id, gone)
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    camera = PlanCamera(constant(0.0, 0.0, math.pi / 2, 0.0))
    seen = _put_shot(sheet, brief, frame, leads)
    return sheet.board(brief, (Pane("card", full, "table", camera, "cloth"), *seen))


def _with(brief: Brief, step: int, *names: str, seconds: float = TIMING.fade_s) -> list[Span]:
    """When what is called so comes in a step: each with its clause."""
    parts = [Part((name,), seconds, grows=seconds > TIMING.fade_s) for name in names]
    return placed(Words(brief.steps[step], brief.spans[step]), parts, brief.output.rate, 2 * TIMING.fade_s, 1.0)


def _put_shot(sheet: Sheet, brief: Brief, frame: Layout, leads: str) -> tuple[Pane, ...]:
    """The shot from each eye, beside each other, its aim line drawn in one after the other; then both pictures
    over each other."""
    shot, rate = brief.subject.shot, brief.output.rate
    assert shot is not None
    fade = frames_of(TIMING.fade_s, rate)
    *beside, both = _shot_rects(frame)
    double = brief.spans[4]
    other = next(one for one in SIDES if one != leads)
    first, second = _with(brief, 3, "each_eye", "other_eye")
    upright, leaning = _with(brief, 3, "aim_line", "leans", seconds=1.2)
    over, twice = _with(brief, 4, "both", "double")
    on = {leads: first, other: second}
    panes: list[Pane] = []
    shown: list[tuple[str, Rect, str, Span, Span | None]] = []
    for eye, rect in zip(SIDES, beside, strict=True):
        start, off = on[eye][0], (double[0], double[0] + fade)
        moves = (Move(start, start + fade, (1.0,)), Move(*off, (0.0,)))
        panes.append(
            Pane(f"shot.{eye}", rect, "eye", _eye_camera(shot, eye, leads), "plate", Track((0.0,), moves))
        )
        shown.append((f"shot.{eye}", rect, f"{eye}_eye_only", (start, start + fade), off))
    for eye, part, came in ((leads, 1.0, over), (other, 0.5, (twice[0], twice[0] + 2 * fade))):
        track = Track((0.0,), (Move(*came, (part,)),))
        panes.append(Pane(f"double.{eye}", both, "eye", _eye_camera(shot, eye, leads), "plate", track))
    shown.append(("double", both, "both_eyes", over, None))
    for id, (x, y, w, h), key, begin, end in shown:
        words = Text(
            brief.labels.get(key, key), (x + w / 2, y + h + 1.35 * frame.scale.text_px("small")), "small", "centre"
        )
        shapes: tuple[tuple[str, Shade | Text, Layer], ...] = (
            ("edge", Shade((x, y, w, h), "window_edge"), "break"),
            ("words", words, "text"),
        )
        for part_of, shape, layer in shapes:
            role = "leading" if part_of == "words" and id == f"shot.{leads}" else part_of
            own = sheet.put(f"{id}.{part_of}", shape, layer, role)
            sheet.show(own, begin)
            if end is not None:
                sheet.hide(own, end)
    here, R = tuple(pane.id for pane in panes), float(shot.radius_mm)
    if brief.subject.table is not None:
        sheet.put("shot.table", TableTop(brief.subject.table), "table", "table", here, opacity=1.0)
    C, O, G = (position(at) for at in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm))
    sheet.put("object_ball", Ball(O, R, "object"), "ball", "object_ball", here, opacity=1.0)
    sheet.put("cue_ball", Ball(C, R, "cue"), "ball", "cue_ball", here, opacity=1.0)
    sheet.put("cue", cue_at(shot), "ball", "cue", here, opacity=1.0)
    for eye, drawn in ((leads, upright), (other, leaning)):
        there = (f"shot.{eye}", f"double.{eye}")
        id = sheet.put(
            f"aim_line.{eye}", Line((C, G), "aim_line"), "line", "aim_line", there, opacity=1.0, drawn=0.0
        )
        sheet.move(id, "drawn", drawn, 1.0)
    return tuple(panes)


def _eye_camera(shot: Shot, eye: str, leads: str) -> EyeCamera:
    """An eye that looks at the object ball; the leading one is over the aim."""
    aside = 0.0 if eye == leads else PUPIL_DISTANCE_MM * (1 if eye == "left" else -1)
    at = eye_mm(shot, EyeSpec(eye, BACK_MM, aside, HEIGHT_MM))
    looked_at = shot.object_ball_mm
    return EyeCamera(constant(*at.tolist(), *looked_at.tolist(), TALL_RAD), (0.5, BALL_AT))


def _shot_rects(frame: Layout) -> tuple[Rect, Rect, Rect]:
    """The left eye's picture, the right one's, and both over each other."""
    W, H, m = float(frame.width_px), float(frame.height_px), frame.title_px[0]
    gap = frame.scale.px(30)
    if frame.shape == "wide":
        w, high = (W - 2 * m - gap) / 2, 0.56 * H
        return (m, 0.25 * H, w, high), (m + w + gap, 0.25 * H, w, high), ((W - w) / 2, 0.25 * H, w, high)
    top, bottom = (0.25 * H, 0.94 * H) if frame.shape == "square" else (0.22 * H, 0.79 * H)
    words = 1.9 * frame.scale.text_px("small")
    w = W - 2 * m
    high = (bottom - top - gap) / 2 - words
    return (m, top, w, high), (m, top + high + words + gap, w, high), (m, top, w, high)


def _rects(frame: Layout) -> tuple[Rect, Rect, Rect]:
    """Both eyes' picture, the left one's and the right one's: beside each other, or below."""
    W, H, m = float(frame.width_px), float(frame.height_px), frame.title_px[0]
    gap = frame.scale.px(30)
    if frame.shape == "wide":
        w = (W - 2 * m - 2 * gap) / 3
        high = min(0.52 * H, 1.1 * w)
        return tuple((m + k * (w + gap), 0.27 * H, w, high) for k in range(3))  # type: ignore[return-value]
    top, bottom = (0.26 * H, 0.94 * H) if frame.shape == "square" else (0.22 * H, 0.79 * H)
    words = 1.9 * frame.scale.text_px("small")
    half = (W - 2 * m - gap) / 2
    high = (bottom - top - gap) / 2 - words
    low = top + high + words + gap
    return (m + (half + gap) / 2, top, half, high), (m, low, half, high), (m + half + gap, low, half, high)


def _put_picture(
    sheet: Sheet,
    brief: Brief,
    frame: Layout,
    picture: str,
    leads: str,
    rect: Rect,
    shown: Span | None,
    pointed: Span,
    doubled: Span,
) -> None:
    """What is seen: the mark in the middle, then the finger; where both eyes look past it, twice and faint."""
    x, y, w, h = rect
    W, H = frame.width_px, frame.height_px
    per_rad = w / SEEN_RAD
    eyes = SIDES if picture == "both" else (picture,)
    middle = y + 0.34 * h
    wide = WIDE_MM / FINGER_MM * per_rad
    parts: list[tuple[str, Shade | Mark | Text]] = [("edge", Shade(rect, "window_edge"))]
    for eye in eyes:
        centre = x + w / 2 + finger_rad(eye, leads) * per_rad
        tip = middle + 0.075 * h
        finger = Shade((centre - wide / 2, tip, wide, y + h - tip), "finger", wide / 2)
        role = "finger" if picture == "both" else "stays" if eye == leads else "jumps"
        id = sheet.put(f"{picture}.finger.{eye}", finger, "bar", role)
        if picture != "both":
            sheet.show(id, pointed)
            continue
        if eye == leads:
            sheet.show(id, pointed)
        sheet.move(id, "opacity", doubled, 0.5)
    parts.append(("mark", Mark((x + w / 2 - W / 2, H / 2 - middle, 0.0), "aim")))
    key = CAPTIONS[picture]
    words = Text(
        brief.labels.get(key, key), (x + w / 2, y + h + 1.35 * frame.scale.text_px("small")), "small", "centre"
    )
    parts.append(("words", words))
    for part, shape in parts:
        layer: Layer = "mark" if isinstance(shape, Mark) else "text" if isinstance(shape, Text) else "break"
        panes = ("card",) if isinstance(shape, Mark) else ()
        role = "stays_mark" if part == "mark" and picture == leads else part
        id = sheet.put(f"{picture}.{part}", shape, layer, role, panes, opacity=0.0 if shown else 1.0)
        if shown:
            sheet.show(id, shown)


KIND = Kind(
    "leading-eye",
    "a ten-second check which eye leads, a shot as each eye sees it, and what looks double",
    outline,
    board,
    axes=("cut", "side", "distance"),
    settings=LeadingEyeSettings,
)
