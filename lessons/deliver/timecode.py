"""Timecode: frames named by hours, minutes, seconds and a frame number."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from lessons.rendering.manifest import Clip

DROP_RATE = Fraction(30000, 1001)


@dataclass(frozen=True, slots=True)
class Timecode:
    """How the frames of a rate are named. Dropping is defined for 30000/1001 and 60000/1001 frames a second."""

    rate: Fraction
    drop: bool

    @property
    def count(self) -> int:
        """Frame numbers in a second: 30 at 29.97."""
        return round(self.rate)

    @property
    def start_frame(self) -> int:
        """The frame called 01:00:00:00, where timelines begin by custom.

        >>> Timecode(DROP_RATE, drop=True).start_frame, Timecode(DROP_RATE, drop=False).start_frame
        (107892, 108000)
        """
        return 3600 * self.count - 54 * self.dropped

    @property
    def dropped(self) -> int:
        """The names that a minute leaves out: 2 at 29.97, 4 at 59.94, none without dropping."""
        return self.count // 15 if self.drop else 0

    def name(self, frame: int) -> str:
        """The frame's name. Dropping leaves out 00 and 01 (to 03 at 59.94) of every minute but each tenth (SMPTE
        ST 12-1).

        >>> Timecode(DROP_RATE, drop=True).name(1799), Timecode(DROP_RATE, drop=True).name(1800)
        ('00:00:59;29', '00:01:00;02')
        """
        if self.drop:
            dropped, minute = self.dropped, 60 * self.count - self.dropped
            tens, rest = divmod(frame, 10 * minute + dropped)
            frame += 9 * dropped * tens + (dropped * ((rest - dropped) // minute) if rest >= dropped else 0)
        seconds, frames = divmod(frame, self.count)
        mark = ";" if self.drop else ":"
        return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}{mark}{frames:02}"

    def frame(self, name: str) -> int:
        """The frame of a name.

        >>> Timecode(DROP_RATE, drop=True).frame("00:01:00;02"), Timecode(
        ...     DROP_RATE, drop=False).frame("00:01:00:02")
        (1800, 1802)
        """
        hours, minutes, seconds, frames = map(int, name.replace(";", ":").split(":"))
        minutes += 60 * hours
        dropped = self.dropped * (minutes - minutes // 10)
        return (60 * minutes + seconds) * self.count + frames - dropped


def timecode_of(rate: Fraction, non_drop: bool) -> Timecode:
    """The way a rate is counted: 29.97 with drop unless asked otherwise, every other rate without."""
    return Timecode(rate, rate == DROP_RATE and not non_drop)


@dataclass(frozen=True, slots=True)
class Source:
    """How a clip's own file is counted, and the number of its first frame."""

    timecode: Timecode
    first_frame: int


def source_of(clip: Clip, timeline: Timecode) -> Source:
    """A file's count: as its own timecode says, or from 0 as the timeline's where it has none.

    >>> told = dict(name="a", file="a.mov", kind="title", width_px=2, height_px=2, frames=9, sha256="", steps=())
    >>> clip = Clip(**told, rate=DROP_RATE, timecode="00:01:00;02")
    >>> source_of(clip, Timecode(DROP_RATE, drop=False)).first_frame
    1800
    """
    if clip.timecode is None:
        return Source(timeline, 0)
    timecode = Timecode(clip.rate, ";" in clip.timecode and clip.rate in (DROP_RATE, 2 * DROP_RATE))
    return Source(timecode, timecode.frame(clip.timecode))
