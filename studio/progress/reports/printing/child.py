"""Lay one report out as a PDF; run by itself, in a process with bounds.

``python child.py INPUT OUTPUT`` reads :func:`.document.document_of` as JSON and writes a PDF, with
the typesetter's own fonts alone, tagged for screen readers (PDF/UA-1, ISO 14289-1).
"""

import json
import sys
from pathlib import Path

import typst


def lay_out(data: str) -> bytes:
    """The PDF of a document given as JSON; the template reads it as one value."""
    return bytes(
        typst.compile(
            (Path(__file__).parent / "report.typ").read_bytes(),
            format="pdf",
            sys_inputs={"document": data},
            ignore_system_fonts=True,
            pdf_standards=["ua-1"],
            timestamp=json.loads(data)["given_s"],
        )
    )


if __name__ == "__main__":
    Path(sys.argv[2]).write_bytes(lay_out(Path(sys.argv[1]).read_text(encoding="utf-8")))
