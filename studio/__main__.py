"""``python -m studio``: Django's own commands for now."""

import os
import sys


def main(argv: list[str] | None = None) -> int:
    """Run one command; its exit code."""
    from django.core.management import execute_from_command_line

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    execute_from_command_line(["python -m studio", *(sys.argv[1:] if argv is None else argv)])
    return 0


if __name__ == "__main__":
    sys.exit(main())
