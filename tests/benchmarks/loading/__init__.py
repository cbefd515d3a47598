"""What ``deploy/measure load`` is made of: a large invented studio, and many who read it."""
