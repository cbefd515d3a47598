"""What goes with a comment: a voice or video reply, and a drawing on a still of the clip.

A recording is examined by its content before its comment is saved; the copy that browsers play is
made by a worker, on a row with a lease, as a clip's stages are
(:mod:`studio.clips.processing.stages`). Only that copy is served. Of a drawing the strokes are
kept, and the picture under them is taken from the clip's own playable copy: no picture is ever
taken in.
"""
