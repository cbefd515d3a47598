"""Calendars' files, made of the lines of their events."""


def calendar(*lines_of_events: str) -> bytes:
    """A file with events of these lines, as the standard has it."""
    inside = "".join(f"BEGIN:VEVENT\n{lines}\nEND:VEVENT\n" for lines in lines_of_events)
    return f"BEGIN:VCALENDAR\nVERSION:2.0\n{inside}END:VCALENDAR\n".replace("\n", "\r\n").encode()
