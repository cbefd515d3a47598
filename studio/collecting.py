"""Collecting the static files, at a start at which they are not what was collected before.

Reading, rewriting and compressing them takes some seconds of a core; whether they are the same as
last time is known in a few hundredths.
"""

import hashlib
import json
from importlib.metadata import version
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command

MANIFEST = "staticfiles.json"  # of ManifestStaticFilesStorage; written last
MADE_OF = ".made-of"  # the digest of what the collected files were made of
MAKERS = ("django", "whitenoise")


def collect() -> None:
    """Collect the static files, unless all that were collected are there, made of the same."""
    folder = Path(settings.STATIC_ROOT)
    made_of, wanted = folder / MADE_OF, _digest()
    if made_of.is_file() and made_of.read_text() == wanted and _complete(folder):
        return
    made_of.unlink(missing_ok=True)  # cut off from here on, it is done again
    call_command("collectstatic", interactive=False, verbosity=0)
    if folder.is_dir():
        made_of.write_text(wanted)


def _complete(folder: Path) -> bool:
    manifest = folder / MANIFEST
    if not manifest.is_file():
        return False
    paths = json.loads(manifest.read_text())["paths"]
    return all((folder / path).is_file() for path in paths.values())


def _digest() -> str:
    """Of all that decides what the collected files are: contents, names, and who makes them."""
    digest = hashlib.sha256()
    makers = [version(name) for name in MAKERS]
    makers.append((Path(__file__).parent / "staticfiles.py").read_text())
    digest.update(json.dumps([makers, settings.STORAGES["staticfiles"]]).encode())
    for finder in get_finders():
        for name, storage in sorted(finder.list([]), key=lambda found: found[0]):
            with storage.open(name) as file:
                digest.update(f"{name}\0{hashlib.sha256(file.read()).hexdigest()}\n".encode())
    return digest.hexdigest()
