"""What the page of drills from a place of a clip shows, and what its forms send."""


def shown(answer) -> list:
    return answer.context["shown"]


def form_of(one) -> dict:
    """What a proposal's form sends as it stands."""
    values = {field.name: field.value() for field in one.form}
    return {name: value for name, value in values.items() if value not in (None, "")}
