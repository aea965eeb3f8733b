"""What the player sees: where the eye stands, its camera, and the pane that shows the target larger.

The camera faces along the aim, so that the aim line stands upright under an eye above it. Its lens is chosen so
that both balls stand at the layout's heights; the pane is the same picture, magnified, so that perspective and
what hides what are the same in both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aimgeo.camera import Outline, ball_outline
from aimgeo.construct import Position, position
from aimgeo.hidden import is_hidden_by
from aimgeo.shot import Shot
from aimgeo.vectors import Array, left
from scenes.board import ONE, Cue, EyeCamera, FilmedCamera, Pane, Pixel, Rect, Track, constant
from scenes.board.brief import BriefStep, EyeSpec
from scenes.draw.view import Body
from scenes.frame.eye_words import beside_pips_px, title_lines
from scenes.frame.layout import ACTION_SAFE, Layout

EYE, TARGET = "eye", "target"
CUE_RISE_RAD = math.radians(3.0)
CUE_GAP_MM = 8.0
"""The cue rises a little towards its butt, and rests so far behind the ball: common practice."""
MOST_BALL = 0.20
"""The cue ball is at most so large, of the frame's height."""
TARGET_BALL = 0.33
"""The object ball in the pane, of the frame's height, where it fits."""

SHORTEST_LENS, LEAST_BALL, LENSES = 0.4, 0.04, 32
"""A lens is shortened to this part so that the target is seen, or until the cue ball is only so large, of the
picture's shorter side; so many are tried."""
AROUND_TARGET = 2.0
"""So many radii of a ball around the target are to be seen: about a pocket's mouth."""
BEHIND_TARGET = 2.5
"""So many radii behind it: about the middle of the pocket's hole."""
STAND_MM, STAND_BACK_MM = 1500.0, 1100.0
"""The eye of somebody who stands behind a shot: so high, and so far behind the object ball; about, judged."""
ABOVE_MM, BEHIND_MM = 2600.0, 60.0
"""So high an eye stands above a shot, and so far behind its middle: the aim points up in the picture."""


@dataclass(frozen=True, slots=True)
class EyeLayout:
    """Where an eye view's parts stand in the frame, in pixels.

    The balls' centres stand at `object_y_px` and `cue_y_px` on the axis; `pane_px` is the target pane with its
    footer, `picture_px` the part with the picture, above the ruler at its lower edge.
    """

    axis_px: float
    object_y_px: float
    cue_y_px: float
    pane_px: Rect
    picture_px: Rect
    full_px: Rect
    heading_px: Pixel
    heading_align: str
    note_px: Pixel
    title_room_px: float


def eye_layout(frame: Layout, side: int, steps: Sequence[BriefStep] = ()) -> EyeLayout:
    """The places of an eye view; the pane stands where the object ball (side +1 left, -1 right) does not go.

    Under the titles of the steps the heading stands below the longest.
    """
    W, H = float(frame.width_px), float(frame.height_px)
    margin = frame.title_px[0]
    s = frame.scale
    if frame.shape == "wide":
        w = min(0.574 * H, 0.40 * W)
        y0, y1 = 0.25 * H, 0.931 * H  # below a title of two lines
        x0 = W - margin - w if side >= 0 else margin
        axis = (x0 + 0.10 * H) / 2 if side >= 0 else W - (W - x0 - w + 0.10 * H) / 2
        places = (axis, 0.385 * H, 0.755 * H)
        heading, align = (W - margin, beside_pips_px(frame)), "right"  # over the title, which has the whole width
        # a title may take two lines
        note = (W - margin, frame.title_px[1] + frame.title_pitch_px + 0.4 * s.text_px("title"))
        room = W - 2 * margin
    elif frame.shape == "square":
        w = 0.44 * W
        y0, y1 = 0.33 * H, 0.90 * H
        x0 = W - margin - w if side >= 0 else margin
        axis = 0.35 * W if side >= 0 else 0.65 * W
        places = (axis, 0.40 * H, 0.76 * H)
        heading, align = frame.heading_px, "left"
        note = (margin, frame.heading_px[1] + 0.055 * s.short_px * s.gain)
        room = W - 2 * margin
    else:
        w = W - 2 * margin
        y0, y1 = 0.50 * H, 0.80 * H
        x0 = margin
        places = (W / 2, 0.285 * H, 0.425 * H)
        heading, align = frame.heading_px, "left"
        note = (margin, frame.heading_px[1] + 0.055 * s.short_px * s.gain)
        room = W - 2 * margin
    if frame.shape != "wide":
        lines = max((len(title_lines(step.title, frame, room)) for step in steps), default=1)
        down = (lines - 1) * frame.title_pitch_px
        heading, note = (heading[0], heading[1] + down), (note[0], note[1] + down)
    pane = (x0, y0, w, y1 - y0)
    strip = strip_px(frame)
    return EyeLayout(*places, pane, (x0, y0, w, y1 - y0 - strip), (0.0, 0.0, W, H), heading, align, note, room)


def line_top(places: EyeLayout) -> float:
    """Lines of the figure end below the words at the top: at this part of the picture's height."""
    return (places.note_px[1] - places.full_px[1]) / places.full_px[3] + 0.025


def strip_px(frame: Layout) -> float:
    """Height of the ruler and the footer of the target pane."""
    s = frame.scale
    return s.px(20) + 1.25 * s.text_px("tick") + 1.5 * s.text_px("heading") + 1.6 * s.text_px("small")


def eye_mm(shot: Shot, eye: EyeSpec) -> Array:
    """The eye (3,): behind the cue ball along the aim, to the left of the aim's plane, above the cloth."""
    at = shot.cue_ball_mm[:2] - eye.back_mm * shot.aim_direction + eye.offset_mm * left(shot.aim_direction)
    return np.array([*at, eye.height_mm])


def eye_camera(places: EyeLayout, shot: Shot, eye: EyeSpec, lens_px: float | None = None) -> EyeCamera:
    """The camera of an eye's picture: facing along the aim, the cue ball at its height in the picture.

    The lens is the focal length given; without one it is as long as it can be with the object ball at its height
    or lower and the target in the picture, below the words; where that would make the balls too small, the target
    stays outside.
    """
    if lens_px is not None:
        return _lens(places, shot, eye, lens_px)
    longest, R = _longest_px(places, shot, eye), float(shot.radius_mm)
    ball = 2 * R * longest / math.hypot(eye.back_mm, eye.height_mm - R) / min(places.full_px[2:])
    ranges = [(1.0, SHORTEST_LENS)]
    if ball * SHORTEST_LENS > LEAST_BALL:  # an eye that stands over a near shot
        ranges.append((SHORTEST_LENS, LEAST_BALL / ball))
    for first, last in ranges:
        lenses = [_lens(places, shot, eye, part * longest) for part in np.geomspace(first, last, LENSES).tolist()]
        # with the pocket behind it where there is room
        for behind in (BEHIND_TARGET, 0.0):
            for lens in lenses:
                if shows_target(places, shot, lens, behind):
                    return lens
    return _lens(places, shot, eye, longest)


def eye_cameras(places: EyeLayout, shot: Shot, eyes: Sequence[EyeSpec]) -> tuple[EyeCamera, ...]:
    """The cameras of several eyes, for a picture that moves from one to the next: the first one's middle is that
    of all, and the cue ball stays at its height."""
    first = eye_camera(places, shot, eyes[0])
    middle = places.full_px[1] + first.anchor[1] * places.full_px[3]
    lenses = [focal_px(places.full_px, eye_camera(places, shot, eye)) for eye in eyes]
    return tuple(_lens(places, shot, eye, lens, middle) for eye, lens in zip(eyes, lenses, strict=True))


def focal_px(rect: Rect, camera: EyeCamera) -> float:
    """The focal length, in pixels, of a resting camera in a pane at this rectangle."""
    return rect[3] / 2 / math.tan(camera.track.start[6] / 2)


def shows_target(places: EyeLayout, shot: Shot, lens: EyeCamera, behind: float = 0.0) -> bool:
    """True when all around the target, and so many radii of a ball behind it, there is picture, and no words."""
    px, py, pw, ph = places.full_px
    edge = (1 - ACTION_SAFE) / 2
    x, y, w, h = (px + edge * pw, py + line_top(places) * ph, ACTION_SAFE * pw, ph)
    pane = Pane("lens", places.full_px, "eye", lens)
    ring = shot.target_mm[:2] + AROUND_TARGET * float(shot.radius_mm) * np.array(
        [[1, 0], [-1, 0], [0, 1], [0, -1]]
    )
    way = (shot.target_mm - shot.object_ball_mm)[:2]
    ring = np.concatenate([ring, ring + behind * float(shot.radius_mm) * way / float(np.linalg.norm(way))])
    at = pane.px(np.concatenate([ring, np.zeros((len(ring), 1))], axis=1))
    inside = (at[:, 0] > x) & (at[:, 0] < x + w) & (at[:, 1] > y) & (at[:, 1] < y + h)
    cx, cy, cw, ch = places.pane_px
    covered = (at[:, 0] > cx) & (at[:, 0] < cx + cw) & (at[:, 1] > cy) & (at[:, 1] < cy + ch)
    return bool((inside & ~covered).all())


def _angles_rad(shot: Shot, eye: EyeSpec) -> tuple[float, float]:
    """How far below the level the cue ball and the object ball are seen, along the aim."""
    ahead = eye.back_mm + float((shot.object_ball_mm - shot.cue_ball_mm)[:2] @ shot.aim_direction)
    drop = eye.height_mm - float(shot.radius_mm)
    return math.atan2(drop, eye.back_mm), math.atan2(drop, ahead)


def _longest_px(places: EyeLayout, shot: Shot, eye: EyeSpec) -> float:
    """The focal length that brings both balls to their heights, with a cue ball that is not too large."""
    low, high = _angles_rad(shot, eye)
    R = float(shot.radius_mm)
    focal = (places.cue_y_px - places.object_y_px) / (2 * math.tan((low - high) / 2))
    return min(focal, MOST_BALL * places.full_px[3] * math.hypot(eye.back_mm, eye.height_mm - R) / (2 * R))


def _lens(places: EyeLayout, shot: Shot, eye: EyeSpec, focal: float, middle_px: float | None = None) -> EyeCamera:
    """The camera with this focal length that brings the cue ball to its height.

    The middle of its picture stands at the height given, else so that it looks between the balls.
    """
    at = eye_mm(shot, eye)
    low, high = _angles_rad(shot, eye)
    x, y, w, h = places.full_px
    middle = places.cue_y_px - focal * math.tan((low - high) / 2) if middle_px is None else middle_px
    pitch = low - math.atan((places.cue_y_px - middle) / focal)
    aim = np.array([*shot.aim_direction, 0.0])
    look = at + 1000.0 * (math.cos(pitch) * aim - math.sin(pitch) * np.array([0.0, 0.0, 1.0]))
    fov = 2 * math.atan(h / 2 / focal)
    return EyeCamera(constant(*at.tolist(), *look.tolist(), fov), ((places.axis_px - x) / w, (middle - y) / h))


def above_camera(
    places: EyeLayout, shot: Shot, anchor: Pixel, bottom: float = 0.93, up: Array | None = None
) -> EyeCamera:
    """From straight above, the aim, or the direction (2,) given, upwards: both balls and the target as large as
    they fit below the words and above this part of the picture's height."""
    C, T, R = shot.cue_ball_mm, shot.target_mm, float(shot.radius_mm)
    middle = np.array([*((C + T) / 2)[:2], R])
    at = np.array([*(middle[:2] - BEHIND_MM * (shot.aim_direction if up is None else up)), ABOVE_MM])
    px, py, pw, ph = places.full_px
    camera = EyeCamera(constant(*at.tolist(), *middle.tolist(), 2 * math.atan(0.5)), anchor)
    corner = np.array([px + anchor[0] * pw, py + anchor[1] * ph])
    around = np.array([[-1, 0, 0], [1, 0, 0], [0, -1, 0], [0, 1, 0]]) * 1.6 * R
    points = np.concatenate([ball + around for ball in (C, shot.object_ball_mm, np.array([*T[:2], R]))])
    off = Pane("above", places.full_px, "eye", camera).px(points) - corner
    low = np.array([px + 0.05 * pw, py + line_top(places) * ph]) - corner
    high = np.array([px + 0.95 * pw, py + bottom * ph]) - corner
    zoom = float(np.where(off > 0, high / np.maximum(off, 1e-6), low / np.minimum(off, -1e-6)).min())
    return replace(camera, track=constant(*camera.track.start[:6], 2 * math.atan(0.5 / zoom)))


def behind_camera(places: EyeLayout, shot: Shot, anchor: Pixel, low: float, high: float) -> EyeCamera:
    """Standing behind the object ball on the target line: ball and target at these parts of the height."""
    O, T = shot.object_ball_mm, shot.target_mm
    way = (T - O)[:2] / float(np.linalg.norm((T - O)[:2]))
    at = np.array([*(O[:2] - STAND_BACK_MM * way), STAND_MM])
    return EyeCamera(
        constant(*through_two(at, way, (O, np.array([*T[:2], O[2]])), (low, high), anchor[1])), anchor
    )


def through_two(
    at_mm: Array, way: Array, points_mm: tuple[Array, Array], heights: tuple[float, float], middle: float
) -> tuple[float, ...]:
    """The values of a camera at (3,) that faces along a direction (2,) and shows two points, the nearer one first,
    at these parts of the picture's height; its middle stands at `middle`."""
    below = [math.atan2(at_mm[2] - p[2], float((p - at_mm)[:2] @ way)) for p in points_mm]
    near, far = heights[0] - middle, heights[1] - middle
    # f tan(below - pitch) is each one's height below the middle: a quadratic for the farther one's tangent
    turn = math.tan(below[0] - below[1])
    root = math.sqrt(max((near - far) ** 2 - 4 * near * far * turn * turn, 0.0))
    pitch = below[1] - math.atan(2 * far * turn / (near - far + root))
    focal = (near - far) / (math.tan(below[0] - pitch) - math.tan(below[1] - pitch))  # of the picture's height
    look = at_mm + 1000.0 * np.array([*(math.cos(pitch) * way), -math.sin(pitch)])
    return (*at_mm.tolist(), *look.tolist(), 2 * math.atan(0.5 / focal))


def eye_pane(places: EyeLayout, shot: Shot, eye: EyeSpec, id: str = EYE, opacity: Track = ONE) -> Pane:
    """The picture as the eye sees it."""
    return Pane(id, places.full_px, "eye", eye_camera(places, shot, eye), "plate", opacity)


def target_pane(main: Pane, places: EyeLayout, frame: Layout, shot: Shot) -> Pane:
    """The object and the ghost ball, magnified: the main picture about their middle, times a factor."""
    R = float(shot.radius_mm)
    balls = [seen_ball(main, p, R) for p in (shot.object_ball_mm, shot.ghost_ball_mm)]
    boxes = np.array([ball.box_px() for ball in balls])
    low, high = boxes[:, :2].min(axis=0), (boxes[:, :2] + boxes[:, 2:]).max(axis=0)
    x, y, w, h = places.picture_px
    size = 2 * balls[0].mean_radius_px
    zoom = min(TARGET_BALL * frame.height_px / size, *(np.array([0.88 * w, 0.86 * h]) / (high - low)).tolist())
    camera = main.camera
    assert isinstance(camera, EyeCamera)
    values = camera.track.start
    focal = focal_px(main.rect_px, camera) * zoom
    centre = np.array(main.rect_px[:2]) + np.array(camera.anchor) * main.rect_px[2:]
    at = np.array([x + w / 2, y + h / 2]) + zoom * (centre - (low + high) / 2)
    track = constant(*values[:6], 2 * math.atan(h / 2 / focal))
    return Pane(TARGET, places.picture_px, "eye", EyeCamera(track, ((at[0] - x) / w, (at[1] - y) / h)), "plate")


def magnified(main: Pane, shot: Shot, rect: Rect, ball_px: float, id: str, at_height: float = 0.5) -> Pane:
    """The main picture about the middle of object and ghost ball, the object ball so wide, in another rectangle.

    The middle stands at this part of the rectangle's height. Raises ValueError for an eye too near to the balls.
    """
    camera = main.camera
    assert isinstance(camera, EyeCamera)
    R = float(shot.radius_mm)
    balls = [seen_ball(main, p, R) for p in (shot.object_ball_mm, shot.ghost_ball_mm)]
    zoom = ball_px / (2 * balls[0].mean_radius_px)
    values = camera.track.start
    focal = focal_px(main.rect_px, camera) * zoom
    centre = np.array(main.rect_px[:2]) + np.array(camera.anchor) * main.rect_px[2:]
    dx, dy = (zoom * (centre - (balls[0].centre_px + balls[1].centre_px) / 2)).tolist()
    _, _, w, h = rect
    track = constant(*values[:6], 2 * math.atan(h / 2 / focal))
    return Pane(id, rect, "eye", EyeCamera(track, (0.5 + dx / w, at_height + dy / h)), "plate")


@dataclass(frozen=True, slots=True)
class Facing:
    """A pane in which an eye faces the object ball, and how wide that ball may be there beside the ghost ball."""

    pane: Pane
    most_ball_px: float


def facing(shot: Shot, eye: EyeSpec, rect: Rect, ball_px: float, id: str, inset_px: float = 0.0) -> Facing:
    """The picture of an eye that looks straight at the object ball, `ball_px` wide, object and ghost ball in the
    middle of what is right of the inset."""
    at, O, R = eye_mm(shot, eye), shot.object_ball_mm, float(shot.radius_mm)
    _, _, w, h = rect
    reach = float(np.linalg.norm(O - at))
    focal = ball_px / 2 * math.sqrt((reach - R) * (reach + R)) / R
    track = constant(*at.tolist(), *O.tolist(), 2 * math.atan(h / 2 / focal))
    middle = Pane(id, rect, "eye", EyeCamera(track), "plate")
    boxes = np.array([seen_ball(middle, ball, R).box_px() for ball in (O, shot.ghost_ball_mm)])
    low, high = boxes[:, :2].min(axis=0), (boxes[:, :2] + boxes[:, 2:]).max(axis=0)
    off = np.array([rect[0] + (w + inset_px) / 2, rect[1] + h / 2]) - (low + high) / 2
    anchor = (0.5 + float(off[0]) / w, 0.5 + float(off[1]) / h)
    most = ball_px * float((np.array([0.9 * (w - inset_px), 0.9 * h]) / (high - low)).min())
    return Facing(replace(middle, camera=EyeCamera(track, anchor)), most)


def viewing_distance(pane: Pane, frame: Layout) -> float:
    """From how many picture widths away the perspective is true: focal length over the frame's width."""
    assert isinstance(pane.camera, EyeCamera)
    return focal_px(pane.rect_px, pane.camera) / frame.width_px


def cue_at(shot: Shot) -> Cue:
    """The cue as it lies for this aim, a little raised."""
    aim = np.array([*shot.aim_direction, 0.0])
    along = math.cos(CUE_RISE_RAD) * aim - math.sin(CUE_RISE_RAD) * np.array([0.0, 0.0, 1.0])
    tip = shot.cue_ball_mm - (float(shot.radius_mm) + CUE_GAP_MM) * along
    return Cue(position(tip), position(along))


def hides(shot: Shot) -> tuple[Body, Body]:
    """The two balls that hide what is behind them."""
    R = float(shot.radius_mm)
    return (Body("cue_ball", shot.cue_ball_mm, R), Body("object_ball", shot.object_ball_mm, R))


def cannot_be_seen(at: Position, shot: Shot, eye: Array) -> bool:
    """True when a ball hides the point from the eye, or holds it."""
    centres = np.stack([shot.cue_ball_mm, shot.object_ball_mm])
    return bool(is_hidden_by(eye, np.array(at), centres, shot.radius_mm).any())


def seen_ball(pane: Pane, centre_mm: Array, radius_mm: float) -> Outline:
    """A ball's outline in a resting pane. Raises ValueError when part of it lies behind the eye."""
    outline = whole_ball(pane, centre_mm, radius_mm)
    if outline is None:
        raise ValueError("a ball reaches behind the eye")
    return outline


def whole_ball(pane: Pane, centre_mm: Array, radius_mm: float) -> Outline | None:
    """As `seen_ball`; None where part of it lies behind the eye."""
    outline = ball_outline(pane.projection(0), centre_mm, radius_mm)
    if not outline.is_seen:
        return None
    if isinstance(pane.camera, FilmedCamera):
        # where labels go the outline may be told by what the lens does to its middle and its half-axes
        middle = pane.camera.bent(outline.centre_px)
        ends = pane.camera.bent(outline.centre_px + outline.axes_px) - middle
        return Outline(middle, (ends + ends.T) / 2)
    return outline


def pixel(pane: Pane, at: Position | Array) -> Pixel:
    """Where a point stands in a resting pane."""
    x, y = pane.px(at).tolist()
    return (x, y)
