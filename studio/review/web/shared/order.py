"""The order of the waiting list that a teacher chose last: the desk's "next clip" follows it."""

from django.http import HttpRequest

ORDER_KEPT = "waiting_order"


def order_of(request: HttpRequest) -> str:
    """The order that the teacher looked at last."""
    kept = request.session.get(ORDER_KEPT, "wait")
    return kept if kept in ORDERS else "wait"


ORDERS = {
    "wait": "longest wait",
    "pupil": "pupil",
    "drill": "drill",
    "length": "shortest clip",
    "found": "most marks",
}
