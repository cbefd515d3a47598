"""What is in a copy is read by programs that know nothing of this one.

Sources: WebVTT (W3C Candidate Recommendation, 4 April 2019), read by ffmpeg's own demuxer and by
Chromium (tests/browser/test_copy_from_disk.py); Web Annotation Data Model (W3C Recommendation, 23
February 2017), sections 3.1, 3.2, 3.2.4, 4.2.1 and 5; Media Fragments URI 1.0 (25 September 2012),
4.2.1; JSON Schema draft 2020-12, by jsonschema; CSV on the Web (17 December 2015); MusicXML 4.0 by
its W3C schema, and music21; ZIP by Python, unzip and libarchive, where they are there.
"""

import csv
import hashlib
import json
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import music21
import pytest
from jsonschema import Draft202012Validator

from tests.media.recordings import ffmpeg
from tests.notation.musicxml_schema import faults
from tests.rights.copies import lessons
from tests.rights.copies.lessons import SAID

pytestmark = pytest.mark.django_db(transaction=True)

NPT = re.compile(r"^t=(\d+(\.\d+)?)(,\d+(\.\d+)?)?$")  # media fragments, 4.2.1: npt seconds
MOTIVATIONS = {"commenting", "tagging"}  # of those in the model's appendix
DATATYPES = {"integer": int, "number": float, "string": str}
LISTERS = (("unzip", "-t"), ("bsdtar", "-tf"))


@pytest.fixture
def folder(unpacked) -> Path:
    """The folder of the clip that was returned."""
    return next(unpacked.glob("clips/*octaves*"))


def read(path: Path) -> dict:
    return json.loads(path.read_text("utf-8"))


def test_everything_in_the_copy_is_what_its_format_says(unpacked, folder):
    _captions(folder)
    _annotations(folder)
    _measurement(unpacked, folder)
    _tables(folder)
    _music(unpacked)
    _manifest(unpacked)


def _captions(folder: Path) -> None:
    """ffmpeg reads both cues, each in its time, with the arrow and tags as plain words."""
    subtitles = ffmpeg("-i", str(folder / "comments.vtt"), "-f", "srt", "pipe:1").decode()
    assert "00:00:04,000 --> 00:00:08,000" in subtitles
    assert "00:00:06,500 --> 00:00:08,250" in subtitles
    assert "Even bow here." in subtitles
    assert "Upper note --> listen" in subtitles.replace("&gt;", ">")


def _annotations(folder: Path) -> None:
    page = read(folder / "annotations.jsonld")
    assert page["@context"] == "http://www.w3.org/ns/anno.jsonld"
    assert page["type"] == "AnnotationPage"
    assert page["partOf"]["type"] == "AnnotationCollection"
    assert page["partOf"]["total"] == len(page["items"]) == 2
    assert len({page["id"], page["partOf"]["id"], *(one["id"] for one in page["items"])}) == 4
    for one in page["items"]:
        assert one["id"].startswith("urn:uuid:")
        assert (one["type"], one["motivation"] in MOTIVATIONS) == ("Annotation", True)
        selector = one["target"]["selector"]
        assert selector["type"] == "FragmentSelector"
        assert selector["conformsTo"] == "http://www.w3.org/TR/media-frags/"
        assert NPT.match(selector["value"])
        assert (folder / one["target"]["source"]).is_file()
        for body in one["body"]:
            assert body["type"] in ("TextualBody", "Sound", "Video", "Image")
            assert "value" in body or (folder / body["id"]).is_file()
    first = page["items"][0]
    assert first["body"][0]["value"] == SAID
    assert [body["type"] for body in first["body"]][2:] == ["Sound", "Image"]


def _measurement(unpacked: Path, folder: Path) -> None:
    schema = read(unpacked / "schemas" / "measurement-1.json")
    Draft202012Validator.check_schema(schema)
    document = read(folder / "measurement.json")
    check = Draft202012Validator(schema)
    assert [error.message for error in check.iter_errors(document)] == []
    assert document["events"]
    assert document["judgement"]["policy"]["tuning"] == "just"
    wrong = document | {"events": [{"id": "one"}]}
    assert list(check.iter_errors(wrong)), "the schema refuses what is none"


def _tables(folder: Path) -> None:
    """Each table has the columns that its description names, of the kinds that it names."""
    described = read(folder / "csv-metadata.json")
    assert described["@context"][0] == "http://www.w3.org/ns/csvw"
    measured = read(folder / "measurement.json")["events"]
    rows = {
        "intervals.csv": sum(len(event["intervals"]) for event in measured),
        "voices.csv": sum(len(event["voices"]) for event in measured),
    }
    assert [table["url"] for table in described["tables"]] == list(rows)
    for table in described["tables"]:
        columns = table["tableSchema"]["columns"]
        with (folder / table["url"]).open(newline="", encoding="utf-8") as file:
            lines = list(csv.reader(file))
        assert lines[0] == [column["titles"] for column in columns]
        assert len(lines) - 1 == rows[table["url"]] > 0
        for line in lines[1:]:
            for text, column in zip(line, columns, strict=True):
                assert text == "" or DATATYPES[column["datatype"]](text) is not None


def _music(unpacked: Path) -> None:
    page = unpacked / "drills" / "octaves-in-b-flat.musicxml"
    assert faults(page.read_text("utf-8")) == []
    assert len(music21.converter.parse(page).recurse().notes) > 0


def _manifest(unpacked: Path) -> None:
    """Every file but the manifest itself, with its size and hash; and nothing else."""
    manifest = read(unpacked / "manifest.json")
    there = {
        str(path.relative_to(unpacked)): path for path in unpacked.rglob("*") if path.is_file()
    }
    named = {line["path"]: line for line in manifest["files"]}
    assert set(named) == set(there) - {"manifest.json"}
    for name, line in named.items():
        content = there[name].read_bytes()
        assert line["size_bytes"] == len(content)
        assert line["sha256"] == hashlib.sha256(content).hexdigest()
    assert all(line["what"] and line["why"].endswith(".") for line in manifest["left_out"])


def test_the_file_is_whole_for_every_reader_of_zip(furnished):
    copy = lessons.make(furnished.cast)
    with lessons.at_rest(copy) as path:
        assert path.stat().st_size == copy.size_bytes
        assert hashlib.sha256(path.read_bytes()).hexdigest() == copy.sha256
        with zipfile.ZipFile(path) as file:
            assert file.testzip() is None
            media = [one for one in file.infolist() if one.filename.endswith(".mp4")]
            assert {one.compress_type for one in media} == {zipfile.ZIP_STORED}
        tried = [list(how) for how in LISTERS if shutil.which(how[0])]
        for how in tried:
            assert subprocess.run([*how, str(path)], capture_output=True).returncode == 0
