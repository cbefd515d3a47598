"""Which drills meet what is out of tune at a place of a clip.

``spots`` says what is known of a place, ``faults`` what is out of tune there, ``prescription``
proposes drills with reasons.
"""
