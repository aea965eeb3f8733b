"""The labels of a figure: each finds its place when it appears, and gives way to those that are needed more."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from scenes.board import Leader, Plate, Rect
from scenes.board.motion import Span
from scenes.figure.figure import Figure
from scenes.figure.labels import NOTHING, Obstacles, Placed, Spacing, Wanted, is_in_the_way, merged, place
from scenes.look.scale import plate_sizes, plate_width_px, second_px

BALL_RANK, BAR_RANK, POINT_RANK, LINE_RANK = 0, 1, 2, 3
"""Which label gives way first."""


@dataclass(slots=True)
class _Standing:
    """A label in the picture: what it is for, how much it is needed, since which step, and its elements."""

    placed: Placed
    rank: int
    since: int
    ids: list[str]


class Labels:
    """The labels of a figure so far: they keep their places while nothing new comes in their way.

    `steps` is what each step adds to the picture, with the first one all that stands around the figure; what later
    steps bring is avoided where it can be. `zones` are where labels may stand, the best first; at most `most` do
    at a time. `may_be_plain`: a label that finds no place may do without its sample, and all older ones then go.
    """

    def __init__(
        self, figure: Figure, steps: Sequence[Obstacles], zones: tuple[Rect, ...], most: int, may_be_plain: bool
    ) -> None:
        self.figure, self.steps, self.zones, self.most = figure, steps, zones, most
        self.may_be_plain = may_be_plain
        self.standing: list[_Standing] = []
        self.pinned: list[_Standing] = []
        self.named: set[str] = set()
        self.gone: set[str] = set()
        self.spacing = Spacing().scaled(figure.frame.scale.k * figure.frame.scale.gain)
        self.count = 0

    def is_new(self, role: str) -> bool:
        """True, once, for a role that has words and no label yet."""
        if role in self.named or role not in self.figure.brief.labels:
            return False
        self.named.add(role)
        return True

    def add(
        self,
        index: int,
        wanted: Sequence[tuple[Wanted, int]],
        shown: Span | Callable[[str], Span],
        turn: Span,
    ) -> None:
        """Place a step's labels, each with its rank; `shown` says when, for all or by what each names.

        Older ones in their way move, or go for want of room.
        """
        self.age(turn)
        now, later = merged(self.steps[: index + 1]), merged(self.steps[index + 1 :])
        now = replace(now, strokes=tuple(s for s in now.strokes if s.name not in self.gone))
        new = self.steps[index] if index else NOTHING
        moved = [s for s in self.standing if is_in_the_way(s.placed, new, self.spacing)]
        for standing in moved:
            self._remove(standing, turn)
        self._make_room(index, wanted, turn)
        for want, rank in wanted:
            found, giving_way = self._seek_among(self._older(index), want, now, later)
            if found is not None:
                for standing in giving_way:
                    self._remove(standing, turn)
                self.put(found, rank, index, shown(want.name) if callable(shown) else shown, is_new=True)
        for standing in moved:
            want = standing.placed.wanted
            older = self._older(index, standing.rank)
            while len(self.standing) >= self.most and older:
                self._remove(older.pop(0), turn)
            if len(self.standing) >= self.most:
                continue
            found = self._seek(want, now, later)
            # what stands apart from its point could be taken for another's
            is_sure = not want.is_point and (want.sample or want.around)
            if found is not None and found.is_on_its_side and (found.leader_px or is_sure):
                again = (turn[1], turn[1] + turn[1] - turn[0])
                self.put(found, standing.rank, standing.since, again, is_new=False)

    def add_more(
        self, index: int, wanted: Sequence[tuple[Wanted, int]], shown: Span | Callable[[str], Span]
    ) -> None:
        """Place further labels of a step whose others stand, as far as there is room beside these."""
        now, later = merged(self.steps[: index + 1]), merged(self.steps[index + 1 :])
        now = replace(now, strokes=tuple(s for s in now.strokes if s.name not in self.gone))
        for want, rank in wanted:
            found = self._seek(want, now, later) if len(self.standing) < self.most else None
            if found is not None:
                self.put(found, rank, index, shown(want.name) if callable(shown) else shown, is_new=True)

    def is_labelled(self, name: str) -> bool:
        """True where a label that stands names this."""
        return any(one.placed.wanted.name == name for one in (*self.standing, *self.pinned))

    def put(
        self, found: Placed, rank: int, since: int, shown: Span, is_new: bool, is_pinned: bool = False
    ) -> None:
        """Write a label and its leader down. One that is pinned gives way to no other."""
        sheet, want = self.figure.sheet, found.wanted
        self.count += 1
        fresh, strength = (1.0, 1.0) if is_new else (0.0, self.figure.frame.look.old_label)
        id = self.figure.id(f"label.{want.id}.{self.count}")
        plate = Plate(want.text, found.rect_px, want.sample, want.second)
        sheet.put(id, plate, "label", "label", fresh=fresh, strength=strength, names=want.name)
        ids = [id]
        if found.leader_px:
            ids.append(self.figure.id(f"leader.{want.id}.{self.count}"))
            sheet.put(ids[1], Leader(found.leader_px), "leader", "leader", strength=strength, names=want.name)
        for each in ids:
            sheet.show(each, shown)
        (self.pinned if is_pinned else self.standing).append(_Standing(found, rank, since, ids))

    def age(self, turn: Span) -> None:
        """What was new is old now."""
        for standing in (*self.standing, *self.pinned):
            self.figure.sheet.move(standing.ids[0], "fresh", turn, 0.0)
            for id in standing.ids:
                self.figure.sheet.move(id, "strength", turn, self.figure.frame.look.old_label)

    def remove_named(self, name: str, turn: Span) -> None:
        """Take away the labels of something that goes."""
        for standing in [s for s in (*self.standing, *self.pinned) if s.placed.wanted.name == name]:
            self._remove(standing, turn)

    def clear(self, span: Span) -> None:
        """All labels off."""
        for standing in (*self.standing, *self.pinned):
            self._remove(standing, span)

    def _older(self, index: int, below: float = math.inf) -> list[_Standing]:
        """The older labels of a rank below, the least needed first, then the oldest."""
        old = [s for s in self.standing if s.since < index and s.rank < below]
        return sorted(old, key=lambda s: (s.rank, s.since))

    def _seek_among(
        self, older: list[_Standing], want: Wanted, now: Obstacles, later: Obstacles
    ) -> tuple[Placed | None, list[_Standing]]:
        """A place, and which older labels give way for it: as few as will do, and none where there is no place."""
        for count in range(len(older) + 1):
            found = self._seek(want, now, later, older[:count])
            if found is not None and found.is_on_its_side:
                return found, older[:count]
        if not (self.may_be_plain and want.sample):
            return None, []
        # rather than go missing, a label does without its sample
        width, _ = plate_size(self.figure, want.text, None)
        plain = replace(want, width_px=width, sample=None)
        found = self._seek(plain, now, later, older)
        if want.insists and (found is None or not found.is_on_its_side):
            for near in (want, plain):  # close by, on its side, rather than on the other
                kept = self._seek(replace(near, insists=False, keeps_side=True), now, later, older)
                if kept is not None:
                    return kept, older
        return found, older

    def _seek(
        self, want: Wanted, now: Obstacles, later: Obstacles, without: Sequence[_Standing] = ()
    ) -> Placed | None:
        """A place among the labels that stand, but for some."""
        others = [s.placed for s in self.standing if s not in without]
        return place(want, now, self.zones, others, self.spacing, later)

    def _make_room(self, index: int, wanted: Sequence[tuple[Wanted, int]], turn: Span) -> None:
        """Take away what says the same again, what names the same place, what stands apart from its point, and
        the least needed of too many."""
        texts = {want.text for want, _ in wanted}
        points = [want.near_px for want, _ in wanted if want.is_point and want.near_px]
        same_px = self.figure.frame.scale.stroke_px(4)
        for standing in list(self.standing):
            want = standing.placed.wanted
            is_apart = not (standing.placed.leader_px or want.around) and (want.is_point or not want.sample)
            is_at_new = want.is_point and any(
                want.near_px and math.dist(want.near_px, p) < same_px for p in points
            )
            says_it_again = want.text in texts and not want.second
            if says_it_again or is_apart or is_at_new:
                self._remove(standing, turn)
        older = self._older(index)
        while len(self.standing) + len(wanted) > self.most and older:
            self._remove(older.pop(0), turn)

    def _remove(self, standing: _Standing, turn: Span) -> None:
        (self.pinned if standing in self.pinned else self.standing).remove(standing)
        for id in standing.ids:
            self.figure.sheet.hide(id, turn)


def plate_size(figure: Figure, text: str, sample: str | None, second: str = "") -> tuple[float, float]:
    """Width and height of a label's plate."""
    scale = figure.frame.scale
    high = plate_sizes(scale).height_px + (second_px(scale) if second else 0.0)
    return plate_width_px(text, scale, sample, second), high
