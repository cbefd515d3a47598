"""How many cents: the pitches of one, two, three or four notes bowed together.

Given what sounds and when (:class:`~studio.intonation.model.sounding.Sounding`, pitches right
within some 40 cents), measure every voice to a tenth of a cent where the sound allows it, and say
how sure each figure is. Read the modules in this order:

* ``estimator`` - the steps of one sounding, and the only functions to call from outside;
* ``pitch_tracks`` - coarse pitch tracks of the voices, frame by frame;
* ``pitch_contour`` - where the note landed, where it has settled, the weighting of its mean; its
  vibrato, drift and steadiness;
* ``basebands`` - from a window of sound to short basebands of partials that belong together;
* ``joint_fit`` - the joint least-squares fit of all voices (variable projection);
* ``hidden_voices`` - octaves, twelfths, unisons: a voice with no partial of its own;
* ``initial_values`` - where the fit starts beside a hidden voice, and anew where a voice locked
  badly under vibrato;
* ``windows`` - coarse to fine: which fit follows which, and which start wins;
* ``goodness_of_fit`` and ``uncertainty`` - how much each voice explains, how well its pitch is
  defined at all, what the room leaves, and what all that says of the error;
* ``reference_pitch`` - the clip's A4.
"""

from studio.intonation.estimation.estimator import measure_sounding, measure_soundings

__all__ = ["measure_sounding", "measure_soundings"]
