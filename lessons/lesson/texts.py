"""What the models of a lesson share: keys that are all known, and texts in one language or several."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    ValidationInfo,
    create_model,
    model_validator,
)

from lessons.lesson.fields import Shown, WhenRead, Words, left_to_right
from lessons.lesson.wording import LANGUAGES


class Strict(BaseModel):
    """Keys that are all known: unknown ones are refused, and the known ones noted for the hint."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)

    @model_validator(mode="before")
    @classmethod
    def _note_known_keys(cls, data: Any, info: ValidationInfo) -> Any:
        if isinstance(data, dict) and info.context is not None:
            info.context[id(data)] = tuple(cls.model_fields)
        return data


class ByLanguage(Strict):
    """A text in several languages, by their codes."""

    @model_validator(mode="before")
    @classmethod
    def _some_left_to_right(cls, data: Any) -> Any:
        if not data:
            raise ValueError("is empty; write the words or leave the key out.")
        for language in data:
            left_to_right(language)
        return data

    def in_language(self, language: str) -> str | None:
        """The text in a language; None when it isn't written in that."""
        text: str | None = getattr(self, language)
        return text


def _in_languages(name: str, text: Any) -> Any:
    """One text for all languages, or a text for each."""
    fields: dict[str, Any] = {
        code: (text | None, Field(None, description=f"In {language}.")) for code, language in LANGUAGES.items()
    }
    translated = create_model(name, __base__=ByLanguage, __doc__=ByLanguage.__doc__, **fields)

    def form(value: Any) -> str:
        return "languages" if isinstance(value, dict | ByLanguage) else "text"

    each: Any = Annotated[text, Tag("text")] | Annotated[translated, WhenRead(), Tag("languages")]
    return Annotated[each, Discriminator(form)]


Translated = str | ByLanguage
if TYPE_CHECKING:
    ShownText: TypeAlias = Translated
    SpokenText: TypeAlias = Translated
else:
    ShownText = _in_languages("ShownByLanguage", Shown)
    SpokenText = _in_languages("SpokenByLanguage", Words)


def said(text: Translated, language: str) -> str:
    """A text in a language. One that is written once is the same in all."""
    return text if isinstance(text, str) else text.in_language(language) or ""
