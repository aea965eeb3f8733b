"""Pictures and films that a lesson names: found beside it, looked into, and their digests."""

from __future__ import annotations

from pathlib import Path

from scenes.board.brief import Media
from scenes.files import sha256

PICTURES = (".png", ".jpg", ".jpeg", ".svg")
MOST_PICTURE_BYTES, MOST_SVG_BYTES, MOST_SIDE_PX = 60_000_000, 1_000_000, 16_000
LONGEST_S = 1800.0
_KNOWN: dict[tuple[str, int, int], Media] = {}
"""By path, size and time of change: a live page asks after every keystroke."""


def _found(name: str, folder: Path, what: str) -> tuple[Path, tuple[str, int, int]]:
    path = folder / name
    try:
        if not path.is_file():
            raise ValueError(f"there is no {what} '{name[:80]}' beside the lesson; check the name.")
        told = path.stat()
    except OSError as error:
        raise ValueError(
            f"the {what} '{name[:80]}' can't be read: {(error.strerror or str(error)).lower()}."
        ) from None
    return path, (path.as_posix(), told.st_size, told.st_mtime_ns)


def picture(name: str, folder: Path) -> Media:
    """A picture beside a lesson. ValueError with a sentence where it can't be used."""
    path, key = _found(name, folder, "picture")
    if key in _KNOWN:
        return _KNOWN[key]
    if path.suffix.lower() not in PICTURES:
        raise ValueError(f"'{name[:80]}' is no picture that can be shown; save it as PNG, JPEG or SVG.")
    is_svg = path.suffix.lower() == ".svg"
    if key[1] > (MOST_SVG_BYTES if is_svg else MOST_PICTURE_BYTES):
        raise ValueError(
            f"the picture '{name[:80]}' is larger than {MOST_PICTURE_BYTES // 1_000_000} MB; save it smaller."
        )
    try:
        width, height = _svg_size(path) if is_svg else _size(path)
    except Exception as error:  # noqa: BLE001 - readers of pictures raise anything for a broken file
        told = str(error) if isinstance(error, ValueError) and str(error).startswith("gives") else "can't be read"
        raise ValueError(f"the picture '{name[:80]}' {told}; save it once more as PNG, JPEG or SVG.") from None
    if max(width, height) > MOST_SIDE_PX and not is_svg:
        raise ValueError(
            f"the picture '{name[:80]}' is {width:g} x {height:g} pixels; at most {MOST_SIDE_PX} a side."
        )
    _KNOWN[key] = Media(path.as_posix(), sha256(path), width, height)
    return _KNOWN[key]


def _svg_size(path: Path) -> tuple[float, float]:
    from scenes.draw.photos import still, svg_size_px

    size = svg_size_px(str(path))
    still(str(path), "", 64, 64)  # whether it can be drawn
    return size


def _size(path: Path) -> tuple[float, float]:
    from PIL import Image, ImageOps

    with Image.open(path, formats=("PNG", "JPEG")) as opened:
        opened.load()
        turned = ImageOps.exif_transpose(opened) or opened
        return float(turned.width), float(turned.height)


def film(name: str, folder: Path, begin: float | None, end: float | None) -> tuple[Media, bool]:
    """A film beside a lesson, from a second to another, and whether it has sound. ValueError with a sentence."""
    path, key = _found(name, folder, "film")
    if (known := _FILMS.get(key)) is None:
        from scenes.draw.photos import film_told

        try:
            known = _FILMS[key] = (sha256(path), *film_told(path))
        except ValueError as error:
            raise ValueError(f"the film '{name[:80]}' {error}; save it as MP4 or MOV.") from None
    digest, width, height, length, has_sound = known
    first, last = begin or 0.0, length if end is None else end
    if not 0 <= first < last <= length + 0.05:
        raise ValueError(
            f"the film '{name[:80]}' lasts {length:.1f} s; it can't be shown from {first:g} to {last:g} s."
        )
    if last - first > LONGEST_S:
        raise ValueError(f"the film '{name[:80]}' lasts {last - first:.0f} s; at most {LONGEST_S:g} s are shown.")
    return Media(path.as_posix(), digest, width, height, (first, min(last, length))), has_sound


_FILMS: dict[tuple[str, int, int], tuple[str, float, float, float, bool]] = {}
