"""The pictures of a video file with their alpha."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any


def decoded(container: Any, stream: Any) -> Iterator[Any]:
    """The frames of a stream, from where the container stands. FFmpeg's own VP9 decoder leaves alpha out: there
    libvpx decodes.
    """
    if stream.metadata.get("alpha_mode") != "1":
        yield from container.decode(stream)
        return
    import av

    context = av.CodecContext.create("libvpx-vp9", "r")
    for packet in container.demux(stream):
        yield from context.decode(packet if packet.size else None)
