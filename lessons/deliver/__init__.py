"""What the editor and the instructor receive, all of it made from the clips' manifest without rendering again.

To add something: write its module here, with `deliver(footage, wishes)`, and add its line to DELIVERIES.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from aimgeo.methods.own import OwnMethod
    from lessons.rendering.deliveries import Delivery


@dataclass(frozen=True, slots=True)
class OwnWishes:
    """The methods of a lesson's own, by name, and the pictures' words with theirs."""

    methods: Mapping[str, OwnMethod]
    words: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the editor asked for: frame numbers of 29.97 counted without dropping, a timeline with its media, every
    picture as a file, moving previews, timelines with whole paths, proxies, captions burned into the pictures,
    metadata files, and the narration at a loudness (LUFS).

    `preview` are clips by name with the steps that the author marked; `accuracy` are the rows of the lesson's
    accuracy table, `titles` those of the cards by clip and `own` the methods of the lesson's own with their words,
    which the manifest does not tell; `delivery` is this delivery's record: the clips' lasting identities, and what
    changed.
    """

    non_drop: bool = False
    bundle: bool = False
    frames: bool = False
    previews: bool = False
    absolute: bool = False
    proxies: bool = False
    burned: bool = False
    metadata: bool = False
    lufs: float | None = None
    preview: tuple[tuple[str, tuple[str, ...]], ...] = ()
    accuracy: tuple[Mapping[str, Any], ...] = ()
    delivery: Delivery | None = None
    titles: Mapping[str, str] = field(default_factory=dict)
    own: OwnWishes | None = None


@dataclass(frozen=True, slots=True)
class Delivered:
    """The files written, in the order to be listed, and sentences about what deserves a second look."""

    files: tuple[Path, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Item:
    """Something that is delivered: its module, and what it is in a few words.

    The module has `deliver(footage: Footage, wishes: Wishes) -> Delivered`.
    """

    module: str
    says: str

    def load(self) -> ModuleType:
        """The module that makes it."""
        return import_module(self.module)


DELIVERIES: dict[str, Item] = {
    "captions": Item("lessons.deliver.captions", "captions, SRT and WebVTT, a clip and the lesson"),
    "timeline": Item("lessons.deliver.timeline", "timeline, OpenTimelineIO and XML, with step markers"),
    "fcpxml": Item("lessons.deliver.fcpxml", "timeline, FCPXML"),
    "edl": Item("lessons.deliver.edl", "edit decision list, CMX 3600"),
    "lists": Item("lessons.deliver.lists", "table of shots, and chapters for video platforms"),
    "rough cut": Item("lessons.deliver.rough_cut", "all clips as one video, with chapters and captions"),
    "loudness": Item("lessons.deliver.loudness", "how loud the narration is, by EBU R 128"),
    "captioned": Item("lessons.deliver.captioned", "clips with captions in the picture"),
    "proxies": Item("lessons.deliver.proxies", "small films with the same names, frames and timecode"),
    "preview": Item("lessons.deliver.preview_cut", "the steps marked for it, as one short film"),
    "metadata": Item("lessons.deliver.metadata", "metadata for an editor's bins, XMP"),
    "over footage": Item("lessons.deliver.over_footage", "clips over footage with it underneath, MP4"),
    "pictures": Item("lessons.deliver.pictures", "posters, thumbnail and contact sheets"),
    "previews": Item("lessons.deliver.previews", "moving pictures of the clips, GIF"),
    "frames": Item("lessons.deliver.frames", "every picture of the clips as a PNG file"),
    "set-up sheets": Item("lessons.deliver.set_up_sheets", "a page a shot, to place real balls"),
    "practice": Item("lessons.deliver.practice_sheets", "practice sheets: places, eyes, true-scale templates"),
    "aim charts": Item("lessons.deliver.aim_charts", "a chart a method: cuts, marks, near and far"),
    "review page": Item("lessons.deliver.review_page", "a page to watch and judge the clips"),
}
