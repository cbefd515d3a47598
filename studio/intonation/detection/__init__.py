"""Which notes sound, and when: a clip cut into single notes, double stops and chords.

Conventions
-----------
* ``y`` is mono float, shape (n,), full scale -1..1; ``sr`` in Hz; times in seconds from its first
  sample; pitches in Hz, on no scale: nothing here knows A4 or a semitone grid.
* Levels in dB re full scale; costs in *clear peaks* (see ``hypotheses``).
* Silence, noise, talk and struck strings give no sounding, as far as they can be told.

The way through
---------------
1. ``resampling`` checks the sound and reads it near 22 kHz, a block at a time. 2. ``spectra`` turns
blocks into spectra, noise floors and peaks, 14 steps a second. 3. ``salience`` proposes
fundamentals; ``hypotheses`` gives every likely set of them a cost. 4. ``decoding`` finds the
cheapest path through the clip (Viterbi) and cuts it into stretches. 5. ``boundaries.playings`` cuts
a stretch where the bow began again. 6. ``segments`` decides each event again from all of its sound,
   with ``spectral_evidence`` to replace a pitch that the notes of a chord are multiples of and to
   refuse what no bow made; ``common_bow`` joins what one bow drew; what only rings on goes.
7. ``voicing`` asks each voice of a double stop whether a bow holds it; here only what surely none
   does is taken out.
8. ``unisons`` tells one note on two strings by its beats; ``octaves`` an octave from one bright
   note.
9. ``boundaries`` places beginnings and ends, from the ``envelopes`` of each voice's own partials.
10. ``rejection`` asks ``voicing`` again, the edges being known, and takes back double stops that
    are one gliding voice, struck strings, a change of notes in a room, or the ghost of the single
    note beside them; ``merging`` puts the pieces of one held double stop together.

Memory grows by a few kilobytes for each second of sound; the sound itself is never copied whole.
"""

from studio.intonation.detection.detector import find_soundings

__all__ = ["find_soundings"]
