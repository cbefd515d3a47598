"""Sample clips, built from real bowed notes, with the truth about each."""
