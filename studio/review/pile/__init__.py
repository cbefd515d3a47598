"""A pile at once: clips in which nothing was found and nothing was asked, returned together.

Each gets its own summary in the teacher's words. What she says often is offered (:mod:`.offering`),
and a reply that she recorded before can go along as an example (:mod:`.examples`); what is returned
goes the way of every return (:mod:`.returning`).
"""
