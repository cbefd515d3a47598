"""Files that point elsewhere: at other files, at other machines."""

import struct
from pathlib import Path

from tests.media import boxes
from tests.media.canary import SAMPLES_AT
from tests.media.hostile.case import LENGTH_S, Ground, case


def playlist(target: str) -> str:
    return f"#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\n{target}\n#EXT-X-ENDLIST\n"


@case("playlist_file.mp4", "HLS playlist of a file", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    path.write_text(playlist(str(ground.secret)))


@case(
    "playlist_http.mp4",
    "HLS playlist of an address",
    refused="playlist",
    reaches_out=True,
    fault=25,
)
def _(ground: Ground, path: Path) -> None:
    path.write_text(playlist(f"{ground.url}/segment.mp4"))


@case(
    "playlist_key.mov",
    "HLS playlist with a distant key",
    refused="playlist",
    reaches_out=True,
    fault=25,
)
def _(ground: Ground, path: Path) -> None:
    key = f'#EXT-X-KEY:METHOD=AES-128,URI="{ground.url}/key"\n#EXTINF'
    path.write_text(playlist(str(ground.secret)).replace("#EXTINF", key))


@case("concat.mov", "concat script of a sibling", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    path.write_text(f"ffconcat version 1.0\nfile {ground.secret.name}\n")


@case("dash.mp4", "DASH manifest of an address", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    path.write_text(
        '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" '
        'mediaPresentationDuration="PT2S"><Period><AdaptationSet mimeType="audio/wav">'
        f'<Representation id="a" bandwidth="1"><BaseURL>{ground.url}/a.wav</BaseURL>'
        "</Representation></AdaptationSet></Period></MPD>"
    )


@case("session.mp4", "SDP that opens a port", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    port = ground.url.rsplit(":", 1)[1]
    lines = ["v=0", "o=- 0 0 IN IP4 127.0.0.1", "s=-", "c=IN IP4 127.0.0.1", "t=0 0"]
    path.write_text("\n".join([*lines, f"m=audio {port} RTP/AVP 0", ""]))


@case("list.mp3", "list of addresses", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    path.write_text(f"[playlist]\nFile1={ground.url}/a.mp3\nNumberOfEntries=1\nVersion=2\n")


@case("drawing.mp4", "SVG that includes a file", refused="not_media", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    xlink = 'xmlns="http://www.w3.org/2000/svg" xmlns:x="http://www.w3.org/1999/xlink"'
    pictures = "".join(
        f'<image x:href="{target}" width="9" height="9"/>'
        for target in (ground.secret.as_uri(), f"{ground.url}/a.png")
    )
    path.write_text(f'<svg {xlink} width="64" height="64">{pictures}</svg>')


@case("command.mp4", "drawing commands with an address", refused="not_media", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    path.write_text(
        "push graphic-context\nviewbox 0 0 640 480\n"
        f"image over 0,0 0,0 'url({ground.url}/a.png)'\nimage over 0,0 0,0 '@{ground.secret}'\n"
    )


@case("subtitle.mp4", "subtitle index of a sibling", refused="not_media", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    lines = [
        "# VobSub index file, v7 (do not modify this line!)",
        "size: 64x64",
        "id: en, index: 0",
    ]
    path.write_text("\n".join([*lines, "timestamp: 00:00:00:000, filepos: 000000000", ""]))


@case("outside_sound.mov", "MOV whose sound lies elsewhere", refused="unreadable", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    reference = boxes.alias(str(ground.secret))
    sound = boxes.pcm_track(reference, SAMPLES_AT, LENGTH_S)
    path.write_bytes(boxes.FTYP + boxes.movie(LENGTH_S, sound))


@case("outside_address.mov", "MOV with a distant track", refused="unreadable", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    sound = boxes.pcm_track(boxes.elsewhere(f"{ground.url}/a.wav"), 1 << 20, LENGTH_S)
    path.write_bytes(boxes.FTYP + boxes.movie(LENGTH_S, sound))


@case("redirect.mov", "MOV that only redirects", refused="not_media", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    target = f"{ground.url}/a.mov".encode() + b"\0"
    place = boxes.full_box(b"rdrf", b"url ", struct.pack(">I", len(target)), target)
    movie = boxes.movie(LENGTH_S, boxes.box(b"rmra", boxes.box(b"rmda", place)))
    path.write_bytes(boxes.FTYP + movie)
