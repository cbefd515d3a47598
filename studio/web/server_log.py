"""gunicorn's own log, without secrets: a request that it cannot read is quoted there."""

import logging

from gunicorn import glogging

from studio import settings
from studio.log_lines import JsonLine, Line


class ServerLog(glogging.Logger):
    """As gunicorn's, with the studio's way to write a line."""

    def _set_handler(self, log, output, fmt: logging.Formatter, stream=None) -> None:
        text = Line(fmt._fmt, fmt.datefmt)
        lines = JsonLine() if settings.LOG_FORMAT == "json" else text
        super()._set_handler(log, output, lines, stream)
