"""Work counted, not timed: the same on a busy machine and an idle one."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any


@contextmanager
def at_most_calls(most: int) -> Iterator[None]:
    """Fail when the block calls more than so many functions, Python's and built-in ones."""
    count = 0

    def seen(_frame: FrameType, event: str, _what: Any) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(seen)
    try:
        yield
    finally:
        sys.setprofile(before)
    assert count <= most, f"{count:,} calls"
