"""``python -m studio``: start the studio, listen to a file, or run one of Django's commands."""

import argparse
import gc
import os
import sys
from pathlib import Path

HELP = """\
usage: python -m studio COMMAND [OPTIONS]

Lesson feedback for violin and viola: pupils send practice clips, the studio hears the double
stops and marks what is out of tune, the teacher reviews and returns them.

commands:
  demo       start an invented studio to look round in; prints its address and logins
  serve      start the studio: web pages, listening and periodic work, in one go
  analyse    listen to one audio or video file and print what was heard
  prepare    bring the data folder up to date (serve and demo do this by themselves)
  doctor     try database, queue, store, mail, decoders and the rest; say what to mend

  backup, verify, repair, restore, drill
             keep the studio's recordings safe: see deploy/README.md
  hear_anew  let clips that an earlier version heard be heard again, while nothing else waits
  erase_person, erase_clip, overwrite
             erase for somebody who cannot do it on the pages
  --version  say which version this is

COMMAND --help tells more about each of these. Django's own commands work too, for example
migrate, createsuperuser, shell and check; `python -m studio help` lists them.

Settings are environment variables; deploy/README.md lists them.
"""

SERVE = """\
Start the studio: web pages, two workers and the periodic process, under one supervisor that
starts again what ends. Ctrl-C or TERM stops all of it.

The first start makes the data folder, its database and its key. Before each start the
database is brought up to date. Settings are environment variables, for example:

  STUDIO_DATA   folder for database, clips and queue (default: var in this folder)
  ADDRESS, PORT where to listen (default: 127.0.0.1 and 8000)

deploy/README.md lists all of them.
"""

DEMO = """\
Start an invented studio with a teacher, pupils, a guardian and some weeks of history.
Prints the address and the logins. It keeps its own data folder and never touches the real
studio's; remove that folder to begin afresh. Ctrl-C stops it.
"""

PREPARE = """\
Check the settings, bring the database up to date and collect the static files.
`serve` and `demo` do this by themselves before they start.
"""


DOCTOR = """\
Try each part of the studio and say how it is: database and its migrations, clocks, queue, store,
disk, decoders, sandbox, static files, mail, workers. What is sent or written to try is taken away
again; each part has five seconds. Exit code 0: nothing is wrong; 1: something is.
"""

# The listening solves many small systems: several threads for each of them only wait for one
# another (eight times slower on a busy machine). Workers are what uses more cores.
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


# Loading the program makes a million objects that stay, and Python looks through all of them after
# each 700: a sixth of the time that any command takes to start. Chosen, as in gunicorn_settings.py:
LOOK_FOR_CIRCLES = (50_000, 20, 20)


def main(argv: list[str] | None = None) -> int:
    """Run one command; its exit code."""
    gc.set_threshold(*LOOK_FOR_CIRCLES)
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    arguments = list(sys.argv[1:] if argv is None else argv)
    if not arguments or arguments[0] in ("-h", "--help"):
        print(HELP, end="", file=sys.stdout if arguments else sys.stderr)
        return 0 if arguments else 2
    command, *rest = arguments
    if command in ("--version", "version"):
        from studio import releases

        print(f"studio {releases.version()}")
        return 0
    if command == "analyse":
        from studio import analyse_command

        return analyse_command.main(rest)
    return _with_settings(OURS.get(command), arguments)


def _with_settings(ours, arguments: list[str]) -> int:
    """Run a command that reads the settings; a wrong one is told without a traceback."""
    from django.core.exceptions import ImproperlyConfigured

    from studio.serving import CannotServe

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    try:
        return ours(arguments[1:]) if ours else _django(arguments)
    except (ImproperlyConfigured, CannotServe) as error:
        print(f"studio: {error}", file=sys.stderr)
        return 2


def _django(arguments: list[str]) -> int:
    from django.core.management import execute_from_command_line

    execute_from_command_line(["python -m studio", *arguments])
    return 0


def _parser(name: str, description: str) -> argparse.ArgumentParser:
    return argparse.ArgumentParser(
        prog=f"python -m studio {name}",
        description=description,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )


def _serve(arguments: list[str]) -> int:
    from studio.serving import serve

    _parser("serve", SERVE).parse_args(arguments)
    return serve()


def _port(text: str) -> int:
    from studio.figures import whole

    port = whole(text, low=1, high=65535)
    if port is None:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no port; give a whole number from 1 to 65535, such as 8000"
        )
    return port


def _demo(arguments: list[str]) -> int:
    from studio.serving import demo

    parser = _parser("demo", DEMO)
    parser.add_argument(
        "--port",
        type=_port,
        help="the port to listen on (default: PORT, else 8000, or the next free one after it)",
    )
    parser.add_argument(
        "--data",
        type=Path,
        default=Path("var/demo"),
        metavar="FOLDER",
        help="where the demo keeps everything (default: var/demo)",
    )
    chosen = parser.parse_args(arguments)
    return demo(chosen.data, chosen.port)


def _prepare(arguments: list[str]) -> int:
    from studio.serving import prepare

    parser = _parser("prepare", PREPARE)
    parser.add_argument("--demo", action="store_true", help="load the invented studio too")
    return prepare(parser.parse_args(arguments).demo)


def _doctor(arguments: list[str]) -> int:
    import django

    parser = _parser("doctor", DOCTOR)
    parser.add_argument(
        "--letter-to", default="", metavar="ADDRESS", help="also send a letter to this address"
    )
    chosen = parser.parse_args(arguments)
    django.setup()
    from studio.operations import doctor

    return doctor.main(chosen.letter_to)


OURS = {"serve": _serve, "demo": _demo, "prepare": _prepare, "doctor": _doctor}


if __name__ == "__main__":
    sys.exit(main())
