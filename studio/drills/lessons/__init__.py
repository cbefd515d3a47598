"""What a teacher notes of a lesson, beside the plan of keys."""
