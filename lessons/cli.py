"""The command line: one verb a stage. Verbs are imported only when they are used, so that each starts quickly."""

from __future__ import annotations

import gc
import os
import signal
import sys
from importlib import import_module
from typing import Any

import click

from lessons.commands import VERBS
from lessons.streams import guarded
from scenes.files import whole_name


class Verbs(click.Group):
    """A click group whose commands are modules of lessons.commands."""

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run a command, with streams that may fail."""
        with guarded():
            return super().main(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the verb; Ctrl-C, and a file that cannot be read or written, are told in a sentence."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("Stopped.", err=True)
            sys.exit(130)
        except OSError as error:
            if error.filename is None:
                raise
            raise click.ClickException(f"{whole_name(str(error.filename))}: {error.strerror or error}.") from None

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The verbs in the order of their table."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The verb's command, imported now; None when there is no such verb."""
        if cmd_name not in VERBS:
            return None
        # every matrix here is small, but numpy's matrix library would start a thread for each processor, which
        # takes a while; worker processes inherit it
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        # plugins could change how lessons are read; looking for them goes through all that is installed
        os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
        # a library looks for programs on it, and fails where there is none
        os.environ.setdefault("PATH", os.defpath)
        # imports make many objects and hardly any garbage: looking for it costs a tenth of the start
        gc.disable()
        try:
            command: click.Command = import_module(f"lessons.commands.{cmd_name}").command
            gc.freeze()  # nor does a later search look at what stays
        finally:
            gc.enable()
        if signal.getsignal(signal.SIGINT) is signal.SIG_DFL:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The verb that is asked for; a slip of the pen is told what was meant."""
        if args and args[0] not in VERBS and not args[0].startswith("-"):
            from lessons.lesson.faults import did_you_mean

            ctx.fail(f"no such command '{args[0]}'{did_you_mean(args[0], VERBS)}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of verbs, without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(VERBS.items()))


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="aimgeo")
def main() -> None:
    """Lesson files about aiming at pool become exact clips, numbers, captions and sheets.

    First steps: `aimgeo live` opens a lesson in the browser, `aimgeo check` reads one. Exit status: 0 when all is
    well, 1 when something was refused or failed, 2 for an unusable command line, 130 after Ctrl-C.
    """


if __name__ == "__main__":
    sys.exit(main())
