"""The order of the waiting list that a teacher chose last: the desk's "next clip" follows it."""

from django.http import HttpRequest

from studio.translating import gettext_lazy

ORDER_KEPT = "waiting_order"


def order_of(request: HttpRequest) -> str:
    """The order that the teacher looked at last."""
    kept = request.session.get(ORDER_KEPT, "wait")
    return kept if kept in ORDERS else "wait"


ORDERS = {
    "wait": gettext_lazy("longest wait"),
    "pupil": gettext_lazy("pupil"),
    "drill": gettext_lazy("drill"),
    "length": gettext_lazy("shortest clip"),
    "found": gettext_lazy("most marks"),
}
