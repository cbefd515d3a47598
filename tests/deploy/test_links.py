"""What the documents point to is there."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = [
    ROOT / name
    for name in (
        "README.md",
        "DEVELOPERS.md",
        "deploy/README.md",
        "deploy/asvs.md",
        "deploy/rights.md",
    )
] + [ROOT / "studio/intonation/schema/README.md"]
LINK = re.compile(r"\]\(([^)#\s]+)(?:#[^)\s]*)?\)|src=\"([^\"]+)\"")


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_to_files_of_the_project_lead_somewhere(document):
    targets = [one or other for one, other in LINK.findall(document.read_text(encoding="utf-8"))]
    own = [target for target in targets if not re.match(r"[a-z]+:", target)]
    missing = [target for target in own if not (document.parent / target).exists()]
    assert missing == []
