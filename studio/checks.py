"""Start-up checks: what is missing on this machine, and how to mend it.

=========== ==================================================
studio.E001 ffmpeg not found
studio.E002 nothing found that can probe a recording
studio.E003 a variable of the media tools has a wrong value
studio.E004 a sandbox is required and does not work
studio.I001 recordings are opened without a sandbox
studio.W001 too little room for one clip of the largest size
studio.W002 pages reach other machines without encryption
=========== ==================================================
"""

import shutil

from django.conf import settings
from django.core.checks import CheckMessage, Error, Info, Warning, register

from studio import figures
from studio.media import check_tools

TOOLS = {
    "ffmpeg_missing": (Error, "studio.E001"),
    "ffprobe_missing": (Error, "studio.E002"),
    "bad_setting": (Error, "studio.E003"),
    "sandbox_missing": (Error, "studio.E004"),
    "no_sandbox": (Info, "studio.I001"),
}
COPIES = 3  # an upload, its playable copy, and the sound taken from it
LOOPBACK = {"127.0.0.1", "::1", "localhost"}


@register()
def tools_are_there(app_configs, **kwargs) -> list[CheckMessage]:
    """What the media tools themselves say."""
    found = []
    for problem in check_tools():
        kind, number = TOOLS[problem.code]
        found.append(kind(problem.sentence, hint=problem.hint, id=number))
    return found


@register()
def folder_has_room(app_configs, **kwargs) -> list[CheckMessage]:
    """There must be room for one clip of the largest size."""
    needed = COPIES * settings.MAX_UPLOAD_BYTES
    free = shutil.disk_usage(settings.STUDIO_DATA).free
    if free >= needed:
        return []
    return [
        Warning(
            f"{settings.STUDIO_DATA} has {figures.number(free / 1e9)} GB free; one clip of the "
            f"largest size can need {figures.number(needed / 1e9)} GB.",
            hint="Free some space, set STUDIO_DATA to a larger disk, or lower MAX_UPLOAD_BYTES.",
            id="studio.W001",
        )
    ]


@register()
def pages_are_encrypted(app_configs, **kwargs) -> list[CheckMessage]:
    """Passwords and clips of children must not cross a network in the clear."""
    if settings.HTTPS or settings.ADDRESS in LOOPBACK:
        return []
    return [
        Warning(
            f"ADDRESS is {settings.ADDRESS}, which other machines can reach, and HTTPS is 0: "
            "passwords and clips cross the network unencrypted.",
            hint="Put a web server with a certificate in front and set HTTPS=1, or set "
            "ADDRESS=127.0.0.1.",
            id="studio.W002",
        )
    ]
