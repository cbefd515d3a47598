"""The ZIP file of a copy, written piece by piece and never held in memory.

Recordings are stored as they are, since they do not get smaller; text is deflated. Beyond 4 GB the
file has the ZIP64 records (PKWARE APPNOTE 6.3.10, 4.3.14), which Python's zipfile writes. What
each file is, and what is left out and why, stands in ``manifest.json``, the last file.
"""

import hashlib
import json
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from studio.clips.models import ClipFile
from studio.clips.storage.stores import store
from studio.translating import gettext_lazy

from .names import Names

MANIFEST = "manifest.json"
READABLE = 0o644 << 16
MISSING = gettext_lazy("The file was not where it is kept.")
CHANGED = gettext_lazy(
    "It has other bytes than were stored when it came; it is in the copy as it is now."
)


class Archive:
    """Writes files into a ZIP, and remembers each with its hash. ``on_bytes`` hears of progress."""

    def __init__(self, path: Path, on_bytes: Callable[[int], object] = lambda count: None) -> None:
        self._zip = zipfile.ZipFile(path, "w", allowZip64=True)
        self._names, self._on_bytes = Names(), on_bytes
        self._at = timezone.localtime().timetuple()[:6]
        self.files: list[dict] = []
        self.left_out: list[dict] = []

    def __enter__(self) -> "Archive":
        return self

    def __exit__(self, *error: object) -> None:
        self._zip.close()

    def stream(self, name: str, chunks: Iterable[bytes], size_bytes: int = 0) -> dict:
        """Write a file as its bytes come; its line of the manifest.

        ``size_bytes`` is what is expected; text, for which none is told, is deflated.
        """
        info = zipfile.ZipInfo(self._names.free(name), self._at)
        info.external_attr = READABLE
        info.compress_type = zipfile.ZIP_STORED if size_bytes else zipfile.ZIP_DEFLATED
        info.file_size = size_bytes
        digest, size = hashlib.sha256(), 0
        large = size_bytes >= zipfile.ZIP64_LIMIT // 2
        with self._zip.open(info, "w", force_zip64=large) as out:
            for chunk in chunks:
                out.write(chunk)
                digest.update(chunk)
                size += len(chunk)
                self._on_bytes(len(chunk))
        line = {"path": info.filename, "size_bytes": size, "sha256": digest.hexdigest()}
        self.files.append(line)
        return line

    def text(self, name: str, text: str) -> str:
        """Write a small file; the name that it got."""
        return self.stream(name, [text.encode()])["path"]

    def json(self, name: str, value: Any) -> str:
        return self.text(name, json.dumps(value, ensure_ascii=False, indent=1) + "\n")

    def stored(self, name: str, row: ClipFile, what: str) -> str:
        """Write a file from the store; the name that it got, empty where it is not there."""
        try:
            chunks = store().read(row.path, 0, row.size_bytes)
        except FileNotFoundError:
            self.leave_out(what, MISSING)
            return ""
        line = self.stream(name, chunks, row.size_bytes)
        if line["sha256"] != row.sha256:
            self.leave_out(_("%(what)s, as it was") % {"what": what}, CHANGED)
        return line["path"]

    def leave_out(self, what: str, why: str) -> None:
        """Say that something is not in the copy; once, however often it is met."""
        said = {"what": what, "why": why}
        if said not in self.left_out:
            self.left_out.append(said)

    def finish(self, head: dict) -> None:
        """Write the manifest, beginning with ``head``. Nothing comes after it."""
        self.json(MANIFEST, head | {"files": list(self.files), "left_out": self.left_out})
