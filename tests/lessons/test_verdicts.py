"""Lists of verdicts, read back: several reviewers are one list, a clip to be redone is rendered by its mark."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from lessons.cli import main
from lessons.rendering.manifest import ManifestError
from lessons.rendering.verdicts import differences, read_verdicts

HEAD = "\ufeffclip,verdict,note,lesson,version\r\n"


def write(path: Path, *rows: tuple[str, str, str, str]) -> Path:
    told = (f'"{clip}","{verdict}","{note}","a.yaml:1","{version}"\r\n' for clip, verdict, note, version in rows)
    path.write_text(HEAD + "".join(told), "utf-8")
    return path


def test_of_two_reviewers_redo_outweighs_fine_and_both_notes_stay(tmp_path: Path) -> None:
    one = write(tmp_path / "1.csv", ("a", "fine", "", "v1"), ("b", "redo", "thin", "v1"), ("c", "", "", "v1"))
    two = write(
        tmp_path / "2.csv", ("a", "redo", "'=x", "v1"), ("b", "fine", "late", "v1"), ("c", "fine", "", "v2")
    )
    found = {(v.clip, v.version): (v.verdict, v.notes) for v in read_verdicts([one, two])}
    assert found == {
        ("a", "v1"): ("redo", ("=x",)),
        ("b", "v1"): ("redo", ("thin", "late")),
        ("c", "v1"): ("", ()),
        ("c", "v2"): ("fine", ()),
    }
    assert list(differences(read_verdicts([one, two]))) == [
        "a: reviewers differ (1.csv: fine, 2.csv: redo); it counts as redo.",
        "b: reviewers differ (1.csv: redo, 2.csv: fine); it counts as redo.",
    ]


def test_another_table_is_refused_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text("a,b\n1,2\n")
    with pytest.raises(ManifestError, match=r"x\.csv: this is no list of verdicts"):
        read_verdicts([tmp_path / "x.csv"])
    with pytest.raises(ManifestError, match="cannot be read"):
        read_verdicts([tmp_path / "none.csv"])


def test_render_takes_the_clips_to_be_redone(tmp_path: Path) -> None:
    lesson = tmp_path / "tiny.yaml"
    lesson.write_text(
        "title: T\noutput: {size: 320x180, rate: 24}\nclips:\n  - {kind: title}\n  - {kind: section, title: A}\n"
    )
    out = tmp_path / "out"
    words = ["render", str(lesson), "--out", str(out), "--workers", "1", "--redo"]
    fine = write(tmp_path / "fine.csv", ("title", "fine", "", "v1"))
    done = CliRunner().invoke(main, [*words, str(fine)])
    assert done.exit_code == 1
    assert "no clip of the lesson is marked to be redone" in done.output
    redo = write(tmp_path / "redo.csv", ("title", "redo", "smaller", "v1"), ("section_a", "fine", "", "v1"))
    done = CliRunner().invoke(main, [*words, str(redo)])
    assert done.exit_code == 0, done.output
    assert "title: smaller" in done.output
    assert [path.name for path in out.glob("*.mp4")] == ["title.mp4"]

    # the mark was given to another version than the one that is there now
    done = CliRunner().invoke(main, [*words, str(redo)])
    assert done.exit_code == 1
    assert "title: rendered again since it was marked; look at it anew." in done.output
