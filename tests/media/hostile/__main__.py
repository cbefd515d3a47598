"""``python -m tests.media.hostile FOLDER``."""

import sys
from pathlib import Path

from tests.media.hostile import CASES, build

if len(sys.argv) != 2:
    sys.exit("usage: python -m tests.media.hostile FOLDER")
build(Path(sys.argv[1]), "http://127.0.0.1:9")
for made in CASES:
    size = Path(sys.argv[1], made.name).stat().st_size
    ending = made.refused or ", ".join(["received", *made.notes])
    print(f"{made.name:<22} {size:>10,} bytes  {made.what:<42} {ending}")
