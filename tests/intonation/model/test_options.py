"""Options and policies: defaults, and what is refused."""

import dataclasses

import pytest

from studio.intonation import Options, Policy
from studio.theory import Interval


def test_options_default_to_a_full_size_violin():
    options = Options()
    assert (options.instrument, options.string_length_mm, options.a4_hz) == ("violin", 328.0, None)
    assert options.open_strings == ("G3", "D4", "A4", "E5")


def test_a_viola_has_its_own_strings_and_length():
    options = Options(instrument="viola", string_length_mm=355)
    assert options.open_strings == ("C3", "G3", "D4", "A4")
    assert options.string_length_mm == 355.0


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"instrument": "cello"}, "'cello' is not known; choose violin or viola"),
        ({"a4_hz": 500}, "A4 of 500 Hz is outside 380 to 480 Hz; try 440"),
        ({"a4_hz": float("nan")}, "A4 of nan Hz is outside"),
        ({"string_length_mm": 30}, "string length 30 mm is outside 150 to 450 mm"),
        ({"open_strings": ("A4", "D4")}, "must run from low to high"),
        ({"open_strings": ("H4",)}, "'H4' is not a pitch name"),
    ],
)
def test_wrong_options_are_refused_with_value_and_bound(fields, message):
    with pytest.raises(ValueError, match=message):
        Options(**fields)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"tuning": "meantone"}, "'meantone' is not known; choose just, pythagorean, equal"),
        ({"melodic_tuning": "just"}, "choose equal or pythagorean"),
        ({"level": "expert"}, "choose first_steps, growing, advanced"),
        ({"tolerance_cents": 0}, "tolerance 0.0 cents for P1 is outside 1 to 60 cents; try 15"),
        ({"tolerance_cents": {"P8": 70}}, "tolerance 70.0 cents for P8"),
        ({"tolerance_cents": {"P3": 10}}, "cannot have quality 'P'"),
        ({"targets_cents": {"m7": 900}}, "outside 950 to 1050 cents"),
        ({"key": "H major"}, "'H major' is not a key"),
        ({"interval": "octave"}, "'octave' is not an interval"),
        ({"single_tolerance_cents": 0.5}, "for single notes is outside"),
    ],
)
def test_wrong_policies_are_refused_with_value_and_bound(fields, message):
    with pytest.raises(ValueError, match=message):
        Policy(**fields)


@pytest.mark.parametrize(
    ("level", "octave", "sixth"),
    [("first_steps", 25, 28), ("growing", 15, 18), ("advanced", 8, 12)],
)
def test_levels_have_their_tolerances(level, octave, sixth):
    policy = Policy(level=level)
    assert policy.tolerance_for(Interval.parse("P8")) == octave
    assert policy.tolerance_for(Interval.parse("P4")) == octave
    assert policy.tolerance_for(Interval.parse("M6")) == sixth
    assert policy.tolerance_for(Interval.parse("m10")) == sixth
    assert policy.tolerance_for(Interval.parse("A4")) == sixth


def test_one_number_is_the_tolerance_of_every_interval():
    policy = Policy(tolerance_cents=10)
    assert {policy.tolerance_for(Interval.parse(s)) for s in ("P8", "M6", "m3")} == {10.0}


def test_named_tolerances_go_over_the_level():
    policy = Policy(tolerance_cents={"P8": 10})
    assert policy.tolerance_for(Interval.parse("P8")) == 10
    assert policy.tolerance_for(Interval.parse("P5")) == 15


def test_both_are_frozen_and_keyword_only():
    with pytest.raises(dataclasses.FrozenInstanceError):
        Options().a4_hz = 441.0
    with pytest.raises(TypeError):
        Policy("just")


def test_a_stored_policy_loads_back():
    policy = Policy(level="advanced", key="Bb", tolerance_cents={"P8": 6}, interval="P8")
    assert Policy.from_dict(policy.to_dict()) == policy
    assert Policy.from_dict({"tuning": "equal", "something_new": 1}) == Policy(tuning="equal")
