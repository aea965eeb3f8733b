"""Printing: a template and its numbers become a PDF, A4 and Letter, tagged and the same bytes every time."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from lessons.deliver.writing import whole_file

TEMPLATES = Path(__file__).parent / "templates"
PAPERS = {"a4": "a4", "letter": "us-letter"}


def print_pdf(template: str, told: Mapping[str, Any], path: Path, paper: str, fonts: Sequence[Path] = ()) -> Path:
    """Set a template of this folder on a paper of PAPERS; the path again.

    The template finds the numbers in `sys.inputs.told` as JSON. PDF/UA-1 is asked for, so that a drawing without
    a description is an error here and not a gap for someone who listens to the page. `fonts` are those of the
    lesson's own look; Inter has the letters that they lack.
    """
    import fontpkg_inter
    import typst

    with TemporaryDirectory(prefix="aimgeo-fonts-") as folder:
        own: list[str] = []
        for n, font in enumerate(fonts):  # each by itself: typst lists families by name, and the words' come first
            place = Path(folder) / str(n)
            place.mkdir()
            shutil.copyfile(font, place / f"font{font.suffix}")
            found = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(place)])
            own += [name for name in found.families() if name not in own]
        page = {
            "paper": PAPERS[paper],
            "made_with": f"aimgeo {version('aimgeo')}",
            "fonts": [*own, "Inter"],
        }
        content = typst.compile(
            str(TEMPLATES / template),
            root=str(TEMPLATES),
            sys_inputs={"told": json.dumps({**told, **page}, ensure_ascii=False, sort_keys=True)},
            font_paths=[folder, str(fontpkg_inter.ROOT / "files")],
            ignore_system_fonts=True,
            pdf_standards=["ua-1"],
        )
    with whole_file(path) as part:
        part.write_bytes(content)
    return path


def dashes() -> dict[str, list[float]]:
    """The dash patterns of the clips' lines, in line widths, so that print and picture speak one language."""
    from scenes.look.dusk import DUSK

    return {role: list(style.dash) for role, style in DUSK.lines.items()}
