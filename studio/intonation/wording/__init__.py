"""The words for what was judged: sentences from a code and its parameters, and what to change."""
