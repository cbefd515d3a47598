"""What people may ask for about their own data: copies of it, and its erasure.

Above every other app but those that watch the service: it reads all that they keep, through
:mod:`studio.accounts.personal_data`, and none of them knows it.
"""
