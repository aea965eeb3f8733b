"""What a plan is: the clips that a lesson makes, each with its finished brief, and what was left out and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from aimgeo.methods.own import Own
from aimgeo.shot import BALL_DIAMETER_MM
from aimgeo.tables import TABLES, Table
from lessons.lesson.faults import Fault, Place
from lessons.lesson.names import with_names
from lessons.lesson.wording import Wording, words_of
from lessons.planning.filmed import SetUp
from lessons.planning.placing import PlacedShot
from lessons.planning.sound import Sound
from scenes.board.brief import Brief
from scenes.film.forms import FORMS
from scenes.look.fonts import FontFile


@dataclass(frozen=True, slots=True)
class ScratchVoice:
    """What is to be spoken: each text with the seconds at which it starts and how long it may take."""

    language: str
    words_a_minute: float
    texts: tuple[tuple[str, float, float], ...]

    @property
    def key(self) -> object:
        """What the sound depends on."""
        return (self.language, self.words_a_minute, self.texts)


@dataclass(frozen=True, slots=True)
class PlannedClip:
    """A clip to render: what the scene draws (`brief`), where the lesson asks for it, and its place in the matrix.

    What does not apply is None. `shots` are those that it shows, the brief's own first. `cut_text` is the cut as
    the lesson writes it ('3/4 overlap'); `side` is 'left', 'right' or 'straight'; `eye` is the eye's name.
    `translations` are the narrations of the steps in the lesson's other languages. `footage` is the
    filmed clip that it lies over, `set_up` what was measured in it.
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
    shots: tuple[PlacedShot, ...] = ()
    footage: Path | None = None
    set_up: SetUp | None = None
    sound: Sound | ScratchVoice | None = None
    translations: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def kind(self) -> str:
        """The clip's kind, a key of scenes.CLIP_KINDS."""
        return self.brief.subject.kind

    def form(self, asked: str) -> str:
        """The form that it is written in: over footage one with alpha, whatever is asked for."""
        return asked if self.footage is None or FORMS[asked].alpha else "prores-alpha"

    @property
    def frames(self) -> int:
        """Length in frames, handles included."""
        return self.brief.frames + 2 * self.brief.handle_frames

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
    """A lesson's clips in order. `identity` is the lesson's short name, fit for a file name.

    `language` is that of the pictures. `eyes` are the lesson's, each in the words of `aimgeo solve`; `unset` tells
    of the shots that can't be set on its table.
    """

    title: str
    identity: str
    file: str
    clips: tuple[PlannedClip, ...]
    left_out: tuple[LeftOut, ...] = ()
    form: str = "h264"
    language: str = "en"
    eyes: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    unset: tuple[str, ...] = ()
    table: Table = TABLES["9ft"]
    units: str = "mm"
    ball_mm: float = BALL_DIAMETER_MM
    own: tuple[Own, ...] = ()
    """The lesson's own methods."""
    names: Mapping[str, str] = field(default_factory=dict)
    """What people read in place of plain names, in the pictures' language."""
    unplaced: Mapping[str, str] = field(default_factory=dict)
    """The shots that can't be set on the table, each with its reason."""
    notes: tuple[Fault, ...] = ()
    """What may not be meant, and is no fault."""
    preview: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Clips by name with the steps that the preview shows of them; none: all."""
    fonts: tuple[FontFile, ...] = ()
    """The fonts of the lesson's own look: the words', and that of titles and numbers where it has another."""

    @property
    def shots(self) -> tuple[PlacedShot, ...]:
        """The shots that the clips show, each one once."""
        return tuple({shot.identity: shot for clip in self.clips for shot in clip.shots}.values())

    @property
    def words(self) -> Wording:
        """The words and numbers of the pictures' language."""
        return Wording(with_names(words_of(self.language), self.names), self.units, self.ball_mm)

    @property
    def told(self) -> Wording:
        """The words and numbers of the command line, which speaks English."""
        return Wording(with_names(words_of("en"), self.names), self.units, self.ball_mm)

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

        def fits(named: PlannedClip | LeftOut) -> bool:
            return any(fnmatchcase(named.name, pattern) for pattern in patterns)

        return replace(self, clips=tuple(filter(fits, self.clips)), left_out=tuple(filter(fits, self.left_out)))
