"""Erasure: of one clip, of a pupil's lessons in a studio, or of an account.

What is asked for is gone for people at once (:mod:`.requests`); a worker then takes it off the disk
(:mod:`.work`), row by row as each table has answered (:mod:`.rows`), with the words about it that
stand elsewhere (:mod:`.traces`) and what the database leaves behind (:mod:`.free_pages`).
"""
