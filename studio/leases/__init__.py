"""Long work that is done exactly once, whoever dies on the way: rows with leases, and their queue.

``rows`` is what such a row has; ``claims`` takes, keeps and ends the work on it; ``working`` does
one piece from its claim to its end; ``alone`` does it in a process of its own; ``parked`` lists
what is kept for whoever looks after the server.
"""
