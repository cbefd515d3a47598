"""What ``desk.py`` measures with: a long clip made for it, and a browser that reports."""
