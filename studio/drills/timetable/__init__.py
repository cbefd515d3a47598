"""Planned lessons: when each pupil's next lessons are, week by week, over all pupils."""
