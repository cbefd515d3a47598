"""A copy of all that is kept of a person, as one ZIP that opens without the studio.

``services`` begins, hands out and removes copies; a worker makes one (``work``), writing it file by
file (``archive``): clips and what was said of them (``lessons``), in open formats (``webvtt``,
``annotations``, ``measurements``, MusicXML), every registered table (``records``), and a page that
reads it all from a disk (``reading_page``).
"""
