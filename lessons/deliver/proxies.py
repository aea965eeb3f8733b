"""Proxies: small films with the same names, frames, timecode and reels as the clips, to cut with."""

from __future__ import annotations

from pathlib import PurePosixPath

from lessons.deliver import Delivered, Wishes
from lessons.deliver.anew import each, whole
from lessons.deliver.footage import Footage
from lessons.rendering.deliveries import recorded
from lessons.rendering.manifest import Clip

FOLDER = "proxies"
LONGEST_PX = 960


def proxy_file(clip: Clip) -> str:
    """A proxy's path in the folder of its clip.

    >>> from fractions import Fraction
    >>> told = dict(kind="title", width_px=2, height_px=2, frames=9, sha256="", steps=(), rate=Fraction(25))
    >>> proxy_file(Clip(**told, name="a", file="course/a.mov"))
    'course/proxies/a.mp4'
    """
    path = PurePosixPath(clip.file)
    return (path.parent / FOLDER / path.stem).as_posix() + ".mp4"


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """proxies/<clip>.mp4, when they are wished for."""
    if not wishes.proxies:
        return Delivered(())
    reels = footage.reels(wishes.delivery or recorded(footage.manifest))
    return Delivered(tuple(each(footage, FOLDER, reels, whole, LONGEST_PX)))
