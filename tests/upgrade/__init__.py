"""Databases as earlier programs left them, and what this program makes of them."""
