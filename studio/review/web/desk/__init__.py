"""The teacher's review desk: the page of one clip, and every exchange that it makes."""
