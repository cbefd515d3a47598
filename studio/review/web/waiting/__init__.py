"""The waiting list: its page and rows, who takes what, and returning a batch at once."""
