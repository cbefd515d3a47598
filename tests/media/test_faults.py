"""Real broken, hostile and odd files: each ends in a typed error or a usable copy."""

import importlib
from pathlib import Path

import numpy as np
import pytest

from studio.media import (
    Failed,
    Limits,
    MediaError,
    Refused,
    extract_sound,
    make_playable,
    make_poster,
    probe,
    read_sound,
)
from tests.media.boxes import flat_png
from tests.media.recordings import AAC, H264, ffmpeg, flash_and_click, moments, turn


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("good")
    return flash_and_click(folder / "good.mp4", *H264, *AAC, "-movflags", "+faststart")


@pytest.fixture(params=["auto", "wheels"])
def tools(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("MEDIA_TOOLS", request.param)
    return str(request.param)


def refusal(path: Path, limits: Limits | None = None) -> Refused:
    with pytest.raises(Refused) as caught:
        probe(path, limits)
    return caught.value


def tone(path: Path, *options: str, seconds: float = 3.0, rate_hz: int = 48_000) -> Path:
    ffmpeg("-f", "lavfi", "-i", f"sine=440:d={seconds}:r={rate_hz}", *options, str(path))
    return path


def heard(source: Path, folder: Path) -> np.ndarray:
    extract_sound(source, folder / "sound.wav", probe(source))
    return read_sound(folder / "sound.wav")[0]


def pitch_hz(y: np.ndarray, sr: int = 44_100) -> float:
    n = 1 << 19
    return float(np.abs(np.fft.rfft(y * np.hanning(len(y)), n)).argmax() * sr / n)


@pytest.mark.usefixtures("tools")
class TestRefused:
    def test_zero_bytes(self, tmp_path: Path) -> None:
        path = tmp_path / "clip.mp4"
        path.touch()
        assert refusal(path).code == "empty"

    @pytest.mark.parametrize("seed", range(4))
    def test_noise_is_not_media_whatever_its_name(self, tmp_path: Path, seed: int) -> None:
        path = tmp_path / ("clip.mp4", "clip.mp3", "clip.aac", "clip.webm")[seed]
        path.write_bytes(np.random.default_rng(seed).bytes(400_000))
        assert refusal(path).code == "not_media"

    def test_a_web_page_is_not_media(self, tmp_path: Path) -> None:
        path = tmp_path / "clip.mp4"
        path.write_text("<html><body>hello</body></html>")
        assert refusal(path).code == "not_media"

    def test_a_picture_is_not_media(self, tmp_path: Path) -> None:
        ffmpeg("-f", "lavfi", "-i", "testsrc", "-frames:v", "1", str(tmp_path / "a.png"))
        assert refusal((tmp_path / "a.png").rename(tmp_path / "a.mp4")).code == "not_media"

    @pytest.mark.parametrize("opening", ["", "\n\n", "\ufeff"])
    def test_playlist_under_the_name_of_a_video(
        self, tmp_path: Path, good: Path, opening: str
    ) -> None:
        path = tmp_path / "clip.mp4"
        lines = f"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{good}\n#EXT-X-ENDLIST\n"
        path.write_text(opening + lines)
        assert refusal(path).code == "playlist"

    def test_concat_script(self, tmp_path: Path, good: Path) -> None:
        path = tmp_path / "clip.mp4"
        path.write_text(f"ffconcat version 1.0\nfile {good}\n")
        assert refusal(path).code == "playlist"

    def test_whitelists_hold_a_playlist_back_even_when_nobody_looked(
        self, tmp_path: Path, good: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        module = importlib.import_module("studio.media.probe")  # the package names its function so
        monkeypatch.setattr(module, "inspect_structure", lambda path: False)
        monkeypatch.setenv("MEDIA_SANDBOX", "off")
        path = tmp_path / "clip.mp4"
        lines = f"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{good}\n#EXT-X-ENDLIST\n"
        path.write_text(lines)
        assert refusal(path).code == "not_media"

    @pytest.mark.parametrize("cut", [-200, 200], ids=["before the index", "within it"])
    def test_index_never_written(self, tmp_path: Path, good: Path, cut: int) -> None:
        ffmpeg("-i", str(good), "-c", "copy", str(tmp_path / "slow.mp4"))
        path = tmp_path / "clip.mp4"
        content = (tmp_path / "slow.mp4").read_bytes()
        path.write_bytes(content[: content.index(b"moov") + cut])
        error = refusal(path)
        assert error.code == "unfinished"
        assert "did not finish saving" in error.sentence

    @pytest.mark.parametrize("container", ["mov", "matroska"])
    def test_pixel_bomb(self, tmp_path: Path, container: str) -> None:
        (tmp_path / "a.png").write_bytes(flat_png(12_000))
        picture = ("-f", "png_pipe", "-i", str(tmp_path / "a.png"))
        ffmpeg(*picture, "-c", "copy", "-f", container, str(tmp_path / "clip"))
        error = refusal(tmp_path / "clip")
        assert error.code == "too_large_picture"
        assert "12000 × 12000" in error.sentence

    def test_duration_bomb(self, tmp_path: Path) -> None:
        bomb = ("-f", "lavfi", "-i", "color=s=64x64:r=1/100:d=100000", *H264)
        ffmpeg(*bomb, str(tmp_path / "a.mp4"))
        assert refusal(tmp_path / "a.mp4").code == "too_long"

    def test_no_length(self, tmp_path: Path) -> None:
        ffmpeg("-f", "lavfi", "-i", "testsrc=r=30:d=0.03", *H264, str(tmp_path / "a.mp4"))
        assert refusal(tmp_path / "a.mp4").code == "no_duration"

    def test_locked_recording(self, tmp_path: Path, good: Path) -> None:
        key = ("-encryption_key", "00112233445566778899aabbccddeeff")
        scheme = ("-encryption_scheme", "cenc-aes-ctr", "-encryption_kid", "ff" * 16)
        ffmpeg("-i", str(good), "-c", "copy", *scheme, *key, str(tmp_path / "a.mp4"))
        assert refusal(tmp_path / "a.mp4").code == "protected"

    def test_too_many_bytes_says_both_figures(self, good: Path) -> None:
        error = refusal(good, Limits(max_bytes=10_000))
        assert error.code == "too_many_bytes"

    def test_too_long_says_both_times(self, good: Path) -> None:
        error = refusal(good, Limits(max_duration_s=5.0))
        assert error.sentence.startswith("The recording lasts 0:06; at most 0:05")


@pytest.mark.usefixtures("tools")
class TestUsable:
    def test_cut_off_file_is_salvaged_and_says_so(self, tmp_path: Path, good: Path) -> None:
        content = good.read_bytes()
        path = tmp_path / "a.mp4"
        path.write_bytes(content[: len(content) * 6 // 10])
        info = probe(path)
        assert info.is_partial
        assert 1.0 < info.duration_s < 5.5
        assert info.stated_duration_s == pytest.approx(6.0, abs=0.1)
        sound = extract_sound(path, tmp_path / "a.wav", info)
        played = make_playable(path, tmp_path / "b.mp4", info)
        assert [note.code for note in sound.notes] == ["salvaged"]
        assert [note.code for note in played.notes] == ["salvaged"]
        assert "of 6.0 s could be saved" in sound.notes[0].sentence

    def test_damaged_packets_are_mended_and_noted(self, tmp_path: Path, good: Path) -> None:
        content = bytearray(good.read_bytes())
        rng = np.random.default_rng(5)
        packets = content.index(b"mdat") + 4
        for at in rng.integers(packets + 3000, len(content), 60):
            content[at] = rng.integers(256)
        path = tmp_path / "a.mp4"
        path.write_bytes(content)
        played = make_playable(path, tmp_path / "b.mp4", probe(path))
        assert not played.copied
        assert [note.code for note in played.notes] == ["damaged"]

    def test_no_sound_can_still_be_watched(self, tmp_path: Path, good: Path) -> None:
        path = tmp_path / "a.mp4"
        ffmpeg("-i", str(good), "-an", "-c", "copy", str(path))
        info = probe(path)
        assert [note.code for note in info.notes] == ["no_sound"]
        assert make_playable(path, tmp_path / "b.mp4", info).has_video
        with pytest.raises(Refused, match="no sound to listen to"):
            extract_sound(path, tmp_path / "a.wav", info)

    def test_cover_picture_is_no_video(self, tmp_path: Path) -> None:
        tone(tmp_path / "plain.mp3")
        ffmpeg("-f", "lavfi", "-i", "testsrc", "-frames:v", "1", str(tmp_path / "a.png"))
        joined = ("-i", str(tmp_path / "plain.mp3"), "-i", str(tmp_path / "a.png"))
        path = tmp_path / "a.mp3"
        ffmpeg(*joined, "-map", "0", "-map", "1", "-c", "copy", "-id3v2_version", "3", str(path))
        info = probe(path)
        assert not info.has_video
        assert make_playable(path, tmp_path / "a.m4a", info).mime_type == "audio/mp4"

    @pytest.mark.sweep(1 / 3)
    @pytest.mark.parametrize("name", ["a.m4a", "a.mp3", "a.wav", "a.flac", "a.ogg", "a.aac"])
    def test_every_kind_of_sound_file_keeps_its_pitch(self, tmp_path: Path, name: str) -> None:
        path = tone(tmp_path / name)
        assert pitch_hz(heard(path, tmp_path)) == pytest.approx(440.0, abs=0.1)
        made = make_playable(path, tmp_path / "out.m4a", probe(path))
        assert made.duration_s == pytest.approx(3.0, abs=0.1)
        with pytest.raises(ValueError, match="has_video is False"):
            make_poster(path, tmp_path / "a.jpg", probe(path))

    def test_wrong_extension_is_judged_by_content(self, tmp_path: Path, good: Path) -> None:
        path = tmp_path / "clip.mp3"
        path.write_bytes(good.read_bytes())
        assert probe(path).video_codec == "h264"

    def test_192_khz_keeps_its_pitch(self, tmp_path: Path) -> None:
        path = tone(tmp_path / "a.flac", rate_hz=192_000)
        assert probe(path).audio_rate_hz == 192_000
        assert pitch_hz(heard(path, tmp_path)) == pytest.approx(440.0, abs=0.1)

    def test_of_eight_channels_the_loudest_is_heard(self, tmp_path: Path) -> None:
        quiet, loud = "0.02*sin(300*2*PI*t)", "0.4*sin(440*2*PI*t)"
        channels = "|".join(["0", quiet, quiet, f"-{loud}", loud, quiet, quiet, "0"])
        source = f"aevalsrc={channels}:c=7.1:d=3"
        ffmpeg("-f", "lavfi", "-i", source, "-c:a", "pcm_s16le", str(tmp_path / "a.wav"))
        info = probe(tmp_path / "a.wav")
        assert info.audio_channels == 8
        sound = extract_sound(tmp_path / "a.wav", tmp_path / "sound.wav", info)
        y, _ = read_sound(tmp_path / "sound.wav")
        assert sound.channel == 3
        assert np.abs(y).max() == pytest.approx(0.4, abs=0.01)

    def test_opposed_polarity_does_not_cancel(self, tmp_path: Path) -> None:
        source = "aevalsrc=0.3*sin(440*2*PI*t)|-0.3*sin(440*2*PI*t):c=stereo:d=3"
        ffmpeg("-f", "lavfi", "-i", source, *AAC, str(tmp_path / "a.m4a"))
        assert np.abs(heard(tmp_path / "a.m4a", tmp_path)).max() == pytest.approx(0.3, abs=0.02)

    def test_silence_is_noted(self, tmp_path: Path) -> None:
        path = tmp_path / "a.m4a"
        ffmpeg("-f", "lavfi", "-i", "anullsrc", "-t", "3", *AAC, str(path))
        sound = extract_sound(path, tmp_path / "a.wav", probe(path))
        assert [note.code for note in sound.notes] == ["silent"]

    @pytest.mark.sweep(1 / 2)
    @pytest.mark.parametrize(
        ("turned_deg", "corner", "size"),
        [
            (0, "top left", (160, 120)),
            (90, "top right", (120, 160)),
            (180, "bottom right", (160, 120)),
            (270, "bottom left", (120, 160)),
        ],
    )
    def test_turned_picture_stands_upright(
        self, tmp_path: Path, good: Path, turned_deg: int, corner: str, size: tuple[int, int]
    ) -> None:
        path = tmp_path / "a.mov"
        ffmpeg("-i", str(good), "-c", "copy", str(path))
        info = probe(turn(path, turned_deg))
        assert info.rotation_deg == turned_deg
        assert (info.width, info.height) == size
        made = make_playable(path, tmp_path / "b.mp4", info)
        assert (made.width, made.height) == size
        assert made.copied is (turned_deg == 0)
        assert moments(tmp_path / "b.mp4").dark_corner == corner
        assert make_poster(path, tmp_path / "b.jpg", info) == size

    def test_ten_bit_hevc_becomes_eight_bit_h264(self, tmp_path: Path) -> None:
        hevc = ("-c:v", "libx265", "-preset", "ultrafast", "-pix_fmt", "yuv420p10le")
        path = flash_and_click(tmp_path / "a.mov", *hevc, "-x265-params", "log-level=none", *AAC)
        assert probe(path).pixel_format == "yuv420p10le"
        make_playable(path, tmp_path / "b.mp4", probe(path))
        made = probe(tmp_path / "b.mp4")
        assert (made.video_codec, made.pixel_format) == ("h264", "yuv420p")


def test_a_file_that_is_not_there_is_ours_to_mend(tmp_path: Path) -> None:
    with pytest.raises(Failed, match=r"clip\.mp4 is not there"):
        probe(tmp_path / "clip.mp4")


def test_an_unknown_code_cannot_be_raised() -> None:
    with pytest.raises(ValueError, match="unknown code 'oops'"):
        Refused("oops")
    assert issubclass(Refused, MediaError)
    assert issubclass(Failed, MediaError)
