"""The command `aimgeo`. It imports nothing at first: Ctrl-C ends even its beginning without a traceback."""

from __future__ import annotations

import signal


def main() -> None:
    """Run a verb of the command line."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from lessons.cli import main as verbs

    verbs(prog_name="aimgeo")


if __name__ == "__main__":
    main()
