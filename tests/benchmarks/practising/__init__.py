"""Simulated practice of a drill, without and with sound, and how right a following of it is."""
