"""Which workers are there: each leaves a sign of life in a row, every few seconds."""
