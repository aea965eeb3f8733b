"""Clips with handles: the timeline uses the middle, an editor finds more on both sides."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import opentimelineio as otio
import pytest
import srt

from lessons.deliver import Wishes, captions, edl, rough_cut, timeline
from lessons.deliver.footage import Footage

HANDLE, USED = 10, 60


def with_handles(told: dict) -> dict:
    for step in told["steps"]:
        step["first_frame"] += HANDLE
        step["end_frame"] += HANDLE
    return told | {"frames": USED + 2 * HANDLE, "handle_frames": HANDLE}


@pytest.fixture
def held(tmp_path: Path, stock: SimpleNamespace) -> Footage:
    """Two clips of 60 frames and 10 more at each end."""
    steps = [("one", 25, "Look here."), ("two", 35, "And now look there.")]
    names = ("first", "second")
    entries = [with_handles(stock.entry(name, USED, (25, 1), steps)) for name in names]
    footage: Footage = stock.write_folder(tmp_path, entries)
    return footage


def test_the_timeline_uses_the_middle_of_what_there_is(held: Footage) -> None:
    """Read back by OpenTimelineIO."""
    timeline.deliver(held, Wishes())
    read = otio.adapters.read_from_file(str(held.folder / "thin-and-full.otio"))
    for clip in read.find_clips():
        assert clip.available_range().duration.to_frames() == USED + 2 * HANDLE
        assert clip.source_range.start_time.to_frames() == HANDLE
        assert clip.source_range.duration.to_frames() == USED
        assert [m.marked_range.start_time.to_frames() for m in clip.markers] == [HANDLE, HANDLE + 25]
    assert read.duration().to_frames() == 2 * USED


def test_the_edit_list_names_the_same_frames(held: Footage) -> None:
    edl.deliver(held, Wishes())
    lines = (held.folder / "thin-and-full.edl").read_text("ascii").splitlines()
    events = [line.split()[-4:] for line in lines if " C " in line]
    assert events == [
        ["00:00:00:10", "00:00:02:20", "01:00:00:00", "01:00:02:10"],
        ["00:00:00:10", "00:00:02:20", "01:00:02:10", "01:00:04:20"],
    ]
    assert [line.split()[2] for line in lines if "CYAN" in line][:2] == ["01:00:00:00", "01:00:01:00"]


def test_a_clips_captions_have_its_own_time_and_the_lessons_that_of_the_timeline(held: Footage) -> None:
    captions.deliver(held, Wishes())
    alone, whole = (
        [c.start for c in srt.parse((held.folder / name).read_text("utf-8"))]
        for name in ("captions/first.srt", "thin-and-full.srt")
    )
    assert alone == [timedelta(seconds=0.4), timedelta(seconds=1.4)]
    assert whole == [timedelta(seconds=s) for s in (0, 1, 2.4, 3.4)]


def test_no_rough_cut_is_made_and_the_reason_told(held: Footage) -> None:
    done = rough_cut.deliver(held, Wishes())
    assert done.files == ()
    assert "the clips have handles" in done.warnings[0]
