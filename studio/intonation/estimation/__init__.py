"""How many cents: the pitches of one, two, three or four notes bowed together.

Given what sounds and when (:class:`~studio.intonation.model.sounding.Sounding`, pitches right
within some 40 cents), measure every voice to a tenth of a cent where the sound allows it, and say
how sure each figure is. Read the modules in this order:

* ``estimator`` - the steps of one sounding, and the only functions to call from outside;
* ``pitch_tracks`` - coarse pitch tracks of the voices, frame by frame;
* ``settled_pitch`` - where the note landed, where it has settled, and the weighting of its mean;
* ``basebands`` - from a window of sound to short basebands of partials that belong together;
* ``joint_fit`` - the joint least-squares fit of all voices (variable projection);
* ``hidden_voices``, ``modulation``, ``initial_values``, ``glides`` - octaves, twelfths, unisons: a
  voice with no partial of its own;
* ``restarts`` - voices that locked badly under vibrato, looked for anew;
* ``windows`` - coarse to fine: which fit follows which, and which start wins;
* ``vibrato`` - rate, extent, drift, steadiness;
* ``explained_energy``, ``spectral_asymmetry``, ``reverberation`` and ``uncertainty`` - how much
  each voice explains, how well its pitch is defined at all, what the room leaves, and what all
  that says of the error.
"""

from studio.intonation.estimation.estimator import measure_sounding, measure_soundings

__all__ = ["measure_sounding", "measure_soundings"]
