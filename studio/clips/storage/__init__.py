"""Where files rest and are made: the store, the spool, a folder for each process, HTTP ranges.

Knows no rows. A file is made on the store's bench, hashed and fsynced (``spool``; ``work_folders``
for what a worker makes), and handed to the store whole (``stores``).
"""
