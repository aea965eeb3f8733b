"""What is delivered, opened without a window by programs that editors use; skipped where one is not installed."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from lessons.deliver import Wishes, timeline
from tests.lessons.deliver.real_programs import PROGRAMS, NotThereError, compare


def held(name: str, frames: int, handle: int, stock: SimpleNamespace) -> dict[str, object]:
    """A clip with handles: its file is longer by both, and its step starts after the first."""
    entry: dict[str, object] = stock.entry(name, frames, (25, 1), [("s", frames, "")])
    step = {"name": "s", "first_frame": handle, "end_frame": handle + frames, "narration": ""}
    return entry | {"frames": frames + 2 * handle, "handle_frames": handle, "steps": [step]}


@pytest.mark.parametrize("name", PROGRAMS)
def test_a_program_shows_the_timeline_as_the_manifest_says(
    name: str, tmp_path: Path, stock: SimpleNamespace
) -> None:
    """Order, in and out, names, and a frame of each clip; the second clip has handles."""
    entries = [
        stock.entry("a", 40, (25, 1), [("s", 40, "")]),
        held("b", 21, 5, stock),
        stock.entry("c", 12, (25, 1), [("s", 12, "")]),
    ]
    footage = stock.write_folder(tmp_path, entries)
    timeline.deliver(footage, Wishes())
    pictures = tmp_path / "pictures"
    pictures.mkdir()
    try:
        assert compare(name, footage, pictures) == []
    except NotThereError as absent:
        pytest.skip(str(absent))
