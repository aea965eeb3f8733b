"""`solve` answers as it did: stored requests that use every key, with the bytes of their answers.

A regression, not a truth: the numbers are our own, from before there were answers for people. A line of
`solved.jsonl.xz` is a request, the next one its answer.
"""

from __future__ import annotations

import io
import lzma
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest

from aimgeo.asking.fields import BY_KEY
from lessons.answering.answer import answer_stream

STORED = lzma.decompress((Path(__file__).parent / "solved.jsonl.xz").read_bytes()).splitlines()
ASKED, ANSWERS = STORED[::2], STORED[1::2]
NUMBER = re.compile(rb"(?<=[:,\[])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?=[,}\]])")
ROUNDING = 1e-9
"""What sine and cosine of another processor may change, in parts of a number or of a millimetre."""


def keys(request: dict[str, Any], within: str = "") -> Iterator[str]:
    for key, value in request.items():
        yield within + key
        if isinstance(value, dict) and key != "points_mm":
            yield from keys(value, f"{within}{key}.")


def test_the_stored_requests_use_every_key() -> None:
    used = {key for line in ASKED for key in keys(orjson.loads(line))}
    assert set(BY_KEY) <= used
    assert len(ASKED) == len(ANSWERS) > 200


def test_answers_are_the_stored_bytes_but_for_rounding() -> None:
    out = io.BytesIO()
    refused = answer_stream(io.BytesIO(b"\n".join(ASKED) + b"\n"), out)
    found = out.getvalue().splitlines()
    assert refused == sum(b'"error":{"code"' in line for line in ANSWERS) > 20
    for now, then in zip(found, ANSWERS, strict=True):
        if now == then:
            continue
        assert NUMBER.sub(b"0", now) == NUMBER.sub(b"0", then)
        numbers = [float(one) for one in NUMBER.findall(now)]
        assert numbers == pytest.approx([float(one) for one in NUMBER.findall(then)], rel=ROUNDING, abs=ROUNDING)
        assert all(orjson.dumps(float(one)) == one for one in NUMBER.findall(now) if b"." in one)
