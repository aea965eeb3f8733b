"""Captions in the picture: the clips that have words, with their captions burned in, to publish as they are."""

from __future__ import annotations

from lessons.deliver import Delivered, Wishes
from lessons.deliver.anew import Cut, each, whole
from lessons.deliver.captions import clip_captions
from lessons.deliver.footage import Footage
from lessons.rendering.deliveries import recorded
from lessons.rendering.manifest import Clip

FOLDER = "captioned"


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """captioned/<clip>.mp4 for every clip with words, when they are wished for."""
    if not wishes.burned:
        return Delivered(())

    def cut(clip: Clip) -> Cut | None:
        captions = clip_captions(clip)
        return whole(clip, captions, footage.letters) if captions else None

    reels = footage.reels(wishes.delivery or recorded(footage.manifest))
    return Delivered(tuple(each(footage, FOLDER, reels, cut, None)))
