"""What is made from the code is up to date; `make generate` makes it so."""

from __future__ import annotations

from docs.generate import PART, PARTS, ROOT, made


def test_everything_generated_is_up_to_date() -> None:
    stale = [str(path.relative_to(ROOT)) for path, text in made() if path.read_text(encoding="utf-8") != text]
    assert stale == [], "run `make generate`, and commit what it writes"


def test_every_part_stands_in_some_file() -> None:
    found = {name for path, text in made() for _, name, _, _ in PART.findall(text)}
    assert found == set(PARTS)
