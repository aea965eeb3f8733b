"""The standard streams of a command: one that fails ends no work half-way, and no name steers a terminal."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO

import click

STEERING = [*range(0x09), *range(0x0B, 0x20), *range(0x7F, 0xA0), *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
PLAIN = {code: f"\\u{code:04x}" for code in STEERING}
"""Control characters, and what turns the direction of writing; a tab and the end of a line are none."""


def plain(text: str) -> str:
    r"""The text with what would steer a terminal written out, in a form that JSON takes too.

    >>> plain("\x1b[31mred")
    '\\u001b[31mred'
    """
    return text.translate(PLAIN)


class Stream:
    """A standard stream. What is written after it has failed goes nowhere; `lost` is why."""

    def __init__(self, stream: TextIO) -> None:
        self.lost: OSError | None = None
        # a progress display steers the terminal itself
        self.rich_proxied_file = stream

    def write(self, text: str) -> int:
        """Write a text that steers nothing."""
        try:
            return self.rich_proxied_file.write(plain(text))
        except OSError as error:
            self.lose(error)
            return len(text)

    def flush(self) -> None:
        """Write what is waiting."""
        try:
            self.rich_proxied_file.flush()
        except OSError as error:
            self.lose(error)

    @property
    def buffer(self) -> Bytes:
        """Where bytes are written: answers that nobody can take end the command."""
        return Bytes(self)

    def lose(self, error: OSError) -> None:
        """Let everything go nowhere from now on."""
        self.lost = error
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, self.rich_proxied_file.fileno())
        os.close(nowhere)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.rich_proxied_file, name)


class Bytes:
    """The bytes of a standard stream."""

    def __init__(self, stream: Stream) -> None:
        self.stream = stream

    def write(self, block: bytes) -> int:
        """Write a block; SystemExit where it can't be."""
        try:
            return self.stream.rich_proxied_file.buffer.write(block)
        except OSError as error:
            self.stream.lose(error)
            sys.exit(2)

    def writelines(self, blocks: Iterable[bytes]) -> None:
        """Write block after block."""
        for block in blocks:
            self.write(block)

    def flush(self) -> None:
        """Write what is waiting; SystemExit where it can't be."""
        self.stream.flush()
        if self.stream.lost:
            sys.exit(2)


@contextmanager
def guarded() -> Iterator[None]:
    """Let a command write to streams that may fail; afterwards say so, with exit status 1 where it had been 0.

    A reader that leaves, as in `aimgeo plan | head`, is none of our business.
    """
    # a stream that was closed by whoever started us must not be a clip's file later
    while (nowhere := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    os.close(nowhere)
    kept = sys.stdout, sys.stderr
    out, err = (Stream(stream or open(os.devnull, "w")) for stream in kept)  # noqa: SIM115
    sys.stdout, sys.stderr = out, err
    status: Any = 0
    try:
        yield
    except SystemExit as end:
        status = end.code
    finally:
        out.flush()
        if out.lost and not isinstance(out.lost, BrokenPipeError):
            reason = out.lost.strerror
            click.echo(f"Error: standard output cannot be written: {reason}; what was made is kept.", err=True)
            status = status or 1
        err.flush()
        sys.stdout, sys.stderr = kept
    sys.exit(status)
