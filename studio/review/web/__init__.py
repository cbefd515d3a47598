"""The pages around a review: the waiting list, pupils, the queue, sending, and what came back."""
