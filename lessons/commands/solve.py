"""`aimgeo solve`: questions about one shot, or a stream of them."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import orjson

from aimgeo.asking.fields import BY_KEY, KEYS, PARTS, Refusal
from lessons.answering.answer import answer_blocks, answer_stream, parse

KEEPS_SHOT = {
    "id", "camera", "aim_error", "fraction", "misses", "fixed_marks", "others_mm", "speed_mps", "cue_ball_roll",
}  # fmt: skip
"""Options that ask about a shot and leave it as it is."""


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
@click.option(
    "--format", "form", type=click.Choice(["json", "text"]), default="json", show_default=True,
    help="text: for people, and the options in a lesson's notations.",
)  # fmt: skip
@click.option("--units", type=click.Choice(["mm", "in", "ball"]), help="Of the text; mm, or the lesson's.")
@click.option("--bridge", metavar="LENGTH", help="From the hand to the tip, for the text; 300 mm by default.")
@click.option("--lesson", type=click.Path(path_type=Path), help="A lesson file that has the shot.")
@click.option("--clip", metavar="NAME", help="The clip of that lesson; a pattern takes the first that fits.")
@_options
def command(
    request_json: str | None, batch: Any, form: str, units: str | None, bridge: str | None, lesson: Path | None,
    clip: str | None, **given: str | None,
) -> None:  # fmt: skip
    """Answer questions about one shot, or a stream of them.

    The shot is given as options named after the keys of a request, as one JSON object REQUEST, or both; or it is
    that of a lesson's clip. Prints one line of JSON for each request, or text for people.
    Exit status: 0 all answered, 1 some request refused, 2 unusable command line or unreadable input.

    \b
    aimgeo solve --format text --lesson cuts.yaml --clip '*half*far' --speed-mps slow
    aimgeo solve --format text --units in --object-ball-mm '2 diamonds, 1 diamond' \\
        --target-mm foot-left --cut-deg 1/2 --side left --distance-mm '24 in'
    aimgeo solve --format text --misses left=8,right=2
    """
    options = {key: value for key, value in given.items() if value is not None}
    if batch is not None:
        if options or request_json is not None or lesson is not None or form == "text":
            raise click.UsageError("--batch takes its requests from the file alone; leave the other options out.")
        sys.exit(1 if _stream(batch) else 0)
    if (lesson is None) != (clip is None):
        raise click.UsageError("--lesson and --clip go together: the file, and which of its clips.")
    if not options and request_json is None and lesson is None:
        raise click.UsageError("Give the shot as options or as one JSON object, or --batch FILE.")
    language = "en"
    own: dict[str, Any] = {}
    request = parse(request_json.encode("utf-8", "surrogateescape")) if request_json is not None else {}
    if lesson is not None and clip is not None:
        shot, own, lesson_units, language = _shot_of(lesson, clip)
        if request != {} or options.keys() - KEEPS_SHOT:
            own = {}
        request = shot if request == {} else request
        units = units or lesson_units
    if options:
        if type(request) is not dict:
            request = (
                request
                if isinstance(request, Refusal)
                else Refusal("bad_json", "A request is one JSON object.", None)
            )
        else:
            twice = next((key for key in options if key in request and lesson is None), None)
            if twice is not None:
                raise click.UsageError(f"{twice} is given both as an option and in the request.")
            request.update(_values(options, request, form, units or "mm"))
    if form == "text":
        sys.exit(_tell(request, units or "mm", bridge, language, own))
    written, refused = answer_blocks([request])
    sys.stdout.buffer.writelines(written)
    sys.exit(1 if refused else 0)


def _shot_of(path: Path, name: str) -> tuple[dict[str, Any], dict[str, Any], str, str]:
    """The shot of a lesson's clip as a request, what its own methods make of it, its units and its language."""
    from lessons.lesson.faults import LessonError, slip_of
    from lessons.lesson.model import load
    from lessons.planning.accuracy import asked_shot, own_readings
    from lessons.planning.plan import plan

    try:
        made = plan(load(path))
        clips = made.only((name,)).clips
        if not clips:
            near = slip_of(name, tuple(one.name for one in made.clips))
            known = f"did you mean '{near}'?" if near else "aimgeo plan lists its clips."
            raise click.ClickException(f"'{path}' makes no clip '{name}'; {known}")
        return asked_shot(made, clips[0]), own_readings(made, clips[0]), made.units, made.language
    except LessonError as error:
        click.echo(error.told(), err=True)
        sys.exit(1)
    except ValueError as error:
        raise click.ClickException(str(error)) from None


def _values(options: dict[str, str], request: dict[str, Any], form: str, units: str) -> dict[str, Any]:
    """The options as values; in the notations of a lesson where the answer is for people."""
    plain = {key: option_value(key, text) for key, text in options.items()}
    if form == "json":
        return plain
    from lessons.planning.told_answers import asked, ground

    table, ball_mm = ground({**request, **plain, **_named(options)})
    found = {}
    for key, text in options.items():
        try:
            value = asked(key, text, units, table, ball_mm)
        except ValueError as error:
            raise click.UsageError(f"--{key.replace('_', '-')}: {error}") from None
        found[key] = plain[key] if value is text else value
    return found


def _named(options: dict[str, str]) -> dict[str, Any]:
    """The table that the options name as a lesson may write it, where they name one."""
    from lessons.planning.told_answers import asked

    try:
        return {"table": asked("table", options["table"], "mm", None, 0.0)} if "table" in options else {}
    except ValueError:  # told where the option is read
        return {}


def _tell(request: Any, units: str, bridge: str | None, language: str, own: dict[str, Any]) -> int:
    """Print the answer for people; the exit status."""
    from aimgeo.asking.solve import answer
    from lessons.planning.told_answers import misses_told, told

    try:
        if isinstance(request, dict) and list(request) == ["misses"] and isinstance(request["misses"], dict):
            click.echo("\n".join(misses_told(request["misses"], language)))
            return 0
        (found,) = answer([request])
        lines = told(request if isinstance(request, dict) else {}, found, units, bridge, language, own)
    except ValueError as error:
        click.echo(f"Error: {error}", err=True)
        return 1
    click.echo("\n".join(lines), err="error" in found)
    return 1 if "error" in found else 0


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
