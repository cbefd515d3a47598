"""What a child who reads simply finds where practice is noted: few words, one thing at a time.

The rule is that of :mod:`studio.intonation.wording.for_children`: every word is in a list, here its
own with these few more, and no sentence is longer than that one's; a test holds all of them to it.
"""

from django.utils.translation import gettext_lazy as _

from studio.intonation.wording import for_children

_MORE = (
    "and can day doctor dot end feel grown-ups hand how hurt hurts if like long longest now numb "
    "pause practice read rest say start stop teacher tell they tingles tired what will without word"
)
WORDS = for_children.WORDS | frozenset(_MORE.split(" "))

HEADING = _("Your practice")
NOTED = _("What you did")
WEEKS = _("Each dot is one time you played.")
MORE = _("More")
NOTE = _("Note your practice")
WHO_READS = _("Your grown-ups and your teacher can read it.")
MINUTES = _("How long did you play?")
UNBROKEN = _("What was the longest time without a rest?")
DAY = _("What day was it?")
DRILL = _("What did you play?")
HAND = _("How did your hand feel?")
HAND_GOOD, HAND_BIT_TIRED = _("good"), _("a bit tired")
HAND_TIRED, HAND_HURT = _("tired"), _("it hurt")
WORD = _("A word, if you like")
SAVE = _("Note it")
START, PAUSE, GO_ON, END = _("Start"), _("Pause"), _("Start again"), _("End")
REST_NOW = _("Rest a little now. Then play more.")
STOP = _("Stop now, and rest.")
TELL = _("Tell a grown-up, and tell your teacher.")
DOCTOR = _("A doctor can help. Do what they say.")
LONG = _("You played long without a rest. Rest now.")
IF_IT_HURTS = _("If it hurts, tingles or is numb, stop.")
THEY_READ = _("Your grown-ups and your teacher will read it.")
