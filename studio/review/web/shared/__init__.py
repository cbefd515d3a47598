"""What pages of more than one kind show: where a clip is, its pictures, its moments, the keys."""
