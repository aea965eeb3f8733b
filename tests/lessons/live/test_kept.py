"""Small pictures between starts: what was kept comes back, the rest is made again, the folder stays small."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from lessons.live.kept import Kept, Small
from lessons.live.session import Session, unpacked
from scenes.draw.orders import part_name
from tests.lessons.live.running import BUILD_UP, LESSON


def small(size: int, seed: int = 0) -> Small:
    part = bytes((seed + k * k) % 251 for k in range(size))
    return Small(((part_name(part), 0.5),), {part_name(part): part})


def test_what_was_kept_comes_back_at_the_next_start(tmp_path: Path) -> None:
    Kept(tmp_path).put("a", small(500))
    assert Kept(tmp_path).get("a") == small(500)
    assert Kept(tmp_path).get("b") is None
    assert Kept(None).get("a") is None


@pytest.mark.parametrize("harm", [b"", b"no picture", None])
def test_what_was_harmed_is_made_again(tmp_path: Path, harm: bytes | None) -> None:
    kept = Kept(tmp_path)
    kept.put("a", small(500))
    (path,) = tmp_path.iterdir()
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2] if harm is None else harm)
    assert kept.get("a") is None
    kept.put("a", small(500))
    assert kept.get("a") == small(500)


def test_the_folder_stays_small_and_what_was_looked_at_last_stays(tmp_path: Path) -> None:
    kept = Kept(tmp_path, most_bytes=20_000)
    for k in range(40):
        kept.put(f"k{k}", Small((), {part_name(os.urandom(9)): os.urandom(900)}))
        os.utime(tmp_path / f"k{k}.thumb", (1000 + k, 1000 + k))
        if k == 5:
            kept.put("dear", small(300))
        os.utime(tmp_path / "dear.thumb", (5000, 5000)) if k >= 5 else None
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 20_000
    assert kept.get("dear") == small(300)


def test_a_folder_that_cannot_be_written_is_no_fault(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    kept = Kept(tmp_path / "taken" / "cache")
    kept.put("a", small(10))
    assert kept.get("a") is None


def test_a_clips_small_picture_is_drawn_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def thumb() -> dict:
        heard: list[bytes] = []
        session = Session(tmp_path / "monday.yaml", cache=tmp_path / "cache")
        session.reload(LESSON.encode())
        page = session.join(1, heard.append)
        session.thumb(page, BUILD_UP, 168)
        return {k: v for k, v in unpacked(heard[-1])[0].items() if k != "took_ms"}

    first = thumb()
    assert first["is"] == "thumb"
    assert first["parts"]
    monkeypatch.setattr("lessons.live.session.Orders", None)  # nothing is drawn any more
    assert thumb() == first
