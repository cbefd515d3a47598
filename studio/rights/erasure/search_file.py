"""Search one file for words, as a program: ``search_file.py FILE``, words as hex on standard in.

A process of its own, because whoever closes a file lets go of all locks that its process has on it
(POSIX, fcntl): in one that has the database open, another could then take SQLite's log away.
Ends with 0 where none is found and with 3 where one is.
"""

import mmap
import sys
from pathlib import Path

FOUND = 3


def main() -> int:
    words = [bytes.fromhex(line) for line in sys.stdin.read().split()]
    with (
        Path(sys.argv[1]).open("rb") as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as held,
    ):
        return FOUND if any(held.find(word) >= 0 for word in words) else 0


if __name__ == "__main__":
    sys.exit(main())
