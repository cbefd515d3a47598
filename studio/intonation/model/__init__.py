"""What listening and judging hand on: plain values, without sound and without opinions."""
