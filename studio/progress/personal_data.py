"""What the table of figures over time answers."""

from studio.accounts.personal_data import Goes, Kept, Withheld, register

from .models import ClipFigures

register(
    ClipFigures,
    clip="clip",
    named={"listening": Goes()},
    export=Withheld("It follows from the measurement and the marks, which are in the copy."),
    erasure=Goes(),
    kept=Kept.CLIP,
)
