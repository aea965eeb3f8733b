"""Picture sequences: the clips that hold PNG pictures, each picture as a file of its own."""

from __future__ import annotations

from pathlib import Path

from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.writing import whole_file


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """frames/<clip>/<clip>_00000001.png and so on, when they are wished for: the clips' own pictures, copied out.

    The clips must be rendered in the form png-alpha, which holds them.
    """
    if not wishes.frames:
        return Delivered(())
    files: list[Path] = []
    for clip in footage.clips:
        pictures = packets(footage.path(clip))
        if pictures is None:
            return Delivered(
                tuple(files),
                (f"{clip.where}: {clip.file} holds no PNG pictures; render with --form png-alpha first.",),
            )
        for number, content in enumerate(pictures, 1):
            path = footage.folder / "frames" / clip.name / f"{clip.name}_{number:08}.png"
            with whole_file(path) as part:
                part.write_bytes(content)
            files.append(path)
    return Delivered(tuple(files))


def packets(path: Path) -> list[bytes] | None:
    """The pictures of a clip as PNG files' contents, in showing order; None when it holds no PNG."""
    import av

    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        if stream.codec_context.name != "png":
            return None
        found = [(p.pts, bytes(p)) for p in container.demux(stream) if p.pts is not None]
    return [content for _, content in sorted(found, key=lambda p: p[0])]
