"""A report as a PDF: by a worker, on a leased row, in a child process with bounds.

What was typed reaches the typesetter as data, never as its markup (:mod:`.document`,
``report.typ``). The PDF has the time at which the report was given out and nothing else that
changes, so that printed twice it is the same.
"""
