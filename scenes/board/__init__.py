"""A board: everything a clip shows, frame by frame, as plain values. No Manim here.

A clip kind turns a brief into a board; the stage performs it with Manim; the manifest, the label rules and the
audit read the same board. Because the state at a frame is a function of the frame's number alone, what is
drawn, what is written in the manifest and what a test expects cannot drift apart.

Pixels: x right, y down, (0, 0) the outer corner of the top-left pixel. Positions in panes: table mm (x, y, z).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np

from aimgeo.camera import Camera, Lens, camera, pixels
from aimgeo.construct import Position
from aimgeo.vectors import Array, ArrayLike
from scenes.look.dusk import DUSK
from scenes.look.look import Layer, Look

Easing = Literal["linear", "cubic", "quintic"]
Values = tuple[float, ...]
Pixel = tuple[float, float]
Rect = tuple[float, float, float, float]
"""x, y, width, height in pixels."""
Clip = tuple[float, float, float, float, float]
"""A rectangle beyond which nothing is drawn, and the radius of its corners."""
Span = tuple[int, int]
"""Frames [first, end)."""


def eased(t: float, easing: Easing) -> float:
    """Progress 0..1 after easing in and out."""
    if easing == "linear":
        return t
    if easing == "cubic":
        return 4 * t**3 if t < 0.5 else 1 - (2 - 2 * t) ** 3 / 2
    return 16 * t**5 if t < 0.5 else 1 - (2 - 2 * t) ** 5 / 2


@dataclass(frozen=True, slots=True)
class Move:
    """A change to `to` over the frames [first_frame, end_frame): frame end_frame - 1 already shows `to`.

    `through`, when given, holds the values of every frame: a motion without easing, as of a ball that rolls.
    """

    first_frame: int
    end_frame: int
    to: Values
    easing: Easing = "cubic"
    through: tuple[Values, ...] = ()


@dataclass(frozen=True, slots=True)
class Track:
    """Values over time: `start`, then the moves in order. Moves do not overlap."""

    start: Values
    moves: tuple[Move, ...] = ()

    def at(self, frame: int) -> Values:
        """The values on a frame.

        >>> Track((0.0,), (Move(10, 20, (1.0,), "linear"),)).at(14)
        (0.5,)
        """
        before = self.start
        for move in self.moves:
            if frame < move.first_frame:
                break
            if frame >= move.end_frame - 1:
                before = move.to
                continue
            if move.through:
                return move.through[frame - move.first_frame]
            t = eased((frame - move.first_frame + 1) / (move.end_frame - move.first_frame), move.easing)
            return tuple(b + (e - b) * t for b, e in zip(before, move.to, strict=True))
        return before


def constant(*values: float) -> Track:
    """A track that never changes."""
    return Track(tuple(values))


ONE = constant(1.0)
ZERO = constant(0.0)
ZERO3 = constant(0.0, 0.0, 0.0)
UNTURNED = constant(1.0, 0.0, 0.0, 0.0)


# ------------------------------------------------------------------ cameras


@dataclass(frozen=True, slots=True)
class PlanCamera:
    """Looking straight down. Track values: x_mm, y_mm (the point at `anchor`), turn_rad, log(px per mm).

    `turn_rad` is the table direction that points up in the picture, counter-clockwise from +x.
    `anchor` is the place in the pane, as fractions of its rectangle, where (x_mm, y_mm) stands.
    """

    track: Track
    anchor: Pixel = (0.5, 0.5)

    def projection(self, rect: Rect, frame: int) -> Array:
        """P (3, 4), read-only: (u, v, w) = P (x, y, z, 1), pixel (u/w, v/w) in frame pixels."""
        return _plan_matrix(self.track.at(frame), _anchor_px(self.anchor, rect))


@dataclass(frozen=True, slots=True)
class FrontCamera:
    """Looking along the cloth from infinitely far. Track values: x, y, z_mm (the point at `anchor`), turn_rad (the
    table direction in which it looks, counter-clockwise from +x), log(px per mm).
    """

    track: Track
    anchor: Pixel = (0.5, 0.5)

    def projection(self, rect: Rect, frame: int) -> Array:
        """P (3, 4) as for the plan camera; up in the picture is up from the cloth."""
        x, y, z, turn, log_scale = self.track.at(frame)
        u0, v0 = _anchor_px(self.anchor, rect)
        s, c, n = math.exp(log_scale), math.cos(turn), math.sin(turn)
        across = [s * n, -s * c, 0.0, u0 - s * (n * x - c * y)]
        return _kept(np.array([across, [0.0, 0.0, -s, v0 + s * z], [0.0, 0.0, 0.0, 1.0]]))


@dataclass(frozen=True, slots=True)
class EyeCamera:
    """A pinhole. Track values: eye x, y, z, look-at x, y, z (mm), vertical field of view (rad) of the full pane.

    The point looked at stands at `anchor`, as fractions of the pane's rectangle; z up, square pixels.
    """

    track: Track
    anchor: Pixel = (0.5, 0.5)

    def on(self, rect: Rect, *frames: int) -> Camera:
        """The camera of a pane at this rectangle on so many frames; its arrays (...) begin with the frames."""
        values = np.array([self.track.at(frame) for frame in frames])
        return _pinhole(values, _anchor_px(self.anchor, rect), rect[2:])

    def projection(self, rect: Rect, frame: int) -> Array:
        """P (3, 4) as for the plan camera; w is the depth along the view axis in mm, positive in front."""
        return _eye_matrix(self.track.at(frame), _anchor_px(self.anchor, rect), rect[2:])


@dataclass(frozen=True, slots=True)
class FilmedCamera:
    """The camera of a filmed shot, at rest: eye (mm), axes right, down, forward, focal length and principal
    point (px
    of the frame), and the two terms of its lens.

    `projection` is that of the pinhole; what is drawn under it is bent through the lens afterwards, curve by
    curve.
    """

    eye_mm: Position
    axes: tuple[Position, Position, Position]
    focal_px: float
    principal_px: Pixel
    k1: float = 0.0
    k2: float = 0.0
    track: Track = Track((0.0,))

    def projection(self, rect: Rect, frame: int) -> Array:
        """P (3, 4) of the pinhole, before the lens."""
        return self.camera.matrix()

    @property
    def camera(self) -> Camera:
        """The camera as a value of aimgeo."""
        eye, axes, principal = (np.array(part) for part in (self.eye_mm, self.axes, self.principal_px))
        return Camera(eye, axes, np.array(self.focal_px), principal, 2 * principal, Lens(self.k1, self.k2))

    def bent(self, px: ArrayLike) -> Array:
        """Where the lens puts pixels (..., 2) of the pinhole's picture; nan where it shows nothing."""
        camera = self.camera
        assert camera.lens is not None
        places = (np.asarray(px, float) - camera.principal_px) / camera.focal_px
        return np.asarray(camera.principal_px + camera.focal_px * camera.lens.bent(places))


def _anchor_px(anchor: Pixel, rect: Rect) -> Pixel:
    return rect[0] + anchor[0] * rect[2], rect[1] + anchor[1] * rect[3]


def _pinhole(values: Array, principal_px: Pixel, size_px: Pixel) -> Camera:
    return camera(values[..., :3], values[..., 3:6], values[..., 6], *size_px, principal_px=principal_px)


# a frame's elements, marks and labels all ask for the same few


@lru_cache(maxsize=256)
def _eye_matrix(values: Values, principal_px: Pixel, size_px: Pixel) -> Array:
    return _kept(_pinhole(np.array(values), principal_px, size_px).matrix())


@lru_cache(maxsize=256)
def _plan_matrix(values: Values, anchor_px: Pixel) -> Array:
    x, y, turn, log_scale = values
    s, c, n = math.exp(log_scale), math.cos(turn), math.sin(turn)
    # up in the picture is (c, n) in the table, right is (n, -c)
    u0, v0 = anchor_px
    return _kept(
        np.array(
            [
                [s * n, -s * c, 0.0, u0 - s * (n * x - c * y)],
                [-s * c, -s * n, 0.0, v0 + s * (c * x + n * y)],
                [0.0, 0.0, 0.0, 1.0],
            ]
        )
    )


def _kept(P: Array) -> Array:
    P.setflags(write=False)
    return P


@dataclass(frozen=True, slots=True)
class Pane:
    """A window of the frame with its own camera; what is drawn in it is cut off at its rectangle.

    background: 'cloth' (flat cloth), 'plate' (the rendered table of the player's eye), 'footage' (a real table,
    which is not drawn: its balls hide what is behind them), or None.
    `opacity` fades the whole pane. Later panes lie over earlier ones. `noses_mm` are the ends of cushions' noses
    that hide what is behind and below them; `pen` makes lines, and marks, finer. One that `is_round` is cut off at
    the circle in its rectangle, a square.
    """

    id: str
    rect_px: Rect
    view: str
    camera: PlanCamera | FrontCamera | EyeCamera | FilmedCamera
    background: str | None = None
    opacity: Track = ONE
    noses_mm: tuple[tuple[Position, Position], ...] = ()
    pen: tuple[float, float] = (1.0, 1.0)
    is_round: bool = False

    @property
    def clip_px(self) -> Clip:
        """Where what is drawn in it is cut off."""
        return (*self.rect_px, self.rect_px[2] / 2 if self.is_round else 0.0)

    def projection(self, frame: int) -> Array:
        """P (3, 4) on a frame."""
        return self.camera.projection(self.rect_px, frame)

    def px(self, points_mm: ArrayLike, frame: int = 0) -> Array:
        """Pixels (..., 2) of the frame where points (..., 3) stand; nan behind the eye."""
        seen = pixels(self.projection(frame), points_mm)
        return self.camera.bent(seen) if isinstance(self.camera, FilmedCamera) else seen

    @property
    def has_real_balls(self) -> bool:
        """True where the picture behind the lines shows table and balls, which hide what is behind them."""
        return self.background in ("plate", "footage")


# ------------------------------------------------------------------ shapes


@dataclass(frozen=True, slots=True)
class Ball:
    """A ball, drawn by its exact outline. look: 'cue', 'object', 'ghost' or 'other'.

    `colour` stands in place of the look's; a ball with a number above 8 is striped. `marks` on a cue ball show how
    it turns.
    """

    centre_mm: Position
    radius_mm: float
    look: str
    colour: str | None = None
    number: int = 0
    marks: bool = False


@dataclass(frozen=True, slots=True)
class Halo:
    """A thin white circle around a ball, as the outline of a ball of this radius: what a pane shows larger."""

    centre_mm: Position
    radius_mm: float


@dataclass(frozen=True, slots=True)
class Cue:
    """The cue, by the middle of its tip and the direction in which it points."""

    tip_mm: Position
    direction: Position


@dataclass(frozen=True, slots=True)
class Line:
    """A line in the look's style for `style` (a role). `pen` shows the leading dot while it is drawn.

    `ink_in` lists ball element ids inside which a white line turns to ink.
    `faint_after_mm`: beyond this length from the first point the line is thin and faint.
    """

    points_mm: tuple[Position, Position]
    style: str
    arrow: bool = False
    ink_in: tuple[str, ...] = ()
    faint_after_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """An end mark at a point, always on top.

    kind: 'object_centre', 'cue_centre', 'contact', 'aim'; 'target' for a remembered mark or a fraction on a ball
    (a small light ring); 'miss' where a ball that stays out ends; 'notch' for one of a row of marks; 'base' for a
    point on the cloth; in the table inset, where a true ball would be a speck, 'cue_dot' and 'object_dot'.

    `hollow` marks a point that exists but cannot be seen from here.
    """

    at_mm: Position
    kind: str
    hollow: bool = False


@dataclass(frozen=True, slots=True)
class Ring:
    """A horizontal circle, thin, in the line style named."""

    centre_mm: Position
    radius_mm: float
    style: str


@dataclass(frozen=True, slots=True)
class Arc:
    """A pale sector at a point, from one table direction to another (radians, counter-clockwise positive)."""

    centre_mm: Position
    radius_mm: float
    from_rad: float
    to_rad: float


@dataclass(frozen=True, slots=True)
class Area:
    """A filled polygon in table mm, in the style named: 'region' (what the stage shows, in the inset; the edge
    between its first two points is its top and drawn heavy), 'window' (a pocket's), 'band' (where paths run),
    'gain' and 'loss' (of a chart);
    plain: 'head', 'cue_ball', 'object_ball', 'bed', 'wood', 'mouth' (a pocket's)."""

    points_mm: tuple[Position, ...]
    style: str


@dataclass(frozen=True, slots=True)
class TableTop:
    """The table from above: bed, noses, rails, pockets and sights, in table mm, from an aimgeo Table."""

    table: object
    detail: bool = True


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text, baseline at `at_px`. align: 'left', 'centre', 'right'. style: a type style's name."""

    text: str
    at_px: Pixel
    style: str
    align: str = "left"


@dataclass(frozen=True, slots=True)
class Plate:
    """A label: text on a dark plate, after a sample of a line style or a kind of mark; new labels are outlined.

    `second` is a smaller line under the text.
    """

    text: str
    rect_px: Rect
    sample: str | None = None
    second: str = ""


@dataclass(frozen=True, slots=True)
class Leader:
    """The thin line from a label to what it names."""

    points_px: tuple[Pixel, ...]


@dataclass(frozen=True, slots=True)
class Shade:
    """A screen rectangle in the style named.

    'scrim' and 'scrim_top' (fading out downwards); 'window_edge' (the outline of a pane); 'surround' (around the
    table); 'band' (across a broken stage, with zigzag upper and lower edges within the rectangle); 'row' and
    'row_bar' (the current row of a card); 'finger'; 'hairline'; 'measure_bar' (beside the current measure).
    """

    rect_px: Rect
    style: str
    radius_px: float = 0.0


@dataclass(frozen=True, slots=True)
class Pips:
    """Step pips: count, and which one is now (0-based)."""

    at_px: Pixel
    count: int
    now: int


@dataclass(frozen=True, slots=True)
class HitGlyph:
    """The hit as seen along the aim: object ball, ghost ball dashed beside it, their overlap light.

    `offset` is how far the ghost's centre is to the right of the object ball's, in radii (-2..2).
    """

    at_px: Pixel
    radius_px: float
    offset: float


@dataclass(frozen=True, slots=True)
class Bar:
    """A map-like bar between two table points at equal pieces: the first `filled` of `pieces` filled."""

    points_mm: tuple[Position, Position]
    pieces: int
    filled: int


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture file stretched to a rectangle. `film_s`: of a film, the seconds between which the element's
    `drawn`
    runs.
    """

    file: str
    sha256: str
    rect_px: Rect
    film_s: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Glow:
    """What the words speak of, pointed at: a pale band along a line through two points, or a ring around one.

    A ring is the outline of a ball of `radius_mm`, or of a circle on the cloth where it `is_flat`; without one, a
    circle `reach_px` wide for a 1080 px frame; a band reaches so far to either side. Its size multiplies what it
    encloses.
    """

    points_mm: tuple[Position, ...]
    reach_px: float = 0.0
    radius_mm: float = 0.0
    is_flat: bool = False


Shape = (
    Ball | Halo | Cue | Line | Mark | Ring | Arc | Area | TableTop
    | Text | Plate | Leader | Shade | Pips | HitGlyph | Bar | Photo | Glow
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Element:
    """Something drawn: a shape with what changes about it over time.

    `panes` empty: the shape is in frame pixels. `layer`: what lies over what is the look's to say.
    `drawn` is the part of a line drawn so far; `strength` 1 new, lower when old; `offset_mm` moves it;
    `size` multiplies the radius of a ball or ring about its centre; `turn` is how a ball has turned, a quaternion.
    `names`: the id of the element that a label names. `fresh` 1 draws the outline of a new label.
    """

    id: str
    role: str
    shape: Shape
    panes: tuple[str, ...] = ()
    layer: Layer = "mark"
    opacity: Track = ONE
    drawn: Track = ONE
    strength: Track = ONE
    fresh: Track = ZERO
    offset_mm: Track = ZERO3
    size: Track = ONE
    turn: Track = UNTURNED
    names: str | None = None

    def tracks(self) -> tuple[Track, ...]:
        """Everything that can change."""
        return (self.opacity, self.drawn, self.strength, self.fresh, self.offset_mm, self.size, self.turn)

    def is_visible(self, frame: int) -> bool:
        """True when any of it is drawn on the frame."""
        return self.opacity.at(frame)[0] > 0 and self.drawn.at(frame)[0] > 0


@dataclass(frozen=True, slots=True)
class StepSpan:
    """The frames [first_frame, end_frame) of a step."""

    name: str
    first_frame: int
    end_frame: int
    narration: str = ""


def _later(move: Move, frames: int) -> Move:
    return replace(move, first_frame=move.first_frame + frames, end_frame=move.end_frame + frames)


@dataclass(frozen=True)
class Board:
    """A whole clip."""

    width_px: int
    height_px: int
    rate: tuple[int, int]
    frames: int
    panes: tuple[Pane, ...]
    elements: tuple[Element, ...]
    steps: tuple[StepSpan, ...]
    look: Look = DUSK

    def with_handles(self, frames: int) -> Board:
        """The same later by so many frames: before it the picture that it starts from, behind it its last one."""
        if not frames:
            return self

        def later(track: Track) -> Track:
            return replace(track, moves=tuple(_later(move, frames) for move in track.moves))

        return self.retimed(self.frames + 2 * frames, later, lambda frame: frame + frames)

    def retimed(self, frames: int, track: Callable[[Track], Track], at: Callable[[int], int]) -> Board:
        """The board over so many frames, with `track` of every track; its steps begin and end where `at` says."""
        return replace(
            self,
            frames=frames,
            panes=tuple(
                replace(
                    pane, camera=replace(pane.camera, track=track(pane.camera.track)), opacity=track(pane.opacity)
                )
                for pane in self.panes
            ),
            elements=tuple(
                replace(
                    element,
                    opacity=track(element.opacity),
                    drawn=track(element.drawn),
                    strength=track(element.strength),
                    fresh=track(element.fresh),
                    offset_mm=track(element.offset_mm),
                    size=track(element.size),
                    turn=track(element.turn),
                )
                for element in self.elements
            ),
            steps=tuple(
                replace(step, first_frame=at(step.first_frame), end_frame=at(step.end_frame))
                for step in self.steps
            ),
        )

    @cached_property
    def changing(self) -> np.ndarray:
        """Boolean (frames,): True where the picture differs from the frame before. Frame 0 is True."""
        busy = np.zeros(self.frames, bool)
        busy[:1] = True
        tracks = [t for e in self.elements for t in e.tracks()]
        tracks += [t for p in self.panes for t in (p.camera.track, p.opacity)]
        for move in {m for t in tracks for m in t.moves}:
            busy[max(move.first_frame, 0) : max(min(move.end_frame, self.frames), 0)] = True
        return busy

    def still_stretches(self, least_frames: int = 2) -> Iterator[tuple[int, int]]:
        """Ranges of frames with the same picture, at least so many frames long."""
        starts = np.flatnonzero(self.changing)
        ends = np.append(starts[1:], self.frames)
        yield from ((int(a), int(b)) for a, b in zip(starts, ends, strict=True) if b - a >= least_frames)
