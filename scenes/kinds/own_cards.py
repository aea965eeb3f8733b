"""Cards of the author's own: words, a list that comes line by line, a picture; and a film between the diagrams.

A card has a step for itself, in which its text comes as it is said, and one for each line of its list. Its words
stand on the left, a picture beside them; a picture without words fills the frame as far as it fits. A film is
shown at the lesson's size and rate.
"""

from __future__ import annotations

from dataclasses import dataclass

from scenes.board import Board, Photo, Rect, Shade, Text
from scenes.board.brief import Brief, Media, OutlineStep, Subject
from scenes.board.clauses import Words, bare
from scenes.board.motion import Sheet, frames_of
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind

MOST_LINES = 8
"""Lines of a list: more can't be read from a phone."""
READ_S, TITLE_S = 3.0, 2.0
"""A card stands at least so long; before its list comes, so long."""
SAID_WITH = -1
"""The rows of the card's text: they come as they are said."""
MARKS = {"none": "", "dots": "•", "numbers": "1.", "boxes": ""}
TITLE_STYLES = ("card_title", "card_title_long", "title")
TEXT_STYLES = ("title", "heading", "card_text")


@dataclass(frozen=True, slots=True)
class OwnCardSettings(Settings):
    """What may be set of a card."""

    marks: str = setting("dots", "what stands before the lines of its list", choices=tuple(MARKS))


@dataclass(frozen=True, slots=True)
class FilmSettings(Settings):
    """What may be set of a film."""

    fit: str = setting(
        "whole", "the whole picture, or so large that it fills the frame", choices=("whole", "fill")
    )
    sound: bool = setting(True, "whether its sound is heard")


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """The card, then the lines of its list one by one."""
    if subject.listed > MOST_LINES:
        raise ValueError(f"a card lists {MOST_LINES} lines at most, not {subject.listed}")
    lines = (OutlineStep(f"line {k}", "card.line", draws_s=1.0) for k in range(1, subject.listed + 1))
    return (OutlineStep("card", "card.card", draws_s=TITLE_S if subject.listed else READ_S), *lines)


def board(brief: Brief) -> Board:
    """The card. ValueError where its words find no room."""
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet, media = Sheet(), brief.subject.media
    said = [key for key in ("title", "over", "under", "text", "line.1") if brief.labels.get(key, "").strip()]
    room: Rect = _words_room(frame, media is not None)
    if media is not None:
        beside = _picture_room(frame) if said else (0.0, 0.0, float(frame.width_px), float(frame.height_px))
        put_photo(sheet, "picture", media, within(media, beside), (0, 1))
    if said:
        _put_words(sheet, frame, brief, room)
    return sheet.board(brief, ())


def within(media: Media, room: Rect, fills: bool = False) -> Rect:
    """The largest rectangle of the media's shape in a room, in its middle; or the smallest that covers it."""
    x, y, w, h = room
    pick = max if fills else min
    scale = pick(w / media.width_px, h / media.height_px)
    wide, high = media.width_px * scale, media.height_px * scale
    return (x + (w - wide) / 2, y + (h - high) / 2, wide, high)


def put_photo(sheet: Sheet, id: str, media: Media, rect: Rect, shown: tuple[int, int]) -> None:
    """A picture from the first frame on, or fading in."""
    sheet.put(id, Photo(media.file, media.sha256, rect), "area", "picture", opacity=0.0 if shown[0] else 1.0)
    if shown[0]:
        sheet.show(id, shown)


def _words_room(frame: Layout, is_shared: bool) -> Rect:
    x, y, w, h = frame.title_safe
    if frame.shape == "wide":
        return (x, y, (0.50 if is_shared else 1.0) * w, h)
    top = 0.46 if is_shared else 0.06
    return (x, y + top * h, w, (1 - top - (0.12 if frame.shape == "tall" else 0.0)) * h)


def _picture_room(frame: Layout) -> Rect:
    x, y, w, h = frame.title_safe
    if frame.shape == "wide":
        return (x + 0.54 * w, y, 0.46 * w, h)
    return (x, y, w, 0.42 * h)


def _put_words(sheet: Sheet, frame: Layout, brief: Brief, room: Rect) -> None:
    """Over, title, under, text and list, in the largest type in which all of it fits."""
    for title_style in TITLE_STYLES:
        for text_style in TEXT_STYLES:
            rows = _rows(frame, brief, room, title_style, text_style)
            if rows is not None:
                break
        else:
            continue
        break
    else:
        raise ValueError("the card's words find no room; make them shorter, or two cards of one")
    fade = frames_of(TIMING.fade_s, brief.output.rate)
    first_of = {n: first for n, (first, _) in enumerate(brief.spans)}
    words = Words(brief.steps[0], brief.spans[0], brief.labels)
    said = words.of(("text",))
    before, count = 0, max(len(bare(brief.labels.get("text", ""))), 1)
    read: list[tuple[str, int]] = []
    for n, (text, line, mark) in enumerate(rows):
        role = f"line.{line}" if line > 0 else "title"
        if line == SAID_WITH:
            role = f"text.{before}"
            first_of[SAID_WITH] = 0 if said is None else said[0] + (words.said_by - said[0]) * before // count
            line = SAID_WITH if first_of[SAID_WITH] else 0
            before += len(bare(text.text))
        ids = [sheet.put(f"words.{n}", text, "text", role, opacity=0.0 if line else 1.0)]
        if mark is not None:
            layer = "area" if isinstance(mark, Shade) else "text"
            ids.append(sheet.put(f"mark.{n}", mark, layer, "mark", opacity=0.0 if line else 1.0))  # type: ignore[arg-type]
        if line:
            first = first_of[line]
            for id in ids:
                sheet.show(id, (first, first + fade))
            if line == SAID_WITH:
                read.append((ids[0], first + fade))
    # each row is read along until the next one comes
    for (id, begins), ends in zip(read, [*(first for _, first in read), words.said_by][1:], strict=True):
        sheet.point(id, (begins, ends))


Row = tuple[Text, int, Text | Shade | None]
"""A line of text, the step that shows it (0: the card's own, from the first frame on), what stands before it."""


def _rows(frame: Layout, brief: Brief, room: Rect, title_style: str, text_style: str) -> list[Row] | None:
    """All rows in these styles; None where they find no room."""
    s, (x, y, w, h) = frame.scale, room
    rows: list[Row] = []
    at = 0.0
    marks = OwnCardSettings.of(brief.subject).marks

    def add(text: str, style: str, before: float, line: int = 0, indent: float = 0.0, most: int = 99) -> bool:
        nonlocal at
        size = s.text_px(style)
        parts = [
            part
            for given in text.split("\n")
            for part in even_lines(given.strip(), w - indent, lambda t: s.text_width_px(t, style))
            if part
        ]
        if len(parts) > most or any(s.text_width_px(part, style) > w - indent for part in parts):
            return False
        at += before * size
        for k, part in enumerate(parts):
            at += (1.0 if k else 0.80) * 1.22 * size if at else 0.80 * size
            mark: Text | Shade | None = None
            if line > 0 and not k and marks != "none":
                if marks == "boxes":
                    side = 0.62 * size
                    mark = Shade((x, y + at - side, side, side), "window_edge")
                else:
                    mark = Text(f"{line}." if marks == "numbers" else "•", (x, y + at), style)
            rows.append((Text(part, (x + indent, y + at), style), line, mark))
        return True

    labels = brief.labels
    fits = True
    if over := labels.get("over"):
        fits &= add(over, "card_over", 0.0)
    if title := labels.get("title", "").strip():
        fits &= add(title, title_style, 0.5 if rows else 0.0, most=3)
    if under := labels.get("under"):
        fits &= add(under, "card_text", 0.7)
    if text := labels.get("text"):
        fits &= add(text, text_style, 1.1, SAID_WITH)
    indent = 1.5 * s.text_px(text_style) if marks != "none" else 0.0
    for k in range(1, brief.subject.listed + 1):
        fits &= add(labels[f"line.{k}"], text_style, 1.1 if k == 1 else 0.45, k, indent)
    bottom = at + 0.3 * s.text_px(text_style)
    if not fits or bottom > h:
        return None
    down = (h - bottom) / 2
    return [(_lower(text, down), line, _lower(mark, down)) for text, line, mark in rows]  # type: ignore[misc]


def _lower(shape: Text | Shade | None, by: float) -> Text | Shade | None:
    if isinstance(shape, Text):
        return Text(shape.text, (shape.at_px[0], shape.at_px[1] + by), shape.style, shape.align)
    if isinstance(shape, Shade):
        x, y, w, h = shape.rect_px
        return Shade((x, y + by, w, h), shape.style, shape.radius_px)
    return None


def film_outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """One step, as long as the film."""
    if subject.media is None or subject.media.film_s is None:
        raise ValueError("this clip needs a film")
    first, last = subject.media.film_s
    return (OutlineStep("film", "film.film", draws_s=last - first),)


def film_board(brief: Brief) -> Board:
    """The film, from its first frame on; its last one stands where the words last longer."""
    media = brief.subject.media
    assert media is not None
    assert media.film_s is not None
    first, last = media.film_s
    sheet = Sheet()
    full: Rect = (0.0, 0.0, float(brief.output.width_px), float(brief.output.height_px))
    rect = within(media, full, FilmSettings.of(brief.subject).fit == "fill")
    sheet.put(
        "film", Photo(media.file, media.sha256, rect, media.film_s), "table", "film", opacity=1.0, drawn=1e-9
    )
    fps, length = brief.output.fps, last - first
    shown = [(min(max((k + 0.5) / fps / length, 1e-9), 1.0),) for k in range(brief.frames)]
    sheet.follow("film", "drawn", 0, shown)
    return sheet.board(brief, ())


CARD = Kind(
    "card",
    "a card of your own: words, a list that comes line by line, a picture",
    outline,
    board,
    settings=OwnCardSettings,
    texts=("title", "over", "under", "text", "lines", "picture"),
    is_named_by_title=True,
)
FILM = Kind(
    "film",
    "a filmed clip between the diagrams, at the lesson's size and rate, with its sound",
    film_outline,
    film_board,
    settings=FilmSettings,
    is_film=True,
)
