"""Films encoded anew from the clips: proxies, captions in the picture, the preview; decoded frame by frame."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import opentimelineio as otio
import pytest

from lessons.deliver import Wishes, captioned, preview_cut, proxies, timeline
from lessons.deliver.anew import within
from lessons.deliver.captions import clip_captions
from lessons.deliver.footage import Footage, measure
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from tests.lessons.deliver.test_changes import NEAR, STEPS, Editor

LESSON = """\
title: T
cuts: [1/2]
sides: left
distances: {near: 300 mm}
output: {size: 320x180, rate: 25}
clips:
  - {kind: title}
  - {kind: table}
"""
TABLE = "table_overlap-1-2_left_near"


def pictures(path: Path) -> list[np.ndarray]:
    with av.open(str(path)) as container:
        return [f.to_ndarray(format="gray").astype(int) for f in container.decode(video=0)]


def greys(path: Path) -> list[int]:
    """The grey of each frame; in the stock's clips neighbours differ by 4 or 5."""
    return [int(np.median(picture)) for picture in pictures(path)]


def apart(one: list[int], other: list[int]) -> int:
    assert len(one) == len(other)
    return max(abs(a - b) for a, b in zip(one, other, strict=True))


def shape(hours: int, reel: str) -> dict[str, object]:
    return {"width_px": 1440, "height_px": 90, "timecode": f"{hours:02}:00:00:05", "reel": reel}


def folder(path: Path, stock: SimpleNamespace) -> Footage:
    """A clip of 1440 pixels with sound and words, and a silent one, each with its own timecode and reel."""
    told = [
        stock.entry("a", 40, (25, 1), [("one", 15, "Look here."), ("two", 25, "Aim.")], **shape(10, "REELONE1")),
        stock.entry("b", 20, (25, 1), [("one", 20, "")], **shape(0, "REELTWO2")),
    ]
    footage: Footage = stock.write_folder(path, told)
    stock.with_tone(footage.path(footage.clips[0]), 440)
    return footage


def test_proxies_are_small_and_pair_with_their_masters(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = folder(tmp_path, stock)
    files = proxies.deliver(footage, Wishes(proxies=True)).files
    assert [p.relative_to(tmp_path).as_posix() for p in files] == ["proxies/a.mp4", "proxies/b.mp4"]
    for clip, path in zip(footage.clips, files, strict=True):
        found = measure(path)
        assert found is not None
        assert (found.frames, found.rate, found.width_px, found.height_px) == (clip.frames, clip.rate, 960, 60)
        with av.open(str(path)) as container:
            (code,) = [s.metadata for s in container.streams if "reel_name" in s.metadata]
            assert (code["timecode"], code["reel_name"]) == (clip.timecode, clip.reel)
            assert [c["metadata"]["title"] for c in container.chapters()] == [s.name for s in clip.steps]
            assert bool(container.streams.audio) == (clip.name == "a")
        assert apart(greys(footage.path(clip)), greys(path)) <= 3
    timeline.deliver(footage, Wishes(proxies=True))
    read = otio.adapters.read_from_file(str(tmp_path / "thin-and-full.otio"))
    (first, _) = read.video_tracks()[0].find_clips()
    media = first.media_references()
    assert first.active_media_reference_key == "DEFAULT_MEDIA"
    assert (media["DEFAULT_MEDIA"].target_url, media["proxy"].target_url) == ("a.mp4", "proxies/a.mp4")
    assert media["proxy"].available_range == media["DEFAULT_MEDIA"].available_range
    assert not proxies.deliver(footage, Wishes()).files


def test_captions_stand_in_the_picture_on_their_frames_and_nowhere_else(
    tmp_path: Path, stock: SimpleNamespace
) -> None:
    told = stock.entry("a", 60, (25, 1), [("one", 30, "Look here."), ("two", 30, "Aim at it.")], width_px=320,
                       height_px=180)  # fmt: skip
    footage = stock.write_folder(tmp_path, [told])
    (path,) = captioned.deliver(footage, Wishes(burned=True)).files
    clip = footage.clips[0]
    captions = clip_captions(clip)
    assert len(captions) == 2
    for k, (plain, burned) in enumerate(zip(pictures(footage.path(clip)), pictures(path), strict=True)):
        rows = np.flatnonzero((np.abs(plain - burned) > 40).any(axis=1))
        is_shown = any(c.first_frame <= k < c.end_frame for c in captions)
        assert bool(len(rows)) == is_shown, k
        if is_shown:
            assert rows.min() > 0.75 * 180
    assert not captioned.deliver(footage, Wishes()).files


def test_the_preview_has_the_marked_steps_in_their_order(tmp_path: Path, stock: SimpleNamespace) -> None:
    told = [stock.entry(n, 40, (25, 1), [("one", 15, ""), ("two", 15, ""), ("three", 10, "")]) for n in ("a", "b")]
    footage = stock.write_folder(tmp_path, told)
    wishes = Wishes(preview=(("b", ("two", "three")), ("a", ("one",)), ("b", ())))
    (path,) = preview_cut.deliver(footage, wishes).files
    one = greys(footage.path(footage.clips[0]))
    assert apart(greys(path), one[15:40] + one[:15] + one) <= 3
    with av.open(str(path)) as container:
        assert [c["metadata"]["title"] for c in container.chapters()] == ["b", "a", "b"]
    assert not preview_cut.deliver(footage, Wishes()).files


def test_marked_steps_are_checked_where_they_stand() -> None:
    made = plan(loads(LESSON + f"preview:\n  - {{clip: title}}\n  - {{clip: {TABLE}, steps: [where]}}\n"))
    assert made.preview == (("title", ()), (TABLE, ("where",)))
    for wrong, says in (
        ("{clip: titel}", "9:18: unknown clip 'titel' in preview; did you mean 'title'?"),
        (f"{{clip: {TABLE}, steps: [were]}}", "9:55: unknown step 'were' in preview; did you mean 'where'?"),
        (", ".join(["{clip: title}"] * 30), "9:10: the preview lasts"),
    ):
        with pytest.raises(LessonError, match=says.replace("?", r"\?")):
            plan(loads(LESSON + f"preview: [{wrong}]\n", "a.yaml"))


def test_sizes_keep_the_shape() -> None:
    assert [within(*size, 960) for size in ((3840, 2160), (1080, 1080), (640, 360))] == [
        (960, 540), (960, 960), (640, 360),
    ]  # fmt: skip


def test_a_conformed_timeline_has_the_newer_proxies_too(tmp_path: Path, stock: SimpleNamespace) -> None:
    editor = Editor(tmp_path, stock)
    editor.render((NEAR, STEPS, {30: 10}))
    editor.deliver("--proxies")
    edited = tmp_path / "edited.otio"
    edited.write_bytes((editor.folder / "thin-and-full.otio").read_bytes())
    editor.render(("called_near", STEPS, {30: 10}))
    editor.deliver("--proxies", "--conform", str(edited))
    (cut,) = otio.adapters.read_from_file(str(tmp_path / "edited_conformed.otio")).find_clips()
    urls = {key: media.target_url for key, media in cut.media_references().items()}
    assert urls == {"DEFAULT_MEDIA": "called_near.mp4", "proxy": "proxies/called_near.mp4"}
    # the proxy of the clip that had another name is gone with it
    assert [p.name for p in (editor.folder / "proxies").iterdir()] == ["called_near.mp4"]
