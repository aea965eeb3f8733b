"""Pictures of the clips: a poster each, the lesson's thumbnail, and sheets of all posters with their names."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.over_footage import preview_of
from lessons.deliver.writing import whole_file
from lessons.lesson.wording import Wording
from lessons.rendering.decoded import decoded
from lessons.rendering.manifest import Clip, poster_frame, thumbnail_frame
from scenes.look.dusk import DUSK
from scenes.look.fonts import em, font_file, own_font

if TYPE_CHECKING:
    from PIL import Image, ImageFont

COLUMNS, ROWS = 4, 6
CELL_PX, GAP_PX, MARGIN_PX, CAPTION_PX = 480, 28, 56, 76
THUMBNAIL_PX = 1280
PLATFORM_SIZES = ((1280, 720), (1080, 1920))
"""Thumbnails as video platforms take them, wide and upright: common practice."""
SMALL_PX = 240
"""Twice the width at which the review page lists the clips."""
GROUND, CARD, TEXT, FAINT = DUSK.surround, DUSK.plate, DUSK.front, DUSK.secondary
JPEG: dict[str, Any] = {"format": "JPEG", "quality": 92, "subsampling": 0}


def poster_of(clip: Clip) -> int:
    """The frame that stands for a clip; a manifest of an earlier revision does not name it."""
    if clip.poster_frame is not None:
        return clip.poster_frame
    return poster_frame(clip.steps, clip.still, clip.frames, clip.hides_its_answer)


def thumbnail_of(clip: Clip) -> int:
    """The frame that stands for a clip where it is small; a manifest of an earlier revision does not name it."""
    if clip.thumbnail_frame is not None:
        return clip.thumbnail_frame
    return thumbnail_frame(clip.steps, clip.still, clip.frames, clip.width_px, clip.hides_its_answer)


def read_frame(path: Path, frame: int, rate: Fraction) -> Image.Image:
    """A frame of a video as an RGB picture, by seeking to it; IndexError when the video has no such frame."""
    import av

    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        base = stream.time_base or Fraction(1)
        first = stream.start_time or 0
        wanted = first + round(frame / rate / base)
        container.seek(wanted, stream=stream)
        for picture in decoded(container, stream):
            if picture.pts is not None and (picture.pts - wanted) * base * rate * 2 > -1:
                if (picture.pts - wanted) * base * rate * 2 >= 1:
                    break
                return as_picture(picture)
    raise IndexError(f"{path} has no frame {frame}")


def shown_file(footage: Footage, clip: Clip) -> Path:
    """The file that shows a clip as it will look: with its footage underneath, where there is one."""
    over = footage.folder / preview_of(clip)
    return over if clip.filmed is not None and over.is_file() else footage.path(clip)


def as_picture(frame: Any) -> Image.Image:
    """A decoded frame as an RGB picture; one with alpha lies on the sheets' ground."""
    from PIL import Image

    # untagged video is taken for BT.601 otherwise, and reds shift
    if not any(component.is_alpha for component in frame.format.components):
        return frame.reformat(format="rgb24", src_colorspace="itu709").to_image()
    drawn = Image.fromarray(frame.reformat(format="rgba", src_colorspace="itu709").to_ndarray(), "RGBA")
    return Image.alpha_composite(Image.new("RGBA", drawn.size, GROUND), drawn).convert("RGB")


def write_picture(path: Path, picture: Image.Image) -> Path:
    """Write a JPEG; the path again."""
    with whole_file(path) as part:
        picture.save(part, **JPEG)
    return path


def contact_sheet(
    title: str, cells: list[tuple[Image.Image, str, str]], fonts: Sequence[Path] = ()
) -> Image.Image:
    """Posters in rows under a title, each with two lines: its name, and what it shows. `fonts` are those of the
    lesson's own look, the words' first; titles have the last.
    """
    from PIL import Image, ImageDraw

    heights = [round(CELL_PX * p.height / p.width) for p, _, _ in cells]
    row_px = max(heights) + CAPTION_PX + GAP_PX
    columns = min(COLUMNS, len(cells))
    rows = -(-len(cells) // columns)
    size = (2 * MARGIN_PX + columns * (CELL_PX + GAP_PX) - GAP_PX, 2 * MARGIN_PX + 72 + rows * row_px - GAP_PX)
    sheet = Image.new("RGB", size, GROUND)
    draw = ImageDraw.Draw(sheet)
    words, titles = (fonts[0], fonts[-1]) if fonts else (None, None)
    large, middle, plain = font(34, 660, titles), font(17, 560, titles), font(17, 460, words)
    draw.text((MARGIN_PX, MARGIN_PX), fitted(title, large, size[0] - 2 * MARGIN_PX), TEXT, large)
    for k, (poster, name, about) in enumerate(cells):
        x = MARGIN_PX + (k % columns) * (CELL_PX + GAP_PX)
        y = MARGIN_PX + 72 + (k // columns) * row_px
        sheet.paste(poster.resize((CELL_PX, heights[k]), Image.Resampling.LANCZOS), (x, y))
        y += heights[k] + 12
        draw.text((x, y), fitted(name, middle, CELL_PX), TEXT, middle)
        draw.text((x, y + 27), fitted(about, plain, CELL_PX), FAINT, plain)
    return sheet


def titled_thumbnail(
    poster: Image.Image, title: str, size: tuple[int, int], letters: Path | None = None
) -> Image.Image:
    """A poster with a title at a size: the poster as wide or as high as fits, the title in what it leaves.

    Where it leaves nothing the title lies over its lower part.
    """
    from PIL import Image, ImageDraw

    width, height = size
    part = min(width / poster.width, height / poster.height)
    picture = poster.resize((round(poster.width * part), round(poster.height * part)), Image.Resampling.LANCZOS)
    made = Image.new("RGB", size, GROUND)
    pad = round(0.06 * min(size))
    beside, below = width - picture.width, height - picture.height
    if beside > 0.2 * width:
        made.paste(picture, (beside, 0))
        box = (pad, pad, beside - 2 * pad, height - 2 * pad)
    elif below > 0.2 * height:
        above = round(0.6 * below)
        made.paste(picture, (0, above))
        box = (pad, pad, width - 2 * pad, above - 2 * pad)
    else:
        made.paste(picture, (beside // 2, below // 2))
        box = (pad, round(0.66 * height), width - 2 * pad, round(0.34 * height) - pad)
        veil = Image.new("L", (1, box[3] + 2 * pad))
        veil.putdata([min(round(500 * k / veil.height), 235) for k in range(veil.height)])
        made.paste(GROUND, (0, height - veil.height, width, height), veil.resize((width, veil.height)))
    draw = ImageDraw.Draw(made)
    letters_px, lines = _title_lines(title, box[2], box[3], round(0.15 * min(size)), letters)
    face, pitch = font(letters_px, 720, letters), 1.15 * letters_px
    top = box[1] + (box[3] - pitch * len(lines)) / 2
    for k, line in enumerate(lines):
        draw.text((box[0], top + (k + 0.5) * pitch), line, TEXT, face, anchor="lm")
    return made


def _title_lines(title: str, width: int, height: int, size_px: int, letters: Path | None) -> tuple[int, list[str]]:
    """A title broken into lines that fit, and the largest letters with which they do."""
    words = title.split()
    while True:
        face = font(size_px, 720, letters)
        lines = words[:1]
        for word in words[1:]:
            if face.getlength(f"{lines[-1]} {word}") <= width:
                lines[-1] += f" {word}"
            else:
                lines.append(word)
        widest = max(map(face.getlength, lines), default=0.0)
        if size_px <= 12 or (widest <= width and 1.15 * size_px * len(lines) <= height):
            return size_px, lines
        size_px -= max(size_px // 16, 1)


def font(size_px: int, weight: int, own: Path | None = None) -> ImageFont.FreeTypeFont:
    """The bundled font at a size and weight; or one of the lesson's own, its capitals as high."""
    from PIL import ImageFont

    if own is not None:
        return ImageFont.truetype(str(own), em(own_font(own)) * size_px)
    face = ImageFont.truetype(str(font_file()), size_px)
    face.set_variation_by_axes([14 if size_px < 24 else 32, weight])
    return face


def fitted(text: str, face: ImageFont.FreeTypeFont, width_px: float) -> str:
    """The text, its middle left out when it is wider than there is room: the ends of names differ most."""
    if face.getlength(text) <= width_px:
        return text
    for kept in range(len(text) - 1, 1, -1):
        short = text[: kept - kept // 2].rstrip() + "…" + text[len(text) - kept // 2 :].lstrip()
        if face.getlength(short) <= width_px:
            return short
    return "…"


def about(clip: Clip, wording: Wording) -> str:
    """What a clip shows, in a few words: '14.5° left, near, 9.4 s'. A quiz keeps its cut to itself."""
    words = []
    if clip.cut_deg is not None and not clip.hides_its_answer:
        side = wording.words["names"].get(clip.side, "")
        words.append(f"{wording.decimal(clip.cut_deg, 1)}° {side}".strip())
    words += [
        wording.called(part, name) for part, name in (("distance", clip.distance_name), ("eye", clip.eye)) if name
    ]
    seconds = wording.decimal(float(clip.frames / clip.rate), 1)
    return ", ".join([*words, f"{seconds} {wording.words['printed']['short_second']}"])


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """pictures/<clip>.jpg and pictures/small/<clip>.jpg, <lesson>.jpg and in platforms' sizes,
    and pictures/contact-sheet_<n>.jpg.
    """
    from PIL import Image

    folder = footage.folder / "pictures"
    wording = footage.wording()
    files: list[Path] = []
    smalls: list[Path] = []
    cells: list[tuple[Image.Image, str, str]] = []
    sheets: list[Path] = []
    thumbnail: Image.Image | None = None
    names = [clip.name for clip in footage.clips]
    for k, clip in enumerate(footage.clips):
        poster = read_frame(shown_file(footage, clip), poster_of(clip), clip.rate)
        files.append(write_picture(folder / f"{clip.name}.jpg", poster))
        stands_small = poster
        if thumbnail_of(clip) != poster_of(clip):
            stands_small = read_frame(shown_file(footage, clip), thumbnail_of(clip), clip.rate)
        small = stands_small.copy()
        small.thumbnail((SMALL_PX, SMALL_PX))
        smalls.append(write_picture(folder / "small" / f"{clip.name}.jpg", small))
        if thumbnail is None and clip.method and not clip.hides_its_answer:
            thumbnail = stands_small
        cells.append(
            (
                poster.resize((CELL_PX, round(CELL_PX * poster.height / poster.width))),
                clip.name,
                about(clip, wording),
            )
        )
        if len(cells) == COLUMNS * ROWS or k == len(names) - 1:
            path = folder / f"contact-sheet_{len(sheets) + 1}.jpg"
            sheets.append(write_picture(path, contact_sheet(footage.title, cells, footage.fonts)))
            cells = []
    thumbnail = thumbnail or Image.open(files[0]).convert("RGB")
    platforms = [
        write_picture(
            footage.folder / f"{footage.identity}_{size[0]}x{size[1]}.jpg",
            titled_thumbnail(thumbnail, footage.title, size, footage.fonts[-1] if footage.fonts else None),
        )
        for size in PLATFORM_SIZES
    ]
    thumbnail.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX))
    plain = write_picture(footage.folder / f"{footage.identity}.jpg", thumbnail)
    return Delivered((plain, *sheets, *files, *smalls, *platforms))
