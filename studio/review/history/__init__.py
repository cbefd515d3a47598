"""All of a pupil's lessons on one line of time, and how it is found again."""
