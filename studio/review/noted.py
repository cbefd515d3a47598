"""What is written in the drill that a clip answers, by name: comments may be about a note."""

from studio.notation.naming import short_name

from .models import Review


def names_of(review: Review) -> dict[str, str]:
    """Every written note's id with its name and bar; empty where the clip answers no page."""
    page = review.answers.version.page if review.answers else None
    if page is None:
        return {}
    return {item.id: f"{short_name(item)}, bar {item.bar}" for item in page.written}
