"""Long work that is done exactly once, whoever dies on the way: rows with leases, and their queue.

``rows`` is what such a row has; ``leases`` takes, keeps and ends the work on it; ``queue`` sends
it to a worker; ``runner`` does one piece from its claim to its end, and ``shutdown`` ends a worker
in the middle of it; ``isolation`` does it in a process of its own; ``dead_letters`` keeps what
could not be done for whoever looks after the server.
"""
