"""Plan: the clips that a lesson makes, each with its finished brief, and what could not be used and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase

from lessons.faults import Place
from scenes.brief import Brief


@dataclass(frozen=True, slots=True)
class PlannedClip:
    """A clip to render: what the scene draws (`brief`), where the lesson asks for it, and its place in the matrix.

    What does not apply is None. `cut_text` is the cut as the lesson writes it ('3/4 overlap'); `side` is
    'left', 'right' or 'straight'; `eye` is the eye's name.
    """

    name: str
    brief: Brief
    place: Place
    method: str | None = None
    cut_text: str | None = None
    cut_deg: float | None = None
    side: str | None = None
    distance_name: str | None = None
    distance_mm: float | None = None
    eye: str | None = None

    @property
    def kind(self) -> str:
        """The clip's kind, a key of scenes.CLIP_KINDS."""
        return self.brief.subject.kind

    @property
    def frames(self) -> int:
        """Length in frames."""
        return self.brief.frames

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.frames / self.brief.output.fps


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A combination that the lesson covers and that cannot be shown: its clip name, the reason, the place."""

    name: str
    reason: str
    place: Place


@dataclass(frozen=True, slots=True)
class Plan:
    """A lesson's clips in order. `identity` is the lesson's short name, fit for a file name."""

    title: str
    identity: str
    file: str
    clips: tuple[PlannedClip, ...]
    left_out: tuple[LeftOut, ...] = ()

    @property
    def frames(self) -> int:
        """All frames together."""
        return sum(clip.frames for clip in self.clips)

    @property
    def duration_s(self) -> float:
        """All clips one after the other, in seconds."""
        return sum(clip.duration_s for clip in self.clips)

    def only(self, patterns: Sequence[str]) -> Plan:
        """The plan of the clips whose name fits a pattern ('ghost-ball_*_left_*'); no patterns, all of them."""
        if not patterns:
            return self
        kept = tuple(c for c in self.clips if any(fnmatchcase(c.name, p) for p in patterns))
        return replace(self, clips=kept)
