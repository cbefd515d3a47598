"""Spelled pitches, intervals, tunings, keys, strings and fingers.

Pure: the standard library only. The names below are what other packages use.
"""

from studio.theory.cents import OCTAVE_CENTS, RELATIVE_PER_CENT, SEMITONE_CENTS, as_ratio, in_cents
from studio.theory.doublestops import Placing, is_playable, openness, placings
from studio.theory.instruments import (
    FRACTIONAL_VIOLIN_MM,
    INSTRUMENTS,
    VIOLA,
    VIOLA_BODY_MM,
    VIOLIN,
    Instrument,
    cents_per_mm,
    instrument_named,
    mm_per_cent,
    places,
    require_string_length,
    span_mm,
    stop_position_mm,
    string_number,
)
from studio.theory.intervals import Interval, interval_between, interval_of_semitones
from studio.theory.keys import ALL_KEYS, Key, spell, spell_pair
from studio.theory.pitches import (
    A4_HZ,
    Pitch,
    cents_between,
    frequency_of_midi,
    midi_of_frequency,
)
from studio.theory.tonality import likely_key
from studio.theory.tunings import (
    TUNINGS,
    beat_hz,
    cents_of_ratio,
    has_agreed_target,
    is_perfect,
    just_ratio,
    size_cents,
    target_cents,
)

__all__ = [
    "A4_HZ",
    "ALL_KEYS",
    "FRACTIONAL_VIOLIN_MM",
    "INSTRUMENTS",
    "OCTAVE_CENTS",
    "RELATIVE_PER_CENT",
    "SEMITONE_CENTS",
    "TUNINGS",
    "VIOLA",
    "VIOLA_BODY_MM",
    "VIOLIN",
    "Instrument",
    "Interval",
    "Key",
    "Pitch",
    "Placing",
    "as_ratio",
    "beat_hz",
    "cents_between",
    "cents_of_ratio",
    "cents_per_mm",
    "frequency_of_midi",
    "has_agreed_target",
    "in_cents",
    "instrument_named",
    "interval_between",
    "interval_of_semitones",
    "is_perfect",
    "is_playable",
    "just_ratio",
    "likely_key",
    "midi_of_frequency",
    "mm_per_cent",
    "openness",
    "places",
    "placings",
    "require_string_length",
    "size_cents",
    "span_mm",
    "spell",
    "spell_pair",
    "stop_position_mm",
    "string_number",
    "target_cents",
]
