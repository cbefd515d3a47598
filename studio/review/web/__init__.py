"""The pages of a review: the desk, the waiting list, pupils, the queue, sending, what came back.

They ask the other rooms and know all of them; no other room knows a page.
"""
