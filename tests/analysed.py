"""The command that hears one file, called, and sound to give it."""

import numpy as np

from studio import analyse_command
from studio.theory import Pitch

SR = 44100


def tone(name, seconds, off=0.0):
    """Exact harmonics of an equal-tempered note, ``off`` cents sharp."""
    t = np.arange(int(seconds * SR)) / SR
    f0 = Pitch.parse(name).frequency() * 2.0 ** (off / 1200.0)
    y = sum(np.sin(2 * np.pi * k * f0 * t + k * k) / k**1.2 for k in range(1, 13))
    return y * np.minimum(1.0, np.minimum(t, t[::-1]) / 0.04)


def run(capsys, *arguments):
    code = analyse_command.main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out, err
