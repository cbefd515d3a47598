"""Read one file of music and engrave its first leaf; run by itself, in a process with bounds.

``python child.py ROOT INPUT INSTRUMENT TITLE PART`` prints one JSON object: ``{"refused":
sentence}``, or ``score``, ``remarks``, ``parts``, ``part``, ``incipit`` and ``sheet``. A file that
is no music is an answer like any other; what ends this process otherwise says nothing of the file.
"""

import json
import os
import sys
from pathlib import Path

# One thread each, and no more address space than one needs; before numpy is loaded.
for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"


def read(path: str, instrument: str, title: str, part: str) -> dict:
    """What is to be said of the file at ``path``."""
    from studio.drills.sheets import incipit, sheet_of
    from studio.notation.musicxml import NotMusic, read_musicxml

    try:
        found = read_musicxml(
            Path(path).read_bytes(), instrument=instrument or None, title=title, part=part or None
        )
    except NotMusic as error:
        return {"refused": str(error)}
    sheet = sheet_of(found.score)
    return {
        "score": found.score.to_dict(),
        "remarks": list(found.remarks),
        "parts": [[each.id, each.name] for each in found.parts],
        "part": found.part,
        "incipit": incipit(found.score),
        "sheet": {
            "count": sheet.count,
            "first_bar": sheet.first_bar,
            "last_bar": sheet.last_bar,
            "screens": [{"layout": each.layout, "svg": each.svg} for each in sheet.screens],
        },
    }


if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    json.dump(read(*sys.argv[2:6]), sys.stdout)
