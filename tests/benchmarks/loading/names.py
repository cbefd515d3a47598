"""What pages are called, for programs that may not load the studio's models yet."""

LISTS = ("waiting list", "pupils", "a pupil", "queue", "children", "shelf")
RECORD = ("overview", "search", "history, five years", "week of lessons", "blind audit")
PROGRESS = ("progress, a year", "progress, from the beginning", "own progress")
