"""Names of files in a copy: of letters that every system takes, none twice, none that is a device.

What names a file may hold, and which mean a device, is stated by Microsoft ("Naming Files, Paths,
and Namespaces", Win32 documentation); POSIX forbids less.
"""

import re
import unicodedata
from pathlib import PurePosixPath

from django.utils.text import slugify

LONGEST = 80  # characters of a name: paths of 260 are the most on some systems
DEVICES = {"con", "prn", "aux", "nul"} | {f"{d}{n}" for d in ("com", "lpt") for n in range(10)}
ODD = re.compile(r"[^\w.() -]+")


def cleaned(filename: str, otherwise: str = "recording") -> str:
    """A file's name as it came, without what could lead elsewhere or cannot be written.

    >>> cleaned("../../etc/passwd"), cleaned("Übung: 3.mov"), cleaned("con.mp4")
    ('passwd', 'Übung_ 3.mov', '_con.mp4')
    """
    last = unicodedata.normalize("NFC", filename).replace("\\", "/").rpartition("/")[2]
    name = ODD.sub("_", last).strip(" .")
    path = PurePosixPath(name or otherwise)
    ending = path.suffix[:12]
    stem = path.stem[: LONGEST - len(ending)].strip(" .") or otherwise
    guarded = f"_{stem}" if stem.partition(".")[0].lower() in DEVICES else stem
    return f"{guarded}{ending}"


def in_words(text: str, otherwise: str) -> str:
    """A title as part of a name: its letters and digits, joined by hyphens.

    >>> in_words("Octaves, slowly!", "clip"), in_words("…", "clip")
    ('octaves-slowly', 'clip')
    """
    plain = text.replace("♭", "-flat").replace("♯", "-sharp")
    return slugify(plain, allow_unicode=True)[:LONGEST].strip("-") or otherwise


class Names:
    """Gives each name once: what is asked for again gets a number."""

    def __init__(self) -> None:
        self._given: set[str] = set()

    def free(self, name: str) -> str:
        path, number = PurePosixPath(name), 1
        free = name
        while free.casefold() in self._given:  # some systems tell no case apart
            number += 1
            free = str(path.with_name(f"{path.stem}-{number}{path.suffix}"))
        self._given.add(free.casefold())
        return free
