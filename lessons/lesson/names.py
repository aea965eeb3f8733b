"""Names as people say them: what eyes, distances, methods and balls are called in pictures, words and on paper.

File names, marks and identities keep the plain names.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import Field

from lessons.lesson.fields import Method, Name
from lessons.lesson.texts import ShownText, Strict, Translated, said

Location = tuple[str, str, str]


class Balls(Strict):
    """What the balls are called in pictures."""

    cue_ball: ShownText | None = Field(None, description="The cue ball.")
    object_ball: ShownText | None = Field(None, description="The object ball.")
    ghost_ball: ShownText | None = Field(None, description="The ghost ball.")


class Names(Strict):
    """What people read in place of plain names, such as "Right eye, chin on the line" for right-eye."""

    eyes: dict[Name, ShownText] = Field(default_factory=dict, description="By the eye's plain name.")
    distances: dict[Name, ShownText] = Field(default_factory=dict, description="By the distance's plain name.")
    methods: dict[Method, ShownText] = Field(default_factory=dict, description="By the method's plain name.")
    balls: Balls = Field(default_factory=lambda: Balls.model_validate({}), description="By the ball.")


def names_texts(names: Names) -> Iterator[tuple[Location, Translated]]:
    """Every name, with its location."""
    for part in ("eyes", "distances", "methods"):
        for name, text in getattr(names, part).items():
            yield ("names", part, name), text
    for ball in Balls.model_fields:
        if (text := getattr(names.balls, ball)) is not None:
            yield ("names", "balls", ball), text


def said_names(names: Names, language: str) -> dict[str, str]:
    """The names in a language, by `eye.right-eye`, `distance.far`, `method.ghost_ball`, `ball.cue_ball`."""
    found = {}
    for (_, part, name), text in names_texts(names):
        plain = name.replace("-", "_") if part == "methods" else name
        found[f"{part.removesuffix('s')}.{plain}"] = said(text, language)
    return found


def with_names(words: Mapping[str, Any], names: Mapping[str, str]) -> Mapping[str, Any]:
    """A language's words with some names in place of its own."""
    if not names:
        return words
    called, labels = dict(words["names"]), dict(words["labels"])
    for key, text in names.items():
        part, _, name = key.partition(".")
        if part == "method":
            called[name] = text
        elif part == "ball":
            labels[name] = text
        else:
            called[key] = labels[key] = text
    return {**words, "names": called, "labels": labels}
