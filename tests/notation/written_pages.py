"""Pages of music: drills of every kind, and what another program would write."""

from fractions import Fraction

from hypothesis import strategies as st

from studio.notation import INTERVALS, Infeasible, Request, Score, generate
from studio.notation.manners import MANNERS, RHYTHMS, SLURS
from studio.notation.request import PATTERNS
from studio.theory import ALL_KEYS, Pitch

requests = st.builds(
    Request,
    pattern=st.sampled_from(["scale"] * 8 + [name for name in PATTERNS if name != "pairs"]),
    interval=st.sampled_from(list(INTERVALS)),
    key=st.sampled_from([str(key) for key in ALL_KEYS]),
    instrument=st.sampled_from(["violin", "viola"]),
    octaves=st.integers(1, 3),
    strings=st.sampled_from([None, (4, 3), (3, 2), (2, 1)]),
    manner=st.sampled_from(list(MANNERS)),
    minor=st.sampled_from(["melodic", "harmonic", "natural"]),
    slur=st.sampled_from(SLURS),
    rhythm=st.sampled_from(list(RHYTHMS)),
    playings=st.integers(1, 5),
    hold_s=st.sampled_from([None, 1.5, 4.0]),
)


def drill(request: Request) -> Score:
    try:
        return generate(request)
    except Infeasible as refused:
        return generate(refused.nearest)


def foreign(body: str, *, part: str = "Violin", head: str = "") -> bytes:
    """A page as another program would write it."""
    return f"""<?xml version="1.0"?>
<score-partwise version="3.1"><part-list><score-part id="P1"><part-name>{part}</part-name>
</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>2</divisions>
<key><fifths>-3</fifths><mode>minor</mode></key><time><beats>4</beats><beat-type>4</beat-type>
</time><clef><sign>G</sign><line>2</line></clef></attributes>{head}{body}</measure></part>
</score-partwise>""".encode()


def note(name: str, duration: int, *, chord: bool = False, voice: int = 1, more: str = "") -> str:
    pitch = Pitch.parse(name)
    alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{pitch.step}</step>{alter}"
        f"<octave>{pitch.octave}</octave></pitch><duration>{duration}</duration>"
        f"<voice>{voice}</voice>{more}</note>"
    )


def heard(score: Score) -> list[tuple[str, Fraction]]:
    return [(" ".join(map(str, item.pitches)), item.beats) for item in score.written]
