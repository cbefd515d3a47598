"""The two ways into a studio that runs: the program's own door, and nginx's."""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.conf import settings

from tests.live import LiveStudio, live_web
from tests.servers import Nginx
from tests.web import slow_lines


@dataclass(frozen=True)
class Doors:
    """The program's own door, and nginx's."""

    studio: LiveStudio
    nginx: Nginx

    def open(self, door: str) -> slow_lines.Open:
        if door == "nginx":
            return slow_lines.encrypted(self.nginx.port)
        return slow_lines.plain(int(self.studio.url.rpartition(":")[2]))


@pytest.fixture
def doors(cast, tmp_path) -> Iterator[Doors]:
    with live_web(tmp_path, HTTPS="1", WEB_PROCESSES="2", WEB_THREADS="8") as studio:
        nginx = Nginx(int(studio.url.rpartition(":")[2]), settings.MEDIA_ROOT)
        try:
            nginx.start()
            doors = Doors(studio, nginx)
            slow_lines.slowest_page(doors.open("program"), 6)  # the first ones load templates
            yield doors
        finally:
            nginx.remove()
