"""The only place that runs ffmpeg and ffprobe: sandboxed, bounded, with typed errors.

``probe`` says what a recording is; ``extract_sound``, ``make_playable``, ``make_poster``,
``make_small``, ``make_still`` and ``waveform_peaks`` make from it what the rest of the program
uses; ``frame_times`` reads when each frame of the copy is shown. All times are presentation times
of the playable copy (see :mod:`studio.media.probe`).
"""

from studio.media.errors import Failed, MediaError, Note, Refused, is_disk_full
from studio.media.frame_times import frame_times
from studio.media.limits import Limits
from studio.media.peaks import waveform_peaks
from studio.media.playable import PlayableInfo, make_playable, make_poster, make_small, make_still
from studio.media.probe import MediaInfo, probe
from studio.media.sound import SoundInfo, extract_sound, hear_file, read_blocks, read_sound
from studio.media.tools import Problem, check_tools

__all__ = [
    "Failed",
    "Limits",
    "MediaError",
    "MediaInfo",
    "Note",
    "PlayableInfo",
    "Problem",
    "Refused",
    "SoundInfo",
    "check_tools",
    "extract_sound",
    "frame_times",
    "hear_file",
    "is_disk_full",
    "make_playable",
    "make_poster",
    "make_small",
    "make_still",
    "probe",
    "read_blocks",
    "read_sound",
    "waveform_peaks",
]
