"""`aimgeo solve`: questions about one shot, or a stream of them."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from typing import Any

import click
import orjson

from aimgeo.asking.fields import BY_KEY, KEYS, PARTS, Refusal
from lessons.answering.answer import answer_blocks, answer_stream, parse


def _options(command: Callable[..., Any]) -> Callable[..., Any]:
    for key in reversed(KEYS):
        option = click.option(f"--{key.replace('_', '-')}", key, metavar="VALUE", help=BY_KEY[key].says)
        command = option(command)
    return command


@click.command(context_settings={"token_normalize_func": lambda name: name.replace("_", "-")})
@click.argument("request_json", required=False, metavar="[REQUEST]")
@click.option(
    "--batch", type=click.File("rb"), metavar="FILE|-", help="Answer one request a line from a file or -."
)
@_options
def command(request_json: str | None, batch: Any, **given: str | None) -> None:
    """Answer questions about one shot, or a stream of them.

    The shot is given as options named after the keys of a request, as one JSON object REQUEST, or both.
    Prints one line of JSON for each request. Exit status: 0 all answered, 1 some request refused,
    2 unusable command line or unreadable input.
    """
    options = {key: value for key, value in given.items() if value is not None}
    if batch is not None:
        if options or request_json is not None:
            raise click.UsageError("--batch takes its requests from the file alone; leave the other options out.")
        sys.exit(1 if _stream(batch) else 0)
    if not options and request_json is None:
        raise click.UsageError("Give the shot as options or as one JSON object, or --batch FILE.")
    request = parse(request_json.encode("utf-8", "surrogateescape")) if request_json is not None else {}
    if options:
        if type(request) is not dict:
            request = (
                request
                if isinstance(request, Refusal)
                else Refusal("bad_json", "A request is one JSON object.", None)
            )
        else:
            twice = next((key for key in options if key in request), None)
            if twice is not None:
                raise click.UsageError(f"{twice} is given both as an option and in the request.")
            request.update({key: option_value(key, text) for key, text in options.items()})
    written, refused = answer_blocks([request])
    sys.stdout.buffer.writelines(written)
    sys.exit(1 if refused else 0)


def option_value(key: str, text: str) -> Any:
    """An option's text as its key's value: JSON, `X,Y` for a point, `name=value,...` for a part, else text."""
    if key in PARTS and "=" in text and not text.lstrip().startswith("{"):
        pairs = [piece.partition("=") for piece in text.split(",")]
        return {name.strip().replace("-", "_"): _single(value.strip()) for name, _, value in pairs}
    if key.endswith("_mm") and "," in text and not text.lstrip().startswith("["):
        return [_single(piece.strip()) for piece in text.split(",")]
    return _single(text)


def _single(text: str) -> Any:
    try:
        return orjson.loads(text)
    except orjson.JSONDecodeError:
        pass
    return math.nan if text.lower() in ("nan", "inf", "+inf", "-inf", "infinity", "-infinity") else text


def _stream(source: Any) -> int:
    try:
        return answer_stream(source, sys.stdout.buffer)
    except OSError as error:
        click.echo(f"Error: the requests cannot be read: {error.strerror}.", err=True)
        sys.exit(2)
