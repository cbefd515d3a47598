"""Upkeep of the stores: verify, back up, restore, and sweep what a crash left behind.

There are two stores, the database and the media folder, and one rule between them: every row
that names a file has that file, with that hash; a file without a row is a left-over.
"""
