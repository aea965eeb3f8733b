"""The preview: the steps that the author marked, as one short film to show before anyone buys."""

from __future__ import annotations

from itertools import accumulate

from lessons.deliver import Delivered, Wishes
from lessons.deliver.anew import Cut, write_film
from lessons.deliver.burning import place_of
from lessons.deliver.captions import clip_captions
from lessons.deliver.footage import Footage
from lessons.deliver.timecode import timecode_of
from lessons.rendering.deliveries import reel
from scenes.board import StepSpan


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>_preview.mp4, when the lesson marks steps; with captions in the picture where clips have them."""
    cuts = preview_cuts(footage, wishes)
    if not cuts:
        return Delivered(())
    first = cuts[0].clip
    ends = list(accumulate(cut.frames for cut in cuts))
    steps = [StepSpan(cut.clip.name, end - cut.frames, end) for cut, end in zip(cuts, ends, strict=True)]
    timecode = timecode_of(first.rate, non_drop=False).name(0)
    path = footage.folder / f"{footage.identity}_preview.mp4"
    size = (first.width_px, first.height_px)
    return Delivered(
        (write_film(footage, path, cuts, size, steps, reel(f"preview {footage.identity}"), timecode),)
    )


def preview_cuts(footage: Footage, wishes: Wishes) -> tuple[Cut, ...]:
    """The marked steps in their order, those that follow each other in a clip as one cut."""
    clips = {clip.name: clip for clip in footage.clips}
    cuts: list[Cut] = []
    for name, names in wishes.preview:
        if name not in clips:
            continue
        clip = clips[name]
        captions = clip_captions(clip) if wishes.burned else ()
        place = place_of(clip, captions, footage.letters)
        for step in clip.steps:
            if names and step.name not in names:
                continue
            if cuts and cuts[-1].clip is clip and cuts[-1].end_frame == step.first_frame:
                cuts[-1] = Cut(clip, cuts[-1].first_frame, step.end_frame, captions, place)
            else:
                cuts.append(Cut(clip, step.first_frame, step.end_frame, captions, place))
    return tuple(cuts)
